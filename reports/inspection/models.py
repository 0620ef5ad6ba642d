"""An inspection by plan, and what people answered to its items."""

from django.db import models
from django.urls import reverse

from shop.models.taken_back import taken_back_says_why


class Inspection(models.Model):
    """A job that inspects a top by the plan of its system. Given up (with a reason), the job's certificate is that of
    ordinary work again; what was answered stays."""

    job = models.OneToOneField("shop.Job", on_delete=models.PROTECT, related_name="inspection")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    given_up_at = models.DateTimeField(null=True, blank=True)
    given_up_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    given_up_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [taken_back_says_why("given_up", "given_up_why", name="inspection_given_up_says_why")]

    def __str__(self) -> str:
        return f"inspection of {self.job_id}"

    def get_absolute_url(self) -> str:
        return reverse("reports:inspection", args=[self.job_id])

    @property
    def is_open(self) -> bool:
        return self.given_up_at is None


class InspectionAnswer(models.Model):
    """What a person said of an item, once and for all: the last one that is not struck out counts. `grade`: a code of
    the item, or `skip` with the reason in `words`. `entry_id`: sent twice, kept once."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="answers")
    key = models.CharField(max_length=60)
    grade = models.CharField(max_length=20)
    words = models.CharField(max_length=300, blank=True)
    measured = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    picture = models.ForeignKey("shop.Picture", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    entry_id = models.UUIDField(unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    struck_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(key="") & ~models.Q(grade=""), name="inspectionanswer_names_its_item"
            ),
            models.CheckConstraint(condition=~models.Q(grade="skip", words=""), name="inspectionanswer_skip_says_why"),
            models.CheckConstraint(
                condition=~models.Q(grade="skip") | models.Q(measured__isnull=True, picture__isnull=True),
                name="inspectionanswer_skip_measures_nothing",
            ),
            taken_back_says_why("struck", "struck_why", name="inspectionanswer_struck_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.key}: {self.grade}"
