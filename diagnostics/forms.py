"""What people type at the bench, read into the shapes of the services.

One form for each kind of entry; each gives the observation in the words of a case file. A button says the kind, and
the answer where the button is the answer (`click:yes`). What an observation may say is
checked by the service, once.
"""

from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diagnostics.engine.case import MotionTrial
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import CheckKind, WorkKind

YES_NO = [("yes", gettext_lazy("Yes")), ("no", gettext_lazy("No"))]
LAMPS = [("flashing", gettext_lazy("flashing")), ("steady", gettext_lazy("steady")), ("off", gettext_lazy("off"))]


class MeterField(forms.CharField):
    """A number as a meter shows it, with a point or a comma; None where it may be left empty."""

    def __init__(self, *, unit: str, example: str, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)
        self.unit, self.example = unit, example

    def clean(self, value: Any) -> float | None:
        text = self.to_python(value)
        if not text and not self.required:
            return None
        if not text:
            words = _("No number was typed; expected {unit}, such as {example}.")
            raise forms.ValidationError(words.format(unit=self.unit, example=self.example))
        try:
            return float(text.replace(",", ".").removesuffix(self.unit[0].upper()).strip())
        except ValueError as error:
            words = _("“{text}” is no number; expected {unit}, such as {example}.")
            raise forms.ValidationError(words.format(text=text[:20], unit=self.unit, example=self.example)) from error


def _volts(*, required: bool = True) -> MeterField:
    return MeterField(unit="volts", example="11.9", required=required)


class PoseField(forms.CharField):
    """A resting pose by name, or places by axis as `axis:place,axis:place`; '' means as the sheet stands."""

    def clean(self, value: Any) -> str | dict[str, str]:
        text: str = super().clean(value)
        if ":" not in text:
            return text
        # What is no axis or no place of the system is refused where the system is known.
        return {axis: place for axis, _colon, place in (part.partition(":") for part in text.split(","))}


class EntryForm(forms.Form):
    """Base of all entries. `entry_id` is made in the browser; without one the entry gets its own."""

    entry_id = forms.UUIDField(required=False)

    def observation(self) -> dict[str, Any]:
        data = {key: value for key, value in self.cleaned_data.items() if key != "entry_id"}
        return {"check": self.check, **data}

    check: str


class AtPosition(EntryForm):
    position = forms.CharField(max_length=12)


class PinForm(AtPosition):
    """`supply_volts` and `ignition` go with the entry, so that one sent late keeps what held when it was read."""

    check = CheckKind.PIN.value
    volts = _volts()
    pose = PoseField(required=False)
    supply_volts = _volts(required=False)
    ignition = forms.ChoiceField(choices=YES_NO, required=False)

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        if not data["pose"]:
            del data["pose"]
        return _with_ignition(data)


class FreeForm(EntryForm):
    check = CheckKind.PIN.value
    connector = forms.CharField(label=gettext_lazy("Connector"), max_length=5)
    row = forms.CharField(label=gettext_lazy("Row"), max_length=1, required=False)
    number = forms.IntegerField(label=gettext_lazy("Pin number"), min_value=1)
    volts = _volts()
    pose = forms.CharField(label=gettext_lazy("Pose"), max_length=80, required=False)

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        return {**data, "connector": data["connector"].upper(), "row": data["row"].upper()}


class ByHandForm(AtPosition):
    check = CheckKind.PIN_BY_HAND.value
    pressed_volts = _volts()
    released_volts = _volts()
    supply_volts = _volts(required=False)
    ignition = forms.ChoiceField(choices=YES_NO, required=False)

    def observation(self) -> dict[str, Any]:
        return _with_ignition(super().observation())


