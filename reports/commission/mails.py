"""What the buyer gets by mail, one for each step. A mail repeats nothing that a stranger typed before somebody of the
shop has read it: whoever enters another's address sends them no words of their own."""

from functools import partial
from urllib.parse import urljoin

from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _

from reports.commission.models import Commission
from shop.models import ShopProfile


def follow_url(token: str) -> str:
    return urljoin(str(settings.PUBLIC_URL), reverse("reports:commission-follow", args=[token]))


def mail_later(commission: Commission, step: str, token: str = "", **said: object) -> None:
    """Send the mail of a step (a key of _subject) once the transaction holds; `said`: what its text needs besides the
    commission. The address is read now: after an erasure it is gone."""
    if not commission.email:
        return
    subject, text = _subject(step).format(number=commission.number), _text(commission, step, token, said)
    transaction.on_commit(partial(_send, commission.pk, commission.email, subject, text), robust=True)


def _subject(step: str) -> str:
    words = {
        "received": _("Commission {number}: we have it"),
        "taken": _("Commission {number}: the inspection is booked"),
        "moved": _("Commission {number}: another day for the inspection"),
        "declined": _("Commission {number}: we cannot do it"),
        "withdrawn": _("Commission {number}: you have withdrawn it"),
        "link": _("Commission {number}: your link"),
        "certificate": _("Commission {number}: the certificate is there"),
        "erased": _("Commission {number}: your data are erased"),
    }
    return words[step]


def _text(commission: Commission, step: str, token: str, said: dict[str, object]) -> str:
    context = said | {
        "commission": commission,
        "step": step,
        "link": follow_url(token) if token else "",
        "shop": ShopProfile.objects.first(),
    }
    return render_to_string("reports/commission/mail.txt", context).strip() + "\n"


def _send(pk: int, to: str, subject: str, text: str) -> None:
    """A mail that does not get out is told at the counter; what was done stays done."""
    failed = False
    try:
        send_mail(subject, text, None, [to])
    except OSError:  # the mail server does not answer, or refuses (SMTPException is one)
        failed = True
    Commission.objects.filter(pk=pk, erased_at=None).update(mail_failed=failed)
