"""What people type into a work plan."""

import datetime as dt
from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from shop.forms import DayInput
from shop.models import Bay, Clock, Role, Task, TaskKind, TaskState, User

MINUTES_AT_MOST = 60_000


def _minutes(label: Any, **more: Any) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"inputmode": "numeric"})
    return forms.IntegerField(label=label, min_value=0, max_value=MINUTES_AT_MOST, widget=widget, **more)


class TaskForm(forms.Form):
    title = forms.CharField(label=_("What is to be done"), max_length=140)
    kind = forms.ChoiceField(label=_("Where"), choices=TaskKind.choices, initial=TaskKind.LABOUR)
    planned_minutes = _minutes(_("Minutes, most likely"), initial=60)
    least_minutes = _minutes(_("Minutes at least"), required=False)
    most_minutes = _minutes(_("Minutes at most"), required=False)
    needs_bay = forms.BooleanField(label=_("The car must be in a bay"), required=False, initial=True)
    bay = forms.ModelChoiceField(label=_("Bay"), queryset=Bay.objects.none(), required=False)
    person = forms.ModelChoiceField(label=_("For"), queryset=User.objects.none(), required=False)
    outside_by = forms.CharField(label=_("Outside work: by"), max_length=120, required=False)
    outside_days = forms.IntegerField(label=_("Outside work: days"), min_value=0, max_value=730, required=False)
    caution = forms.CharField(label=_("Caution"), max_length=240, required=False)

    def __init__(self, *args: Any, task: Task | None = None, **kwargs: Any) -> None:
        if task is not None:
            kwargs["initial"] = {name: getattr(task, name) for name in self.base_fields}
        super().__init__(*args, **kwargs)
        bays = Q(active=True)
        workers = Q(is_active=True, role__in=[Role.TECHNICIAN, Role.OWNER])
        if task is not None:
            workers |= Q(pk=task.person_id)
            bays |= Q(pk=task.bay_id)
        people = User.objects.filter(workers).order_by("username")
        self.fields["person"] = forms.ModelChoiceField(
            label=_("For"), queryset=people, required=False, empty_label=_("Anybody")
        )
        self.fields["bay"] = forms.ModelChoiceField(
            label=_("Bay"), queryset=Bay.objects.filter(bays), required=False, empty_label=_("Any")
        )


class TemplateForm(forms.Form):
    """One of the plans of fixtures/plans.yaml."""

    def __init__(self, choices: list[tuple[str, str]], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["template"] = forms.ChoiceField(label=_("Template"), choices=choices)


class BlockForm(forms.Form):
    note = forms.CharField(label=_("What it waits for, in a word (empty: nothing)"), max_length=140, required=False)


class BeforeForm(forms.Form):
    def __init__(self, task: Task, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = Task.objects.filter(job=task.job_id).exclude(pk=task.pk).exclude(state=TaskState.DROPPED)
        self.fields["before"] = forms.ModelChoiceField(label=_("Begins after"), queryset=others.order_by("number"))


class PartForm(forms.Form):
    name = forms.CharField(label=_("Part that is needed"), max_length=120)
    part = forms.CharField(label=_("Its number in the catalogue"), max_length=40, required=False)
    quantity = forms.IntegerField(label=_("Quantity"), min_value=1, max_value=999, initial=1)
    expected_on = forms.DateField(label=_("Expected on"), required=False, widget=DayInput())


class OutsideForm(forms.Form):
    on = forms.DateField(label=_("Day"), widget=DayInput(), initial=timezone.localdate)


class MomentField(forms.DateTimeField):
    """A day and time in the shop's zone; a time that the change of clocks skips or repeats is asked for again."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
        super().__init__(input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"], widget=widget, **kwargs)

    def to_python(self, value: Any) -> dt.datetime | None:
        try:
            return super().to_python(value)
        except forms.ValidationError as error:
            if any(one.code == "ambiguous_timezone" for one in error.error_list):
                words = _(
                    "The clocks change in that hour: that time comes twice on this day, or not at all. Give one before "
                    "or after it."
                )
                raise forms.ValidationError(words, code="ambiguous_timezone") from error
            raise


class ClockForm(forms.Form):
    """When a clock really stopped; the owner may set its start too."""

    started_at = MomentField(label=_("Started"))
    stopped_at = MomentField(label=_("Stopped"))
    why = forms.CharField(label=_("Why it is set by hand"), max_length=140)

    def __init__(self, clock: Clock, *args: Any, both: bool, **kwargs: Any) -> None:
        started = timezone.localtime(clock.started_at)
        # An hour by the clock's own time: by the wall's it could be one that the change of clocks skips.
        stopped = timezone.localtime(clock.stopped_at or clock.started_at + dt.timedelta(hours=1))
        kwargs["initial"] = {"started_at": started, "stopped_at": stopped}
        super().__init__(*args, **kwargs)
        if not both:
            del self.fields["started_at"]
