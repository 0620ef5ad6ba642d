"""What a buyer types into a commission, and what the counter adds to make it a job."""

import datetime as dt
import re
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diagnostics.enquiry_forms import GuardedForm
from reports.commission.models import Commission, TopKind
from reports.commission.services import CarFacts, Wanted
from shop import vin as vins
from shop.forms import DayInput, MonthField
from shop.http import sender_address
from shop.limits import count
from shop.lines import REASON_AT_MOST
from shop.models import Car
from shop.words import vin_problem_words

SENDS_AN_HOUR, MAILS_AN_HOUR = 10, 3
"""From one address of the net; to one address of mail, whoever asks for it."""
OLDEST = 1950
AHEAD = dt.timedelta(days=365)
# What turns the direction of the words around it: it only serves to make a text look like another one.
_TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")


def count_sending(request: HttpRequest, email: str) -> None:
    """TooMany when this address has sent, or this mail address was sent, enough for an hour."""
    words = _("Too much was sent from your address within an hour. Call us, or try again later.")
    count("commission", sender_address(request), most=SENDS_AN_HOUR, words=words)
    words = _("Too many commissions came with this e-mail address within an hour. Call us, or try again later.")
    count("commission-mail", email.casefold(), most=MAILS_AN_HOUR, words=words)


class PlainField(forms.CharField):
    """A text without signs that turn its direction."""

    def to_python(self, value: Any) -> Any:
        return _TURNS.sub("", super().to_python(value) or "")


class LineField(PlainField):
    """A text of one line."""

    def to_python(self, value: Any) -> Any:
        return " ".join(super().to_python(value).split())


