"""What people type about what a job needs."""

from django import forms
from django.utils.translation import gettext_lazy as _

from parts.models import Part


def quantity_field(initial: int = 1) -> forms.IntegerField:
    return forms.IntegerField(label=_("Pieces"), initial=initial, widget=forms.NumberInput(attrs={"min": 1}))


class AskForm(forms.Form):
    """A part that the job needs."""

    part = forms.ModelChoiceField(
        label=_("Part number"),
        queryset=Part.objects.all(),
        to_field_name="number",
        widget=forms.TextInput(attrs={"list": "need-numbers", "autocomplete": "off"}),
        error_messages={"invalid_choice": _("No part has this number.")},
    )
    quantity = quantity_field()
    position = forms.CharField(
        label=_("Position, where it goes to one"),
        max_length=12,
        required=False,
        widget=forms.TextInput(attrs={"list": "need-positions", "autocomplete": "off"}),
    )
    lot = forms.CharField(label=_("Batch or serial, to hand it out"), max_length=60, required=False)
    why = forms.CharField(label=_("What for"), max_length=200, required=False)


class PiecesForm(forms.Form):
    """Pieces that are handed out or come back, and another number of them."""

    quantity = quantity_field()
    lot = forms.CharField(label=_("Batch or serial"), max_length=60, required=False)
