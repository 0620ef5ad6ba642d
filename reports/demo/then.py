"""The shop's clock at another moment, so that its services write what people did then; workdays counted from today."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from unittest import mock

from django.utils import timezone

from reports.demo.jobs import at, workday


@contextmanager
def then(moment: datetime) -> Iterator[None]:
    """Within, whatever asks Django what time it is hears `moment` (aware): a service dates its rows and its trail so.

    The load runs in a process of its own, in which nobody else asks.
    """
    with mock.patch.object(timezone, "now", return_value=moment):
        yield


@dataclass(frozen=True, slots=True)
class Days:
    """Workdays counted from today, and the moment at which the demo is loaded."""

    today: date
    now: datetime
    zone: tzinfo

    def day(self, number: int) -> date:
        found = workday(self.today)
        for _step in range(abs(number)):
            found = workday(found + timedelta(days=1 if number > 0 else -1), back=number < 0)
        return found

    def at(self, number: int, hour: float) -> datetime:
        return at(self.day(number), hour, self.zone)
