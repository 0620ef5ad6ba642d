"""What is typed of an instrument and of a calibration. Bounds are the services'."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from reports.commission.forms import LineField
from reports.instruments.models import Instrument, InstrumentKind
from reports.instruments.services import Calibrated, Facts
from shop.forms import DayInput
from shop.lines import REASON_AT_MOST


def _decimal(label: Any, **more: Any) -> forms.DecimalField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.DecimalField(label=label, required=False, widget=widget, **more)


class InstrumentForm(forms.Form):
    kind = forms.ChoiceField(label=_("Kind"), choices=InstrumentKind.choices)
    name = LineField(
        label=_("Name"), max_length=60, help_text=_("As you call it in the shop, for example “Bench meter 1”.")
    )
    serial = LineField(
        label=_("Serial number"),
        max_length=40,
        widget=forms.TextInput(attrs={"class": "mono", "autocomplete": "off", "spellcheck": "false"}),
        help_text=_("As written on it; a number of your own where it has none."),
    )
    accuracy_percent = _decimal(_("Accuracy: per cent of the reading"), max_digits=6, decimal_places=4)
    accuracy_volts = _decimal(
        _("plus volts"),
        max_digits=6,
        decimal_places=4,
        help_text=_(
            "Of a multimeter, as its maker states it for the range in which you read the car’s voltages: digits times "
            "the last place. Empty: the usual allowance of such meters is used."
        ),
    )

    @classmethod
    def of(cls, row: Instrument) -> "InstrumentForm":
        return cls(initial={name: getattr(row, name) for name in Facts.__dataclass_fields__})

    def facts(self) -> Facts:
        return Facts(**{name: self.cleaned_data[name] for name in Facts.__dataclass_fields__})


class CalibrationForm(forms.Form):
    calibrated_on = forms.DateField(label=_("Calibrated on"), widget=DayInput())
    valid_until = forms.DateField(label=_("Valid until"), widget=DayInput())
    number = LineField(label=_("Number of its certificate"), max_length=60)
    laboratory = LineField(label=_("Laboratory"), max_length=120)
    expanded_volts = _decimal(
        _("Its uncertainty U in volts (k = 2)"),
        max_digits=7,
        decimal_places=5,
        help_text=_("Of a multimeter, as the certificate states it near 12 V. Empty where it states none."),
    )

    def __init__(self, *args: Any, multimeter: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not multimeter:
            del self.fields["expanded_volts"]

    def calibrated(self) -> Calibrated:
        data = {"expanded_volts": None, **self.cleaned_data}
        return Calibrated(**data)


class ReasonForm(forms.Form):
    reason = LineField(label=_("Why"), max_length=REASON_AT_MOST)
