"""The work plan of a job: tasks, what they wait for, the minutes worked; bays, who is away, calendar links."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from shop.models.jobs import Job


class Bay(models.Model):
    """A place in the shop where one car stands and is worked on. One that is given up stays in the books."""

    name = models.CharField(max_length=40, unique=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class TaskKind(models.TextChoices):
    LABOUR = "labour", _("Work here")
    OUTSIDE = "outside", _("Outside work")


class TaskState(models.TextChoices):
    OPEN = "open", _("Open")
    DONE = "done", _("Done")
    DROPPED = "dropped", _("Dropped")


class Task(models.Model):
    """One piece of work of a job. `planned_minutes` of one person's work, with `least_minutes` and `most_minutes` where
    somebody estimated three points; outside work takes `outside_days` (calendar days) from the day it is sent.
    `kind_of_work`: the task of a template that it was made from (`plan/task`), whatever its title became; by it times
    of the same work are compared."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="tasks")
    number = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=140)
    caution = models.CharField(max_length=240, blank=True)
    kind = models.CharField(max_length=10, choices=TaskKind, default=TaskKind.LABOUR)
    kind_of_work = models.CharField(max_length=80, blank=True)
    planned_minutes = models.PositiveIntegerField(default=0)
    least_minutes = models.PositiveIntegerField(null=True, blank=True)
    most_minutes = models.PositiveIntegerField(null=True, blank=True)
    needs_bay = models.BooleanField(default=True)
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="tasks", null=True, blank=True)
    person = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="tasks", null=True, blank=True)
    outside_by = models.CharField(max_length=120, blank=True)
    outside_days = models.PositiveSmallIntegerField(null=True, blank=True)
    outside_sent_on = models.DateField(null=True, blank=True)
    outside_back_on = models.DateField(null=True, blank=True)
    blocked_note = models.CharField(max_length=140, blank=True)
    state = models.CharField(max_length=10, choices=TaskState, default=TaskState.OPEN)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["job", "number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="task_number_once"),
            models.CheckConstraint(condition=Q(kind__in=TaskKind.values), name="task_kind_known"),
            models.CheckConstraint(condition=Q(state__in=TaskState.values), name="task_state_known"),
            models.CheckConstraint(
                condition=Q(state=TaskState.OPEN, ended_at__isnull=True)
                | (~Q(state=TaskState.OPEN) & Q(ended_at__isnull=False)),
                name="task_ended_when_not_open",
            ),
            models.CheckConstraint(
                condition=Q(kind=TaskKind.LABOUR, outside_days__isnull=True)
                | Q(kind=TaskKind.OUTSIDE, outside_days__isnull=False),
                name="task_outside_days",
            ),
            models.CheckConstraint(
                condition=Q(least_minutes__isnull=True, most_minutes__isnull=True)
                | Q(least_minutes__lte=F("planned_minutes"), most_minutes__gte=F("planned_minutes")),
                name="task_three_points_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.title


class TaskOrder(models.Model):
    """`task` begins after `before` has ended."""

    task = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="waits_for")
    before = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="lets_begin")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["task", "before"], name="taskorder_once"),
            models.CheckConstraint(condition=~Q(task=F("before")), name="taskorder_not_itself"),
        ]

    def __str__(self) -> str:
        return f"{self.before_id} → {self.task_id}"


class TaskPart(models.Model):
    """A part that a task needs: `part` its number as the catalogue has it, or blank; `here_on` once it is there."""

    task = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="parts")
    part = models.CharField(max_length=40, blank=True)
    name = models.CharField(max_length=120)
    quantity = models.PositiveSmallIntegerField(default=1)
    expected_on = models.DateField(null=True, blank=True)
    here_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=Q(quantity__gte=1), name="taskpart_one_or_more")]

    def __str__(self) -> str:
        return self.name


class Clock(models.Model):
    """One person at work on a task, from a tap to a tap. `why`: why somebody set its end or struck it by hand."""

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="clocks")
    person = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="clocks")
    started_at = models.DateTimeField()
    stopped_at = models.DateTimeField(null=True, blank=True)
    why = models.CharField(max_length=140, blank=True)
    corrected_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    class Meta:
        ordering = ["started_at", "pk"]
        indexes = [models.Index(fields=["task", "started_at"]), models.Index(fields=["person", "-started_at"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(stopped_at__isnull=True) | Q(stopped_at__gte=F("started_at")),
                name="clock_stops_after_start",
            ),
            models.UniqueConstraint(
                fields=["person"], condition=Q(stopped_at__isnull=True), name="clock_one_running_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id}: {self.started_at}"


class BayBooking(models.Model):
    """A task's time in a bay, with or without somebody's name on it. `sequence` counts its changes: calendar readers
    tell by it which is newer, and so does a person whose page is older than somebody else's change."""

    task = models.ForeignKey(Task, on_delete=models.CASCADE, related_name="bookings")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="bookings")
    person = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="bookings", null=True, blank=True)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["starts_at", "pk"]
        indexes = [models.Index(fields=["bay", "starts_at"]), models.Index(fields=["person", "starts_at"])]
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="baybooking_ends_after_start")
        ]

    def __str__(self) -> str:
        return f"{self.bay_id}: {self.starts_at}"


class Away(models.Model):
    """Days on which a person does not work; both included."""

    person = models.ForeignKey("shop.User", on_delete=models.CASCADE, related_name="away")
    first_day = models.DateField()
    last_day = models.DateField()
    words = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["first_day", "pk"]
        verbose_name_plural = "away"
        constraints = [models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="away_in_order")]

    def __str__(self) -> str:
        return f"{self.person_id}: {self.first_day}"


class FeedLink(models.Model):
    """A secret address of a calendar, of one person or one bay. Only the hash of its secret is kept. `digest`: of what
    it last gave out, which was new at `digest_at`."""

    person = models.ForeignKey("shop.User", on_delete=models.CASCADE, related_name="feeds", null=True, blank=True)
    bay = models.ForeignKey(Bay, on_delete=models.CASCADE, related_name="feeds", null=True, blank=True)
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True)
    digest = models.CharField(max_length=64, blank=True)
    digest_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="feedlink_one_a_person"
            ),
            models.UniqueConstraint(fields=["bay"], condition=Q(revoked_at__isnull=True), name="feedlink_one_a_bay"),
            models.CheckConstraint(
                condition=Q(person__isnull=True, bay__isnull=False) | Q(person__isnull=False, bay__isnull=True),
                name="feedlink_of_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id or ''}{self.bay_id or ''}"
