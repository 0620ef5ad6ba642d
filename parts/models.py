"""The catalogue: which part there is and where it fits."""

from django.db import models


class Part(models.Model):
    number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    revision = models.CharField(max_length=12, blank=True)
    superseded_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="supersedes", null=True, blank=True
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(superseded_by__isnull=True) | ~models.Q(superseded_by=models.F("pk")),
                name="part_not_superseded_by_itself",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Fit(models.Model):
    """A part fits a position of a top system."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="fits")
    system = models.SlugField(max_length=60)
    position = models.CharField(max_length=12)

    class Meta:
        ordering = ["system", "position"]
        constraints = [models.UniqueConstraint(fields=["part", "system", "position"], name="fit_once")]

    def __str__(self) -> str:
        return f"{self.part_id} fits {self.system} {self.position}"