class ClickForm(AtPosition):
    check = CheckKind.CLICK.value
    answer = forms.ChoiceField(choices=YES_NO)

    def observation(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {"check": self.check, "position": data["position"], "heard": data["answer"] == "yes"}


class WiggleForm(AtPosition):
    check = CheckKind.WIGGLE.value
    answer = forms.ChoiceField(choices=YES_NO)

    def observation(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {"check": self.check, "position": data["position"], "steady": data["answer"] == "yes"}


class ContinuityForm(AtPosition):
    """The answer `open` is the button beside the number: the meter shows no path."""

    check = CheckKind.CONTINUITY.value
    ohms = MeterField(unit="ohms", example="0.4", required=False)
    answer = forms.ChoiceField(choices=[("open", "open")], required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("ohms") is None and not data.get("answer") and "ohms" not in self.errors:
            self.add_error(None, _("No number was typed; expected ohms, such as 0.4, or press “open”."))
        return data

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        return {"check": self.check, "position": data["position"], "ohms": None if data["answer"] else data["ohms"]}


class LookForm(AtPosition):
    check = CheckKind.LOOK.value
    found = forms.CharField(max_length=120, required=False)
    words = forms.CharField(max_length=120, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("found") and not data.get("words"):
            self.add_error(None, _("Say what was found, or choose “nothing”."))
        return data

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        return {"check": self.check, "position": data["position"], "found": data["words"] or data["found"]}


class HoldForm(AtPosition):
    """A pressure hold. Its seconds and temperature have names of their own: a row's fields are one form."""

    check = CheckKind.PRESSURE_HOLD.value
    bar_start = MeterField(unit="bar", example="120")
    bar_end = MeterField(unit="bar", example="115")
    hold_seconds = MeterField(unit="seconds", example="60")
    hold_oil_c = MeterField(unit="°C", example="20", required=False)

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        return {
            "check": self.check,
            "position": data["position"],
            "bar_start": data["bar_start"],
            "bar_end": data["bar_end"],
            "seconds": data["hold_seconds"],
            "oil_c": data["hold_oil_c"],
        }


class BatteryForm(EntryForm):
    check = CheckKind.BATTERY.value
    volts = _volts()


class MotionForm(EntryForm):
    """`stops_at`: a step, or `whole`; seconds of the steps that ended come as `seconds_<step>`, where axes were seen to
    stand as `stands_<axis>`."""

    check = CheckKind.MOTION.value
    motion = forms.ChoiceField(choices=[("open", "open"), ("close", "close")])
    stops_at = forms.CharField(label=gettext_lazy("Where it stopped"), max_length=60)
    lamp = forms.ChoiceField(choices=LAMPS, required=False)
    oil_c = MeterField(unit="°C", example="20", required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        field = MeterField(unit="seconds", example="4.5", required=False)
        seconds = {}
        for name in self.data:
            if name.startswith("seconds_"):
                value = field.clean(self.data[name])
                if value is not None and not value > 0:
                    words = _("A step of {text} s cannot be; expected more than 0 s, such as 4.5.")
                    raise forms.ValidationError(words.format(text=self.data[name]))
                if value is not None:
                    seconds[name.removeprefix("seconds_")] = value
        return {**data, "seconds": seconds}

    def observation(self) -> dict[str, Any]:
        data = super().observation()
        stops_at = None if data["stops_at"] == "whole" else data["stops_at"]
        return MotionTrial(
            check="motion", motion=data["motion"], stops_at=stops_at, lamp=data["lamp"] or None
        ).model_dump() | {"seconds": data["seconds"], "oil_c": data["oil_c"], "stands": self._stands()}

    def _stands(self) -> dict[str, str] | None:
        """What nobody looked at stays empty and says nothing."""
        given = {name.removeprefix("stands_"): place for name, place in self.data.items() if name.startswith("stands_")}
        return {axis: place for axis, place in given.items() if place} or None


ENTRY_FORMS: dict[str, type[EntryForm]] = {
    form.check: form
    for form in (
        PinForm,
        ByHandForm,
        ClickForm,
        WiggleForm,
        ContinuityForm,
        LookForm,
        HoldForm,
        BatteryForm,
        MotionForm,
    )
}


def _with_ignition(data: dict[str, Any]) -> dict[str, Any]:
    """An entry that does not say takes the ignition (and the supply) of its sheet."""
    said = data.pop("ignition")
    return {**data, "ignition": said == "yes"} if said else data


class StateForm(forms.Form):
    """What the car stands like: a resting pose by button, or a place for each axis; supply and ignition."""

    pose = PoseField(required=False)
    supply_volts = _volts(required=False)
    ignition = forms.BooleanField(required=False)

    def places(self, system: TopSystem | None) -> str | dict[str, str]:
        """The pose asked for; the axes of the selects where no button was pressed."""
        if self.cleaned_data["pose"] or system is None:
            return self.cleaned_data["pose"] or {}
        return {axis: self.data[f"axis_{axis}"] for axis in system.axes if self.data.get(f"axis_{axis}")}


class ComplaintForm(forms.Form):
    """`stop`: `<motion>:<step>`, or '' for no complaint."""

    stop = forms.CharField(max_length=80, required=False)
    lamp = forms.ChoiceField(choices=LAMPS, required=False)
    recent_work = forms.MultipleChoiceField(required=False)

    def __init__(self, *args: Any, system: TopSystem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["recent_work"].choices = [(code, code) for code in system.positions]  # type: ignore[attr-defined]

    def complaint(self) -> dict[str, Any] | None:
        motion, _colon, step = self.cleaned_data["stop"].partition(":")
        if not motion:
            return None
        return {"motion": motion, "stops_at": step, "lamp": self.cleaned_data["lamp"] or None}


class StrikeForm(forms.Form):
    """Whether a reason is needed is for the service to say."""

    why = forms.CharField(label=gettext_lazy("Why"), max_length=200, required=False)


class WorkForm(forms.Form):
    position = forms.CharField(label=gettext_lazy("Position"), max_length=12)
    kind = forms.ChoiceField(choices=WorkKind.choices)
    mode = forms.CharField(label=gettext_lazy("What was wrong there?"), max_length=24, required=False)
    part = forms.CharField(max_length=40, required=False)
    revision = forms.CharField(max_length=12, required=False)
    serial = forms.CharField(max_length=40, required=False)
    elsewhere = forms.CharField(max_length=200, required=False)
    lot = forms.CharField(max_length=60, required=False)
    core_kept = forms.BooleanField(required=False)
    words = forms.CharField(max_length=200, required=False)


def first_words(form: forms.Form) -> str:
    """The first mistake of a form, as one sentence that names its field where the sentence alone would not."""
    name, errors = next(iter(form.errors.items()))
    words = str(errors[0])
    own = name == NON_FIELD_ERRORS or isinstance(form.fields[name], MeterField | PoseField)
    return words if own else _("{field}: {words}").format(field=form.fields[name].label or name, words=words)
