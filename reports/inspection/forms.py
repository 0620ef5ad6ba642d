"""What a person answers to an item of an inspection, and why they leave items out."""

import uuid
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.errors import ShopError
from shop.models import Job, Picture


class FigureField(forms.CharField):
    """A decimal number as people type it, with a point or a comma; '' gives None."""

    def clean(self, value: Any) -> Any:
        text = str(super().clean(value) or "").strip().replace(",", ".")
        if not text:
            return None
        try:
            number = Decimal(text)
            if not number.is_finite() or abs(number) >= 100_000:
                raise InvalidOperation
            return number.quantize(Decimal("0.01"))
        except InvalidOperation as error:
            raise forms.ValidationError(_("“{text}” is no number.").format(text=text[:20])) from error


class AnswerForm(forms.Form):
    key = forms.CharField(max_length=60)
    grade = forms.CharField(
        max_length=20, error_messages={"required": gettext_lazy("Choose what was found, then save it.")}
    )
    words = forms.CharField(label=gettext_lazy("What was seen, and where"), max_length=300, required=False)
    measured = FigureField(max_length=20, required=False)
    picture = forms.ModelChoiceField(queryset=Picture.objects.none(), required=False)
    upload = forms.FileField(required=False)
    entry_id = forms.UUIDField(required=False)

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        pictures = self.fields["picture"]
        assert isinstance(pictures, forms.ModelChoiceField)  # noqa: S101 - declared above
        pictures.queryset = job.pictures.all()


class SkipForm(forms.Form):
    why = forms.CharField(label=gettext_lazy("Why it is skipped"), max_length=300, required=False)
    entry_id = forms.UUIDField(required=False)


def said(form: forms.Form) -> dict[str, Any]:
    """The cleaned data, with an id where the page sent none. ShopError with the first mistake, in a sentence."""
    if not form.is_valid():
        name, errors = next(iter(form.errors.items()))
        label = form.fields[name].label if name in form.fields else ""
        raise ShopError(f"{label}: {errors[0]}" if label else str(errors[0]))
    return {**form.cleaned_data, "entry_id": form.cleaned_data["entry_id"] or uuid.uuid4()}
