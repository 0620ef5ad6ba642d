"""A calendar feed after RFC 5545, written with the icalendar library. Knows nothing of where the events come from."""

import datetime as dt
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from icalendar import Calendar, Event

MADE_BY = "-//Topwright//Bay bookings//EN"
READ_EVERY = dt.timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Booked:
    """One event. `uid` stays for life; `sequence` grows with each change, the last at `changed_at`. Times aware."""

    uid: str
    sequence: int
    changed_at: dt.datetime
    starts_at: dt.datetime
    ends_at: dt.datetime
    summary: str
    location: str


def feed(name: str, events: Iterable[Booked]) -> bytes:
    """The calendar as a file: CRLF, folded at 75 octets, text escaped, all by the library.

    Times stand in UTC (3.3.5, form 2): no zone has to be described, and no change of daylight saving is read wrongly.
    Without a METHOD, DTSTAMP is when the event was last changed (3.8.7.2).
    """
    calendar = Calendar()
    calendar.add("prodid", MADE_BY)
    calendar.add("version", "2.0")
    calendar.add("name", name)  # RFC 7986
    calendar.add("x-wr-calname", name)  # the older readers' word for it
    calendar.add("refresh-interval", READ_EVERY, parameters={"VALUE": "DURATION"})
    for one in events:
        calendar.add_component(_event(one))
    written: bytes = calendar.to_ical()
    return written


def _event(one: Booked) -> Event:
    event = Event()
    event.add("uid", one.uid)
    event.add("dtstamp", one.changed_at.astimezone(dt.UTC))
    event.add("last-modified", one.changed_at.astimezone(dt.UTC))
    event.add("sequence", one.sequence)
    event.add("dtstart", one.starts_at.astimezone(dt.UTC))
    event.add("dtend", one.ends_at.astimezone(dt.UTC))
    event.add("summary", _plain(one.summary))
    event.add("location", _plain(one.location))
    return event


def _plain(text: str) -> str:
    """Without control characters, which a text may not have (3.3.11); lines stay lines."""
    return "".join(char for char in text if char == "\n" or unicodedata.category(char) != "Cc")
