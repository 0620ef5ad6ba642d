"""What people type about suppliers, their offers and orders."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from parts.models import Offer, Part, Supplier
from parts.needs_forms import quantity_field
from shop.forms import DayInput

PRICE = {"max_digits": 10, "decimal_places": 2, "required": False}


def price_field(label: Any, **more: Any) -> forms.DecimalField:
    widget = forms.NumberInput(attrs={"step": "0.01", "min": "0", "inputmode": "decimal"})
    return forms.DecimalField(label=label, widget=widget, **(PRICE | more))


def days_field(label: Any, **more: Any) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"min": "0", "max": "365", "inputmode": "numeric"})
    return forms.IntegerField(label=label, required=False, widget=widget, **more)


class SupplierForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80)
    email = forms.EmailField(label=_("E-mail"), required=False)
    lead_days = days_field(
        _("Days from order to delivery, as they state"),
        help_text=_("Calendar days. Stays empty where nobody stated any: the shop’s own deliveries will tell."),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class OfferForm(forms.Form):
    """A part as one supplier delivers it."""

    supplier = forms.ModelChoiceField(label=_("Supplier"), queryset=Supplier.objects.all())
    their_number = forms.CharField(label=_("Their number"), max_length=60, required=False)
    price = price_field(_("Price of a piece, net"))
    pack = forms.IntegerField(
        label=_("Pieces in a pack"), initial=1, widget=forms.NumberInput(attrs={"min": "1", "inputmode": "numeric"})
    )
    lead_days = days_field(_("Days of delivery, where other than usual for them"))
    preferred = forms.BooleanField(label=_("Order it from here"), required=False)


def offer_facts(offer: Offer) -> dict[str, Any]:
    """What a form of the offer begins with."""
    names = ("their_number", "price", "pack", "lead_days", "preferred")
    return {"supplier": offer.supplier_id, **{name: getattr(offer, name) for name in names}}


class OrderLineForm(forms.Form):
    """Pieces that go on the supplier's draft."""

    supplier = forms.ModelChoiceField(label=_("Supplier"), queryset=Supplier.objects.all())
    part = forms.ModelChoiceField(
        label=_("Part number"),
        queryset=Part.objects.all(),
        to_field_name="number",
        widget=forms.TextInput(attrs={"list": "order-numbers", "autocomplete": "off"}),
        error_messages={"invalid_choice": _("No part has this number.")},
    )
    quantity = quantity_field()
    price = price_field(_("Price of a piece, net"), help_text=_("Empty: that of their offer."))
    why = forms.CharField(label=_("What for"), max_length=200, required=False)

    def of(self, supplier: Supplier) -> "OrderLineForm":
        """The form on the page of an order, whose supplier is settled."""
        self.fields["supplier"].widget = forms.HiddenInput()
        self.initial["supplier"] = supplier.pk
        return self


class SendForm(forms.Form):
    expected_on = forms.DateField(
        label=_("Day that they confirmed"),
        widget=DayInput(),
        required=False,
        help_text=_("Empty: reckoned from what they delivered so far, or from what they state."),
    )
    their_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)
    note = forms.CharField(label=_("Note for the supplier, on the paper"), max_length=200, required=False)


class ConfirmForm(forms.Form):
    expected_on = forms.DateField(label=_("Expected on"), widget=DayInput())
    their_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)


class WhyForm(forms.Form):
    why = forms.CharField(label=_("Why"), max_length=200, required=False)


class ChangeForm(forms.Form):
    quantity = quantity_field()
    price = price_field(_("Price of a piece, net"))


class ReceiveForm(forms.Form):
    """Pieces of one line that came in; a batch or serial number only of a part that is followed by it."""

    quantity = quantity_field()
    lot = forms.CharField(label=_("Batch or serial number"), max_length=60, required=False)
    price = price_field(_("Price paid, net"))
    surplus_why = forms.CharField(label=_("Why more than ordered"), max_length=200, required=False)

    def __init__(self, *args: Any, followed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not followed:
            del self.fields["lot"]
