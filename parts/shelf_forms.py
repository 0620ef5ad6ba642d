"""What people type at the shelf."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from parts.models import Lot, OrderLine, Part, Tracking
from parts.needs_forms import quantity_field
from parts.selectors.coming import Coming

NO_PART = _("No part has this number.")


def _price_field() -> forms.DecimalField:
    return forms.DecimalField(
        label=_("Price net a piece"), max_digits=10, decimal_places=2, min_value=0, required=False
    )


def _why_field(required: bool) -> forms.CharField:
    return forms.CharField(label=_("Why"), max_length=200, required=required)


class _OfPart(forms.Form):
    """A form about one part: what its pieces do not have is not asked for."""

    part: Part
    lot_label = {Tracking.BATCH: _("Batch number"), Tracking.SERIAL: _("Serial number")}

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.part = part
        if part.tracking == Tracking.NONE:
            self.fields.pop("lot", None)
        elif "lot" in self.fields:
            self.fields["lot"].label = self.lot_label[Tracking(part.tracking)]


class ChangeForm(_OfPart):
    """What the catalogue says of a part."""

    name = forms.CharField(label=_("Name"), max_length=120)
    place = forms.CharField(label=_("Place on the shelf"), max_length=40, required=False)
    minimum = forms.IntegerField(label=_("Pieces that are always to be there"), min_value=0, max_value=999)
    tracking = forms.ChoiceField(label=_("How pieces are followed"), choices=Tracking.choices)
    rebuildable = forms.BooleanField(label=_("Taken off, it can be rebuilt"), required=False)
    old_usable = forms.BooleanField(label=_("Once superseded, what is left of it may be fitted"), required=False)


class SupersedeForm(_OfPart):
    new = forms.ModelChoiceField(
        label=_("Number of the part that supersedes it; empty: none does"),
        queryset=Part.objects.all(),
        to_field_name="number",
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid_choice": NO_PART},
    )


class BarcodeForm(_OfPart):
    barcode = forms.CharField(
        label=_("Barcode"), max_length=80, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )  # fmt: skip


class AttachForm(forms.Form):
    """A barcode that names no part yet, and the part that it is on."""

    barcode = forms.CharField(label=_("Barcode"), max_length=80)
    part = forms.ModelChoiceField(
        label=_("Number of the part that it is on"),
        queryset=Part.objects.all(),
        to_field_name="number",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid_choice": NO_PART},
    )


class GoodsForm(_OfPart):
    """Pieces that came in. `line`: the line of an order that they belong to, none for pieces that nobody ordered here;
    its choices are the open ones."""

    line = forms.ModelChoiceField(
        label=_("They belong to"),
        queryset=OrderLine.objects.none(),
        required=False,
        empty_label=_("no order of ours"),
    )
    quantity = quantity_field()
    lot = forms.CharField(max_length=60, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    price = _price_field()
    why = forms.CharField(
        label=_("Remark; with more than was ordered: why you take them"), max_length=200, required=False
    )

    def __init__(self, *args: Any, part: Part, coming: tuple[Coming, ...], **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        field = self.fields["line"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared so above
        if not coming:
            del self.fields["line"]
            return
        field.queryset = OrderLine.objects.filter(pk__in=[one.line.pk for one in coming]).select_related(
            "order__supplier"
        )
        field.label_from_instance = lambda line: _("{order} {supplier}: {open} still to come").format(  # type: ignore[method-assign,assignment]
            order=line.order.number, supplier=line.order.supplier, open=line.open
        )
        field.initial = coming[0].line.pk


class ScrapForm(_OfPart):
    """Pieces, or with `core` those that wait to be rebuilt, thrown away."""

    quantity = quantity_field()
    lot = forms.ModelChoiceField(queryset=Lot.objects.none(), to_field_name="number", required=False)
    core = forms.BooleanField(label=_("It is a core, not a piece from the shelf"), required=False)
    why = _why_field(required=True)

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        field = self.fields.get("lot")
        if isinstance(field, forms.ModelChoiceField):
            field.queryset = part.lots.filter(quantity__gt=0)
        if not part.rebuildable:
            del self.fields["core"]


class CoreForm(_OfPart):
    quantity = quantity_field()
    why = _why_field(required=False)


class RebuiltForm(_OfPart):
    quantity = quantity_field()
    lot = forms.CharField(max_length=60, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    why = _why_field(required=False)


class CountForm(_OfPart):
    """What lies there of a part."""

    lot = forms.ModelChoiceField(queryset=Lot.objects.none(), to_field_name="number")
    counted = forms.IntegerField(label=_("Pieces that lie there"), min_value=0)
    why = forms.CharField(label=_("Remark"), max_length=140, required=False)

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        field = self.fields.get("lot")
        if isinstance(field, forms.ModelChoiceField):
            field.queryset = part.lots.all()
            field.widget = forms.TextInput(attrs={"autocomplete": "off"})
            field.error_messages["invalid_choice"] = _("No such batch or serial number of this part ever came in.")


class ReasonForm(forms.Form):
    why = _why_field(required=False)


class NoteForm(forms.Form):
    note = forms.CharField(label=_("What is counted"), max_length=140, required=False)
