"""What people type. Shapes and plain bounds here; the rules live in the services."""

import datetime as dt
import re
from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop import vin as vins
from shop.models import Car, Climate, Customer, Hold, Job, JobNote, Moment, Picture, Stage
from shop.words import day_words, vin_problem_words


class MonthField(forms.DateField):
    """A month, typed or picked as YYYY-MM; its first day."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(format="%Y-%m", attrs={"type": "month", "placeholder": "YYYY-MM"})
        errors = {"invalid": gettext_lazy("Give the month as year and month, for example 2014-06.")}
        super().__init__(input_formats=["%Y-%m"], widget=widget, error_messages=errors, **kwargs)


WORDS_AT_MOST = 4000
"""Characters of a text: two pages of the certificate that prints it."""


def words_field(label: Any, *, rows: int, **more: Any) -> forms.CharField:
    """A text of several lines, of any length that a person would type."""
    return forms.CharField(label=label, max_length=WORDS_AT_MOST, widget=forms.Textarea(attrs={"rows": rows}), **more)


class DayInput(forms.DateInput):
    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d", attrs={"type": "date"})


class OwnerField(forms.CharField):
    """A customer, named as the list offers it (`Name (number)`) or by a name that only one customer has."""

    def __init__(self, **kwargs: Any) -> None:
        attrs = {"list": "owner-options", "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs=attrs), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return owner_label(value) if isinstance(value, Customer) else value

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        numbered = re.fullmatch(r".*\((\d{1,18})\)", text)
        named = Q(pk=int(numbered[1])) if numbered else Q(name__iexact=text)
        matches = list(Customer.objects.filter(named)[:2])
        if len(matches) == 1:
            return matches[0]
        if matches:
            raise forms.ValidationError(_("More than one customer has this name: pick the right one from the list."))
        raise forms.ValidationError(_("There is no such customer: pick one from the list, or add the customer first."))


def owner_label(customer: Customer) -> str:
    return f"{customer.name} ({customer.pk})"


class CustomerForm(forms.ModelForm):  # type: ignore[type-arg]
    note = words_field(gettext_lazy("Note"), rows=3, required=False)

    class Meta:
        model = Customer
        fields = ("name", "email", "phone", "note")
        labels = {
            "name": gettext_lazy("Name"),
            "email": gettext_lazy("E-mail"),
            "phone": gettext_lazy("Telephone"),
        }


class CarForm(forms.Form):
    """For a new car and for a change; `car` is the one that is changed."""

    vin = forms.CharField(
        label=gettext_lazy("VIN"),
        max_length=40,
        help_text=gettext_lazy("17 characters, as on the car. Never I, O or Q."),
        widget=forms.TextInput(
            attrs={"class": "mono", "autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
        ),
    )
    plate = forms.CharField(label=gettext_lazy("Plate"), max_length=16, required=False)
    maker = forms.CharField(label=gettext_lazy("Maker"), max_length=60)
    model = forms.CharField(label=gettext_lazy("Model"), max_length=60)
    made_on = MonthField(
        label=gettext_lazy("Production month"),
        help_text=gettext_lazy("Not the model year. Where only the year is known, any month of it will do."),
    )
    year_only = forms.BooleanField(
        label=gettext_lazy("Only the year is known"),
        required=False,
        help_text=gettext_lazy("The failure patterns then take the car for one of any month of that year."),
    )
    known_from = forms.DateField(
        label=gettext_lazy("History known from"),
        required=False,
        widget=DayInput(),
        help_text=gettext_lazy(
            "Empty where all that was ever repaired on the top is known. Else the day from which it is: an older "
            "failure would be written down nowhere."
        ),
    )
    climate = forms.ChoiceField(
        label=gettext_lazy("Climate where the car mostly lives"), choices=Climate.choices, initial=Climate.TEMPERATE
    )
    system = forms.SlugField(
        label=gettext_lazy("Top system"),
        max_length=60,
        required=False,
        help_text=gettext_lazy("Leave empty where nobody has declared it yet: the car can be taken in all the same."),
        widget=forms.TextInput(attrs={"list": "system-options", "autocomplete": "off"}),
    )
    owner = OwnerField(label=gettext_lazy("Owner"), max_length=160, required=False)

    def __init__(self, *args: Any, car: Car | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.car = car
        self.there: Car | None = None
        """The car that has the VIN already, where there is one."""

    def clean_vin(self) -> str:
        vin = vins.tidy(self.cleaned_data["vin"])
        problem = vins.problem_of(vin)
        if problem is not None:
            raise forms.ValidationError(vin_problem_words(problem))
        cars = Car.objects.select_related("merged_into").exclude(pk=self.car.pk if self.car else 0)
        there = cars.filter(vin=vin).first()
        if there is not None:
            self.there = there.merged_into or there
            raise forms.ValidationError(_("This VIN is in the books already: {car}.").format(car=there))
        return vin

    def clean_made_on(self) -> dt.date:
        month: dt.date = self.cleaned_data["made_on"]
        if month > timezone.localdate():
            raise forms.ValidationError(_("This month lies in the future; expected this month or earlier."))
        if month.year < 1900:
            raise forms.ValidationError(_("Give the year with four digits, 1900 or later."))
        return month


class OdometerForm(forms.Form):
    km = forms.IntegerField(
        label=gettext_lazy("Kilometres"),
        min_value=0,
        max_value=5_000_000,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    read_on = forms.DateField(label=gettext_lazy("Read on"), widget=DayInput(), initial=timezone.localdate)


class JobForm(forms.ModelForm):  # type: ignore[type-arg]
    complaint = words_field(
        gettext_lazy("Complaint"), rows=4, required=False, help_text=gettext_lazy("In the customer’s words")
    )
    here = forms.BooleanField(label=gettext_lazy("The car is here now"), required=False, initial=True)

    class Meta:
        model = Job
        fields = ("title", "complaint", "promised_on")
        labels = {
            "title": gettext_lazy("The job in a few words"),
            "promised_on": gettext_lazy("Promised for"),
        }
        widgets = {"promised_on": DayInput()}


class StageForm(forms.Form):
    stage = forms.ChoiceField(label=gettext_lazy("Stage"), choices=Stage.choices)
    why = forms.CharField(
        label=gettext_lazy("Why, where it is called done without proof"), required=False, max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
    )  # fmt: skip


class HoldForm(forms.Form):
    hold = forms.ChoiceField(label=gettext_lazy("Waits for"), choices=Hold.choices)
    note = forms.CharField(label=gettext_lazy("In short"), max_length=140, required=False)


class HandOverForm(forms.Form):
    owner = OwnerField(
        label=gettext_lazy("Next owner"),
        max_length=160,
        required=False,
        help_text=gettext_lazy("Empty where nobody knows who that is."),
    )
    on = forms.DateField(label=gettext_lazy("Day of the hand-over"), widget=DayInput(), initial=timezone.localdate)


class WhyForm(forms.Form):
    """Why two cars are one: a person says it, the trail keeps it."""

    why = forms.CharField(
        label=gettext_lazy("How you know that both are one and the same car"), max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip


class NoteForm(forms.ModelForm):  # type: ignore[type-arg]
    words = words_field(gettext_lazy("Note"), rows=3)

    class Meta:
        model = JobNote
        fields = ("words",)


class PictureWordsForm(forms.Form):
    """What is said of a picture; `position` is offered by the car's top system where it is known."""

    caption = forms.CharField(label=gettext_lazy("What it shows"), max_length=140, required=False)
    position = forms.CharField(
        label=gettext_lazy("Position"), max_length=12, required=False,
        widget=forms.TextInput(attrs={"list": "position-options", "autocomplete": "off"}),
    )  # fmt: skip
    moment = forms.ChoiceField(
        label=gettext_lazy("Before or after the work"), choices=[("", "–"), *Moment.choices], required=False
    )
    on_paper = forms.BooleanField(
        label=gettext_lazy("Show it on the job’s certificate"), required=False,
        help_text=gettext_lazy("With its caption. No person, no plate of another car and no paper may be seen on it."),
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("on_paper") and not data.get("caption"):
            self.add_error("caption", _("Say what it shows: on a certificate a picture stands with its caption."))
        return data


class _Files(forms.FileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """Several files, as a list. What is a picture is decided by shop.uploads, in one place."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        one = super().clean
        return [one(file, initial) for file in data] if data else []


class _PictureField(forms.ModelChoiceField):  # type: ignore[type-arg]  # not generic when it runs
    def label_from_instance(self, obj: Picture) -> str:
        said = [obj.caption or _("without a caption"), obj.position, day_words(obj.at)]
        return ", ".join(one for one in said if one)


class PictureForm(PictureWordsForm):
    """Pictures of a job from the telephone's album, or one from its camera."""

    file = _FilesField(
        label=gettext_lazy("Pictures"), required=False,
        widget=_Files(attrs={"accept": "image/jpeg,image/png,image/webp", "multiple": True}),
    )  # fmt: skip
    camera = forms.FileField(
        label=gettext_lazy("Take one now"), required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )  # fmt: skip
    before = _PictureField(
        label=gettext_lazy("The picture before the work"), empty_label="–", required=False,
        queryset=Picture.objects.none(),
        help_text=gettext_lazy("Choose it here where this one shows the same place after the work."),
    )  # fmt: skip
    field_order = ("camera", "file", "caption", "position", "moment", "on_paper", "before")

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unpaired = job.pictures.filter(before=None, after=None).exclude(moment=Moment.AFTER)
        self.fields["before"].queryset = unpaired  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        files = [*data.get("file", []), *([data["camera"]] if data.get("camera") else [])]
        if not files and not self.errors:
            self.add_error("file", _("Choose a picture, or take one."))
        return data | {"files": files}
