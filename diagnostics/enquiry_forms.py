"""What customers and the counter type into an enquiry, and what keeps machines out without asking anybody else."""

import uuid
from typing import Any

from django import forms
from django.core.signing import BadSignature, TimestampSigner
from django.http import HttpRequest, QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diagnostics.engine.questions import BOTH, NAMES
from diagnostics.services import Contact
from shop.errors import ShopError
from shop.http import sender_address
from shop.limits import count

_SIGNER = TimestampSigner(salt="diagnostics.tell")
FASTEST_S, LONGEST_S = 2, 12 * 3600
"""Seconds between the page and what it sends: nobody types faster, and a page of yesterday is loaded again."""
SENDS_AN_HOUR = 10
"""From one address: a household or an office, not a machine."""
WORDS_AT_MOST = 1500


def answers_given(data: QueryDict) -> dict[str, str]:
    """The answers of a form or an address by question; several values of one question with commas."""
    return {name: ",".join(one for one in data.getlist(name) if one) for name in NAMES if name in data}


class ContactForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    phone = forms.CharField(
        label=gettext_lazy("Telephone"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )
    email = forms.EmailField(
        label=gettext_lazy("E-mail"), required=False, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    car = forms.CharField(
        label=gettext_lazy("Your car"),
        max_length=80,
        required=False,
        help_text=gettext_lazy("Maker, model, year, in your words."),
    )
    words = forms.CharField(
        label=gettext_lazy("What else we should know"),
        max_length=WORDS_AT_MOST,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("What it does and does not do, since when, what was worked on shortly before."),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and not data.get("phone") and not data.get("email"):
            self.add_error(
                "phone", _("Leave a telephone number or an e-mail address: there is no other way to answer.")
            )
        return data

    def contact(self) -> Contact:
        data = self.cleaned_data
        return Contact(data["name"], data["phone"], data["email"], data["car"], data["words"])


class CallerForm(ContactForm):
    """At the counter, for somebody who calls or stands there."""

    name = forms.CharField(
        label=gettext_lazy("Name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    car = forms.CharField(label=gettext_lazy("The car"), max_length=80, required=False)


class GuardedForm(forms.Form):
    """For the public: consent, a field that only machines fill in, and a stamp of when the page was made."""

    consent = forms.BooleanField(
        label=gettext_lazy("You may keep this and answer me about it."),
        error_messages={"required": gettext_lazy("Without your consent nothing is kept or sent.")},
    )
    website = forms.CharField(label=gettext_lazy("Leave this field empty"), required=False)
    stamp = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial = {"stamp": new_stamp()}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("website"):
            self.add_error(None, _("A field that must stay empty was filled in. Empty it and send again."))
        stamp = data.get("stamp", "")
        if not _younger(stamp, LONGEST_S):
            self.add_error(None, _("This page was open too long. Nothing is lost: send it again."))
            # The form that goes back carries a new stamp, so that sending it again is enough.
            self.data = dict(self.data.items()) | {"stamp": new_stamp()}
        elif _younger(stamp, FASTEST_S):
            self.add_error(None, _("That was faster than anybody types. Wait a moment and send it again."))
        return data


class SenderForm(GuardedForm, ContactForm):
    def __init__(self, *args: Any, told: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not told:
            self.fields["words"].required = True
            self.fields["words"].label = _("What the top does, and what it does not")


def _younger(stamp: str, seconds: int) -> bool:
    """Whether this is a stamp of ours and not older than that."""
    try:
        _SIGNER.unsign(stamp, max_age=seconds)
    except BadSignature:  # one that is too old as well
        return False
    return True


def new_stamp() -> str:
    return _SIGNER.sign(uuid.uuid4().hex)


def count_sending(request: HttpRequest) -> None:
    """TooMany when this address has sent enough for an hour. The address is kept as a keyed hash for that hour."""
    words = _("Too much was sent from your address within an hour. Call us, or try again later.")
    count("tell", sender_address(request), most=SENDS_AN_HOUR, words=words)


def answers_at_counter(data: QueryDict) -> dict[str, str]:
    """The answers of the counter's one page, where `stop` names motion and step in one (`close:raise-lid`).

    ShopError where the step is one of another motion than the one that fails.
    """
    given = answers_given(data)
    answers = {name: value for name, value in given.items() if value and name not in ("tried", "stops")}
    motion, _colon, step = data.get("stop", "").partition(":")
    if not step:
        return answers
    fails = answers.setdefault("fails", motion)
    if fails == BOTH:
        answers["tried"] = motion
    elif fails != motion:
        raise ShopError(_("The step belongs to the other motion than the one that fails. Choose again."))
    return {**answers, "stops": step}
