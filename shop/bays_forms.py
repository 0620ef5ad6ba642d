"""What people type of bays, bookings and days away."""

import datetime as dt
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.forms.utils import from_current_timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.forms import DayInput
from shop.models import Bay, BayBooking, Task, User
from shop.selectors import bays as reads

TASKS_OFFERED = 150
"""Of the tasks without a bay: a list that a page can hold. Any other comes by its job."""


class TaskField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Task) -> str:
        return f"{obj.job.number} {obj.job.car}: {obj}"

    def offer(self, tasks: list[Task]) -> None:
        """What the list shows; whatever the queryset has is taken."""
        self.widget.choices = [("", "–"), *((one.pk, self.label_from_instance(one)) for one in tasks)]


class BookingForm(forms.Form):
    """Where, who and when of a booking; `stretch` the aware times after it was found valid."""

    bay = forms.ModelChoiceField(label=gettext_lazy("Bay"), queryset=Bay.objects.filter(active=True))
    person = forms.ModelChoiceField(
        label=gettext_lazy("Person"), queryset=User.objects.filter(is_active=True).order_by("username"), required=False
    )
    day = forms.DateField(label=gettext_lazy("Day"), widget=DayInput())
    start = forms.TimeField(
        label=gettext_lazy("Start"), widget=forms.TimeInput(format="%H:%M", attrs={"type": "time", "step": "900"})
    )
    hours = forms.DecimalField(
        label=gettext_lazy("Length in hours"),
        min_value=Decimal("0.25"),
        max_value=Decimal(744),
        decimal_places=2,
        help_text=gettext_lazy("In quarters of an hour, such as 1.75. A car that stays for a day: 24."),
        widget=forms.NumberInput(attrs={"step": "0.25", "inputmode": "decimal"}),
    )
    seen = forms.IntegerField(required=False, min_value=0, max_value=2**31 - 1, widget=forms.HiddenInput())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if {"day", "start", "hours"} <= data.keys():
            naive = dt.datetime.combine(data["day"], data["start"])
            try:
                starts_at = from_current_timezone(naive)
                ends_at = starts_at.astimezone(dt.UTC) + dt.timedelta(hours=float(data["hours"]))
            except OverflowError as error:
                raise forms.ValidationError(_("This day is beyond every calendar.")) from error
            self.stretch = {"starts_at": starts_at, "ends_at": ends_at}
        return data


def booking_initial(booking: BayBooking, starts_at: dt.datetime) -> dict[str, Any]:
    """What the form of a booking starts from; `starts_at` on the wall's clock."""
    hours = Decimal(int((booking.ends_at - booking.starts_at).total_seconds())) / 3600
    return {
        "bay": booking.bay_id,
        "person": booking.person_id,
        "day": starts_at.date(),
        "start": starts_at.time(),
        "hours": hours.quantize(Decimal("0.01")).normalize() if hours % 1 else int(hours),
        "seen": booking.sequence,
    }


class PlaceForm(BookingForm):
    task = TaskField(label=gettext_lazy("Task"), queryset=Task.objects.none())
    field_order = ("task", "bay", "person", "day", "start", "hours")

    def __init__(self, *args: Any, task: Task | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(TaskField, self.fields["task"])
        field.queryset = reads.bookable_tasks()
        offered = list(reads.tasks_without_bay()[:TASKS_OFFERED])
        field.offer(offered if task is None or task in offered else [task, *offered])


class BayForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=40, widget=forms.TextInput({"autocomplete": "off"}))


class AwayForm(forms.Form):
    person = forms.ModelChoiceField(
        label=gettext_lazy("Person"), queryset=User.objects.filter(is_active=True).order_by("username")
    )
    first_day = forms.DateField(label=gettext_lazy("First day"), widget=DayInput())
    last_day = forms.DateField(label=gettext_lazy("Last day"), widget=DayInput())
    words = forms.CharField(
        label=gettext_lazy("In short"),
        max_length=80,
        required=False,
        help_text=gettext_lazy("Read by the person and the owner only."),
    )
