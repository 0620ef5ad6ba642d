"""Bench sheets and the checks on them."""

import uuid

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from shop.models.taken_back import taken_back_says_why


class CheckKind(models.TextChoices):
    PIN = "pin", _("Pin reading")
    PIN_BY_HAND = "pin-by-hand", _("Pin reading, by hand")
    CLICK = "click", _("Click")
    WIGGLE = "wiggle", _("Wiggle")
    CONTINUITY = "continuity", _("Continuity")
    MOTION = "motion", _("Motion trial")
    LOOK = "look", _("Look")
    PRESSURE_HOLD = "pressure-hold", _("Pressure hold")
    BATTERY = "battery", _("Battery")


class BenchSheet(models.Model):
    """One sitting of checks on one car. At most one is open per car; two people work on the same one.

    `pose` is the pose that the car stands in now ({axis: place}); `supply_mv` the supply last measured at the module;
    `complaint` as in a case file ({"motion", "stops_at", "lamp"} or {}); `recent_work` positions worked on before.
    `sighted`: its sightings (models/learning.py) are those of its checks and work as they are now.
    """

    job = models.ForeignKey("shop.Job", on_delete=models.PROTECT, related_name="sheets")
    car = models.ForeignKey("shop.Car", on_delete=models.PROTECT, related_name="sheets")
    revision = models.ForeignKey(
        "diagnostics.SystemRevision", on_delete=models.PROTECT, related_name="sheets", null=True, blank=True
    )
    pose = models.JSONField(default=dict)
    supply_mv = models.PositiveIntegerField(null=True, blank=True)
    ignition_on = models.BooleanField(default=True)
    complaint = models.JSONField(default=dict, blank=True)
    recent_work = models.JSONField(default=list, blank=True)
    opened_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    sighted = models.BooleanField(default=False)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        indexes = [models.Index(fields=["id"], condition=models.Q(sighted=False), name="benchsheet_to_sight")]
        constraints = [
            models.UniqueConstraint(
                fields=["car"], condition=models.Q(closed_at__isnull=True), name="benchsheet_one_open_per_car"
            )
        ]

    def __str__(self) -> str:
        return f"bench sheet {self.pk}"

    def get_absolute_url(self) -> str:
        return reverse("diagnostics:sheet", args=[self.pk])


class Check(models.Model):
    """One observation as it was entered. Never changed; struck out it stays, with who and why.

    `observation` is the entry in the words of a case file (diagnostics.engine.case). `verdict` is what was judged at
    once: a token (`ok`, `finding`, `refused`, `note`), `words` its sentence. `entry_id` comes from the browser, so
    that an entry sent twice after a lost connection is kept once.
    """

    sheet = models.ForeignKey(BenchSheet, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=16, choices=CheckKind)
    position = models.CharField(max_length=12, blank=True)
    observation = models.JSONField()
    verdict = models.CharField(max_length=8)
    words = models.TextField()
    entry_id = models.UUIDField(default=uuid.uuid4)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    struck_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        indexes = [
            models.Index(fields=["sheet", "position", "at"]),
            # The shop's newest motion trials are asked for by every sheet with step times.
            models.Index(fields=["-at"], condition=models.Q(kind="motion"), name="check_motions_newest"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "entry_id"], name="check_entry_once"),
            models.CheckConstraint(condition=models.Q(kind__in=CheckKind.values), name="check_kind_known"),
            models.CheckConstraint(
                condition=models.Q(verdict__in=["ok", "finding", "refused", "note"]), name="check_verdict_known"
            ),
            taken_back_says_why("struck", "struck_why", name="check_struck_with_who_and_why"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.position}: {self.words}"
