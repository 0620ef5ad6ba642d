"""Enquiries: what a customer told of a top that stops, before the shop has seen the car."""

import secrets

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from diagnostics.engine.case import Complaint


class EnquiryState(models.TextChoices):
    NEW = "new", _("New")
    TAKEN = "taken", _("A job")
    CLOSED = "closed", _("Closed")


def new_code() -> str:
    """What names an enquiry to its sender: not to be guessed."""
    return secrets.token_urlsafe(12)


class Enquiry(models.Model):
    """`answers`: question -> answer of the interview; `complaint` ({} for none) and `recent_work` as in a case file,
    what the answers came to on `revision` (null: the top system is not known, only `words` tell).

    `by` null: sent by the customer. `digest` holds what was sent against sending it twice; '' once it was erased.
    """

    code = models.CharField(max_length=24, unique=True, default=new_code)
    revision = models.ForeignKey(
        "diagnostics.SystemRevision", on_delete=models.PROTECT, related_name="enquiries", null=True, blank=True
    )
    answers = models.JSONField(default=dict, blank=True)
    complaint = models.JSONField(default=dict, blank=True)
    recent_work = models.JSONField(default=list, blank=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    car_words = models.CharField(_("car"), max_length=80, blank=True)
    words = models.TextField(_("note"), blank=True)
    state = models.CharField(max_length=6, choices=EnquiryState, default=EnquiryState.NEW)
    job = models.OneToOneField("shop.Job", on_delete=models.PROTECT, related_name="enquiry", null=True, blank=True)
    by = models.ForeignKey("shop.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    created_at = models.DateTimeField()
    erased_at = models.DateTimeField(null=True, blank=True)
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        verbose_name_plural = "enquiries"
        indexes = [models.Index(fields=["state", "created_at"])]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=EnquiryState.values), name="enquiry_state_known"),
            models.CheckConstraint(
                condition=models.Q(state="taken", job__isnull=False) | (~models.Q(state="taken") & models.Q(job=None)),
                name="enquiry_taken_has_job",
            ),
            models.CheckConstraint(
                condition=models.Q(erased_at__isnull=False, name="", phone="", email="", car_words="", words="")
                | (models.Q(erased_at__isnull=True) & ~models.Q(name="") & ~models.Q(phone="", email="")),
                name="enquiry_contact_until_erased",
            ),
            models.UniqueConstraint(
                fields=["digest"],
                condition=models.Q(state="new") & ~models.Q(digest=""),
                name="enquiry_sent_once",
            ),
        ]

    def __str__(self) -> str:
        return f"enquiry {self.number}"

    def get_absolute_url(self) -> str:
        return reverse("diagnostics:enquiry", args=[self.pk])

    @property
    def told(self) -> Complaint | None:
        return Complaint.model_validate(self.complaint) if self.complaint else None

    @property
    def number(self) -> str:
        return f"E{self.pk:05d}"
