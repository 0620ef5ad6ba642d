from collections.abc import Iterable

from django import forms
from django.utils.translation import gettext_lazy as _

from parts.models import Part


class PartForm(forms.Form):
    """A new part; `supersedes` names the part that it replaces."""

    number = forms.CharField(label=_("Part number"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    revision = forms.CharField(label=_("Revision"), max_length=12, required=False)
    supersedes = forms.ModelChoiceField(
        label=_("Supersedes"),
        queryset=Part.objects.filter(superseded_by__isnull=True),
        required=False,
        to_field_name="number",
        widget=forms.TextInput(attrs={"list": "shelf-numbers", "autocomplete": "off"}),
        error_messages={"invalid_choice": _("No part has this number, or it has a successor already.")},
    )


class FitForm(forms.Form):
    """Where a part fits."""

    part = forms.ModelChoiceField(
        label=_("Part number"),
        queryset=Part.objects.all(),
        to_field_name="number",
        widget=forms.TextInput(attrs={"list": "shelf-numbers", "autocomplete": "off"}),
        error_messages={"invalid_choice": _("No part has this number.")},
    )
    system = forms.ChoiceField(label=_("Top system"))
    position = forms.CharField(label=_("Position"), max_length=12)

    def __init__(self, *args: object, systems: Iterable[tuple[str, str]], **kwargs: object) -> None:
        """`systems`: slug and title of those declared."""
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        field = self.fields["system"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared so above
        field.choices = list(systems)