def _vin_field(**more: Any) -> forms.CharField:
    attrs = {"class": "mono", "autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
    return forms.CharField(label=gettext_lazy("VIN"), max_length=40, widget=forms.TextInput(attrs=attrs), **more)


def _vin_of(text: str) -> str:
    vin = vins.tidy(text)
    problem = vins.problem_of(vin) if vin else None
    if problem is not None:
        raise forms.ValidationError(vin_problem_words(problem))
    return vin


def _phone_field(label: Any, **more: Any) -> LineField:
    return LineField(label=label, max_length=40, required=False, widget=forms.TextInput(attrs={"type": "tel"}), **more)


class CommissionForm(GuardedForm):
    maker = LineField(label=gettext_lazy("Maker"), max_length=60)
    model = LineField(label=gettext_lazy("Model"), max_length=60)
    year = forms.IntegerField(
        label=gettext_lazy("Year of production"), widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    vin = _vin_field(
        required=False, help_text=gettext_lazy("If you know it: 17 characters, as on the car. Never I, O or Q.")
    )
    top = forms.ChoiceField(label=gettext_lazy("Its top"), choices=TopKind.choices, initial=TopKind.UNKNOWN)
    place = LineField(
        label=gettext_lazy("Where the car stands"), max_length=200, help_text=gettext_lazy("Place and street.")
    )
    seller_phone = _phone_field(
        gettext_lazy("Telephone of the seller"), help_text=gettext_lazy("Only if the seller agrees that we call.")
    )
    seller_consents = forms.BooleanField(label=gettext_lazy("The seller agrees that we call them."), required=False)
    seller_consent_by = LineField(label=gettext_lazy("Who of them agreed"), max_length=120, required=False)
    wanted = PlainField(
        label=gettext_lazy("What you want to know"), max_length=1500, widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("What you noticed, what the seller says, what matters to you."),
    )  # fmt: skip
    from_on = forms.DateField(label=gettext_lazy("First day that suits"), widget=DayInput())
    until_on = forms.DateField(label=gettext_lazy("Last day that suits"), widget=DayInput())
    name = LineField(
        label=gettext_lazy("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    email = forms.EmailField(
        label=gettext_lazy("Your e-mail"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    phone = _phone_field(gettext_lazy("Your telephone"))
    accepted = forms.BooleanField(
        label=gettext_lazy("I accept the fee and these terms."),
        error_messages={
            "required": gettext_lazy("The inspection is done on these terms only: accept them, or call us.")
        },
    )
    terms = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_year(self) -> int:
        year: int = self.cleaned_data["year"]
        now = timezone.localdate().year
        if not OLDEST <= year <= now:
            raise forms.ValidationError(
                _("Give the year with four digits, {oldest} to {now}.").format(oldest=OLDEST, now=now)
            )
        return year

    def clean_vin(self) -> str:
        return _vin_of(self.cleaned_data["vin"])

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        first, last, today = data.get("from_on"), data.get("until_on"), timezone.localdate()
        if first and first < today:
            self.add_error("from_on", _("This day is over; expected today or later."))
        if first and last and last < first:
            self.add_error("until_on", _("The last day comes before the first."))
        elif last and last > today + AHEAD:
            self.add_error("until_on", _("This day is more than a year ahead."))
        if data.get("seller_phone") and not (data.get("seller_consents") and data.get("seller_consent_by")):
            self.add_error(
                "seller_consents",
                _("We call the seller only with their consent: tick it and say who gave it, or leave the number out."),
            )
        return data

    def sent(self) -> Wanted:
        data = {name: self.cleaned_data[name] for name in Wanted.__dataclass_fields__}
        if not data["seller_phone"]:
            data["seller_consent_by"] = ""
        return Wanted(**data)


class TakeForm(forms.Form):
    """Makes a commission a job. Of a car that is in the books the VIN is enough."""

    vin = _vin_field(help_text=gettext_lazy("Of a car that is in the books the VIN is enough."))
    maker = LineField(label=gettext_lazy("Maker"), max_length=60, required=False)
    model = LineField(label=gettext_lazy("Model"), max_length=60, required=False)
    made_on = MonthField(label=gettext_lazy("Production month"), required=False)
    year_only = forms.BooleanField(label=gettext_lazy("Only the year is known"), required=False)
    system = forms.SlugField(
        label=gettext_lazy("Top system"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={"list": "system-options", "autocomplete": "off"}),
    )
    title = LineField(label=gettext_lazy("The job in a few words"), max_length=140)
    appointment_on = forms.DateField(label=gettext_lazy("Appointment"), widget=DayInput())

    @classmethod
    def of(cls, commission: Commission, car: Car | None) -> "TakeForm":
        known = car.made_on if car else dt.date(commission.year, 1, 1)
        return cls(
            initial={
                "vin": commission.vin, "maker": commission.maker, "model": commission.model, "made_on": known,
                "year_only": car is None, "title": _("Inspection before purchase"),
                "appointment_on": max(commission.from_on, timezone.localdate()),
            }
        )  # fmt: skip

    def clean_vin(self) -> str:
        return _vin_of(self.cleaned_data["vin"])

    def clean_made_on(self) -> dt.date | None:
        month: dt.date | None = self.cleaned_data["made_on"]
        if month is not None and month.year < 1900:
            raise forms.ValidationError(_("Give the year with four digits, 1900 or later."))
        return month

    def facts(self) -> CarFacts:
        data = self.cleaned_data
        return CarFacts(data["maker"], data["model"], data["made_on"], data["year_only"], data["system"])


class AppointForm(forms.Form):
    """Moves the appointment. `seen`: the one that stood on the page, so that nobody moves what they have not read."""

    appointment_on = forms.DateField(label=gettext_lazy("New appointment"), widget=DayInput())
    why = LineField(
        label=gettext_lazy("Why"), max_length=REASON_AT_MOST, required=False,
        help_text=gettext_lazy("It goes into the mail to the buyer and is kept nowhere else."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    seen = forms.DateField(widget=forms.HiddenInput)

    @classmethod
    def of(cls, commission: Commission) -> "AppointForm":
        return cls(initial={"seen": commission.appointment_on})

    def seeing(self, commission: Commission) -> "AppointForm":
        """What was typed, beside the appointment that stands now."""
        self.data = {
            **{name: self.data.get(name) for name in self.fields},
            "seen": f"{commission.appointment_on:%Y-%m-%d}",
        }
        return self
