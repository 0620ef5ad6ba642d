"""What people type into estimates, outlays and rates."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.forms import words_field
from shop.models import Answer, CostKind, EstimateLine, ShopProfile

_DAYS = [
    gettext_lazy("Monday"), gettext_lazy("Tuesday"), gettext_lazy("Wednesday"), gettext_lazy("Thursday"),
    gettext_lazy("Friday"), gettext_lazy("Saturday"), gettext_lazy("Sunday"),
]  # fmt: skip


class AmountField(forms.DecimalField):
    """A number with at most two decimals, with a point or a comma before them and nothing between thousands."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        errors = {"invalid": gettext_lazy("Give a number such as 1234.50, without a sign between the thousands.")}
        super().__init__(decimal_places=2, widget=widget, error_messages=errors, **kwargs)

    def to_python(self, value: Any) -> Any:
        text = str(value or "").strip()
        return super().to_python(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)


class LineForm(forms.Form):
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=CostKind.choices)
    words = forms.CharField(label=gettext_lazy("What"), max_length=240)
    quantity = AmountField(label=gettext_lazy("Quantity"), max_digits=9, initial=1)
    unit = forms.CharField(label=gettext_lazy("Unit"), max_length=12, help_text=gettext_lazy("h, piece, m …"))
    unit_price = AmountField(label=gettext_lazy("Price of one, without tax"), max_digits=10)
    tax_percent = AmountField(label=gettext_lazy("Tax in percent"), max_digits=4, min_value=0)

    @classmethod
    def of(cls, shop: ShopProfile, line: EstimateLine | None = None) -> "LineForm":
        """With the line that is changed; without one, an hour of work at the shop's rate."""
        if line is None:
            return cls(initial={"unit": _("h"), "unit_price": shop.hourly_rate, "tax_percent": shop.tax_percent})
        return cls(initial={name: getattr(line, name) for name in cls.base_fields})


class OutlayForm(LineForm):
    kind = forms.ChoiceField(
        label=gettext_lazy("Kind"), choices=[one for one in CostKind.choices if one[0] != CostKind.LABOUR]
    )


class HeadForm(forms.Form):
    title = forms.CharField(label=gettext_lazy("Title"), max_length=140)
    words = words_field(gettext_lazy("Words above the lines"), rows=4, required=False)


class SendForm(forms.Form):
    to = forms.EmailField(
        label=gettext_lazy("E-mail of the customer"),
        max_length=254,
        required=False,
        help_text=gettext_lazy("Empty: no mail goes out, and you get the link to copy."),
    )
    hold = forms.BooleanField(
        label=gettext_lazy("The job waits for the customer from now on"), required=False, initial=True
    )


class AnswerForm(forms.Form):
    """A choice for each line that is not answered yet, and who answers."""

    name = forms.CharField(
        label=gettext_lazy("Name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )

    def __init__(self, data: Any = None, *, lines: list[EstimateLine]) -> None:
        super().__init__(data)
        self.lines = lines
        for line in lines:
            self.fields[f"line-{line.pk}"] = forms.ChoiceField(choices=Answer.choices, required=False)

    def rows(self) -> list[tuple[EstimateLine, Any]]:
        return [(line, self[f"line-{line.pk}"]) for line in self.lines]

    def answers(self) -> dict[int, str]:
        given = {line.pk: self.cleaned_data[f"line-{line.pk}"] for line in self.lines}
        return {pk: answer for pk, answer in given.items() if answer}


class RatesForm(forms.Form):
    opens_at = forms.TimeField(
        label=gettext_lazy("Opens at"), widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"})
    )
    closes_at = forms.TimeField(
        label=gettext_lazy("Closes at"), widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"})
    )
    break_minutes = forms.IntegerField(label=gettext_lazy("Break in minutes"), min_value=0, max_value=600)
    work_days = forms.MultipleChoiceField(
        label=gettext_lazy("Days of work"),
        choices=[(str(number), day) for number, day in enumerate(_DAYS)],
        error_messages={"required": gettext_lazy("Choose at least one day on which the shop works.")},
    )
    hourly_rate = AmountField(label=gettext_lazy("An hour of work, without tax"), max_digits=8, min_value=0)
    tax_percent = AmountField(label=gettext_lazy("Usual tax in percent"), max_digits=4, min_value=0)
    currency = forms.RegexField(
        r"^[A-Z]{3}$",
        label=gettext_lazy("Currency"),
        help_text=gettext_lazy("Three capital letters of ISO 4217, such as EUR."),
        error_messages={"invalid": gettext_lazy("Give the currency as three capital letters, such as EUR.")},
    )
    inspection_fee = AmountField(
        label=gettext_lazy("Fee of an inspection before purchase, with tax"),
        max_digits=8,
        min_value=0,
        required=False,
        help_text=gettext_lazy("Empty: buyers from outside cannot commission one on your page."),
    )
    inspection_terms = forms.CharField(
        label=gettext_lazy("Terms of such an inspection"),
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=gettext_lazy("The buyer accepts them word by word; each commission keeps those of its day."),
    )

    @classmethod
    def of(cls, shop: ShopProfile) -> "RatesForm":
        names = [name for name in cls.base_fields if name != "work_days"]
        days = [str(number) for number, open_ in enumerate(shop.work_days) if open_ == "1"]
        return cls(initial={name: getattr(shop, name) for name in names} | {"work_days": days})

    def clean_work_days(self) -> str:
        chosen = self.cleaned_data["work_days"]
        return "".join("1" if str(number) in chosen else "0" for number in range(7))
