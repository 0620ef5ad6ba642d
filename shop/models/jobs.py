"""Commissions: what a car is here for, how far it is, and what holds it up."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.models.cars import Car


class Stage(models.TextChoices):
    BOOKED = "booked", _("Booked")
    HERE = "here", _("Taken in")
    TRACING = "tracing", _("Tracing the fault")
    MENDING = "mending", _("Mending")
    PROVING = "proving", _("Proving")
    DONE = "done", _("Done")
    GONE = "gone", _("Handed over")


class Hold(models.TextChoices):
    """What a job waits for; the Floor groups by it."""

    BENCH = "bench", _("the bench")
    PART = "part", _("a part")
    CUSTOMER = "customer", _("the customer")
    BAY = "bay", _("a bay")
    NOTHING = "nothing", _("nothing")


class ComebackCause(models.TextChoices):
    """Why a car came back after a job."""

    SAME = "same", _("the same fault again")
    PART = "part", _("a part that was fitted failed")
    WORK = "work", _("something left or damaged at work")
    OTHER = "other", _("another fault")
    NOTHING = "nothing", _("nothing found")


class Job(models.Model):
    """`reference`: its number in the records that it was brought from. `comeback_of`: the job after which the car came
    back with this one, and why it did, once somebody knows; `comeback_judged_at`: when somebody said so, or said that
    it is none."""

    car = models.ForeignKey(Car, on_delete=models.PROTECT, related_name="jobs")
    title = models.CharField(max_length=140)
    complaint = models.TextField(blank=True, help_text=_("In the customer’s words"))
    stage = models.CharField(max_length=10, choices=Stage, default=Stage.BOOKED)
    hold = models.CharField(max_length=10, choices=Hold, default=Hold.BENCH)
    hold_note = models.CharField(max_length=140, blank=True)
    held_since = models.DateTimeField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    finished_at = models.DateTimeField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=60, blank=True)
    comeback_of = models.ForeignKey("self", on_delete=models.SET_NULL, related_name="comebacks", null=True, blank=True)
    comeback_cause = models.CharField(max_length=12, choices=ComebackCause, blank=True)
    comeback_judged_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        indexes = [models.Index(fields=["stage", "hold"]), models.Index(fields=["car", "opened_at"])]
        constraints = [
            models.CheckConstraint(condition=models.Q(stage__in=Stage.values), name="job_stage_known"),
            models.CheckConstraint(condition=models.Q(hold__in=Hold.values), name="job_hold_known"),
            models.CheckConstraint(
                condition=models.Q(stage__in=["done", "gone"], finished_at__isnull=False)
                | (~models.Q(stage__in=["done", "gone"]) & models.Q(finished_at__isnull=True)),
                name="job_finished_when_done",
            ),
            models.UniqueConstraint(
                fields=["car", "reference"], condition=~models.Q(reference=""), name="job_reference_once_a_car"
            ),
            models.CheckConstraint(
                condition=models.Q(comeback_cause__in=["", *ComebackCause.values]), name="job_comeback_cause_known"
            ),
            models.CheckConstraint(
                condition=models.Q(comeback_of__isnull=True) | ~models.Q(comeback_of=models.F("id")),
                name="job_comeback_not_of_itself",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.title}"

    def get_absolute_url(self) -> str:
        return reverse("shop:job", args=[self.pk])

    @property
    def number(self) -> str:
        return f"J{self.pk:05d}"

    @property
    def is_open(self) -> bool:
        return self.stage not in (Stage.DONE, Stage.GONE)


class JobNote(models.Model):
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="notes")
    words = models.TextField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return self.words[:60]


class Moment(models.TextChoices):
    BEFORE = "before", _("Before")
    AFTER = "after", _("After")


class Picture(models.Model):
    """A picture of a job, re-encoded and without its metadata; the file is served by permission only. `before`: of a
    picture taken after the work, the one of the same place before it. `digest`: SHA-256 of what the file shows, so that
    a picture sent twice is kept once; blank for pictures from before that was counted. `on_paper`: a certificate of the
    job shows it."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="pictures")
    file = models.FileField(upload_to="pictures/%Y/%m")
    caption = models.CharField(max_length=140, blank=True)
    position = models.CharField(max_length=12, blank=True)
    moment = models.CharField(max_length=8, choices=Moment, blank=True)
    before = models.OneToOneField("self", on_delete=models.SET_NULL, related_name="after", null=True, blank=True)
    digest = models.CharField(max_length=64, blank=True)
    on_paper = models.BooleanField(default=False)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "digest"], condition=~models.Q(digest=""), name="picture_once_a_job"
            ),
            models.CheckConstraint(condition=models.Q(moment__in=["", *Moment.values]), name="picture_moment_known"),
            models.CheckConstraint(
                condition=models.Q(on_paper=False) | ~models.Q(digest="") & ~models.Q(caption=""),
                name="picture_on_paper_said",
            ),
            models.CheckConstraint(
                condition=models.Q(before__isnull=True) | ~models.Q(before=models.F("id")),
                name="picture_not_before_itself",
            ),
        ]

    def __str__(self) -> str:
        return self.caption or str(self.file.name)
