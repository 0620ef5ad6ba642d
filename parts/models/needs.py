"""What a job needs from the shelf."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from parts.models.catalogue import Part


class NeedSource(models.TextChoices):
    HAND = "hand", _("Asked for by hand")
    SUSPECT = "suspect", _("From the suspects")
    PLAN = "plan", _("From the work plan")


class NeedState(models.TextChoices):
    OPEN = "open", _("Open")
    ISSUED = "issued", _("Issued")
    DROPPED = "dropped", _("Not needed")


class Need(models.Model):
    """`quantity` pieces of a part for a job: `held` of them are reserved on the shelf, `issued` are handed out already,
    the rest is missing. `chance`: that it is needed at all, 1 where somebody is sure. `position`: where it is to go.
    `task_part`: the line of the work plan that waits for it."""

    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="needs")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="needs")
    position = models.CharField(max_length=12, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    held = models.PositiveSmallIntegerField(default=0)
    issued = models.PositiveSmallIntegerField(default=0)
    chance = models.FloatField(default=1.0)
    source = models.CharField(max_length=8, choices=NeedSource, default=NeedSource.HAND)
    why = models.CharField(max_length=200, blank=True)
    task_part = models.ForeignKey(
        "shop.TaskPart", on_delete=models.SET_NULL, related_name="needs", null=True, blank=True
    )
    state = models.CharField(max_length=8, choices=NeedState, default=NeedState.OPEN)
    asked_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["job", "pk"]
        indexes = [models.Index(fields=["state", "part"])]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=NeedState.values), name="need_state_known"),
            models.CheckConstraint(condition=Q(source__in=NeedSource.values), name="need_source_known"),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="need_one_or_more"),
            models.CheckConstraint(condition=Q(chance__gt=0) & Q(chance__lte=1), name="need_chance_within"),
            models.CheckConstraint(
                condition=Q(held__lte=F("quantity") - F("issued")), name="need_held_and_issued_within_quantity"
            ),
            models.CheckConstraint(condition=Q(state="open") | Q(held=0), name="need_over_holds_nothing"),
            models.UniqueConstraint(
                fields=["job", "part", "position"], condition=Q(state="open"), name="need_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.quantity} × {self.part_id}"

    @property
    def missing(self) -> int:
        """Pieces that neither lie reserved nor are handed out."""
        return self.quantity - self.held - self.issued if self.state == NeedState.OPEN else 0
