"""The calendar feed, held against RFC 5545 (sections from memory) and read back by vobject, a parser of others."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import vobject
from django.test import Client
from django.urls import reverse

from shop import services
from shop.models import Job, User
from shop.planning.ical import Booked, feed
from tests.shop.bays import a_booking, a_task

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("Europe/Vienna")


def _booked(starts_at: dt.datetime, ends_at: dt.datetime, summary: str = "J00001") -> Booked:
    return Booked("b1@topwright", 3, starts_at, starts_at, ends_at, summary, "Lift 1")


def _read(text: bytes) -> list[Any]:
    return list(vobject.readOne(text.decode()).contents.get("vevent", []))


def test_the_bookings_come_back_out_of_another_parser(job: Job, tech: User, client: Client) -> None:
    booking = a_booking(job, person=tech, task=a_task(job, "Seal; trim, then\\test"))
    _link, token = services.feed_make(by=tech)
    answer = client.get(reverse("shop:calendar", args=[token]))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    (event,) = _read(answer.content)
    assert event.summary.value == f"{job.number} Halden Brise: Seal; trim, then\\test"
    assert (event.dtstart.value, event.dtend.value) == (booking.starts_at, booking.ends_at)
    assert event.location.value == "Lift 1"
    assert "Ada Quill" not in answer.content.decode()
    assert "Closing stops" not in answer.content.decode()


def test_lines_are_folded_at_75_octets_and_end_with_crlf() -> None:
    """RFC 5545, 3.1: no line longer than 75 octets without its break, and no character cut in two by the fold."""
    at = dt.datetime(2026, 3, 2, 9, tzinfo=ZONE)
    text = feed("Lift 1", [_booked(at, at + dt.timedelta(hours=1), "Dichtung prüfen, größer " * 9)])
    assert text.endswith(b"\r\n")
    assert text.count(b"\n") == text.count(b"\r\n")
    lines = text.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert [line.decode() for line in lines]
    assert any(line.startswith(b" ") for line in lines)


def test_commas_semicolons_backslashes_and_breaks_are_escaped() -> None:
    """RFC 5545, 3.3.11."""
    at = dt.datetime(2026, 3, 2, 9, tzinfo=ZONE)
    text = feed("Lift 1", [_booked(at, at + dt.timedelta(hours=1), "a,b;c\\d\ne\x07f")])
    assert b"SUMMARY:a\\,b\\;c\\\\d\\nef\r\n" in text


def test_a_booking_over_the_change_of_daylight_saving_is_as_long_as_it_is() -> None:
    """In Vienna clocks go from 2:00 to 3:00 on 29 March 2026: 1:30 to 3:30 by the wall is one hour."""
    first, last = dt.datetime(2026, 3, 29, 1, 30, tzinfo=ZONE), dt.datetime(2026, 3, 29, 3, 30, tzinfo=ZONE)
    text = feed("Lift 1", [_booked(first, last)])
    assert b"DTSTART:20260329T003000Z\r\n" in text
    assert b"DTEND:20260329T013000Z\r\n" in text
    (event,) = _read(text)
    assert event.dtend.value - event.dtstart.value == dt.timedelta(hours=1)


def test_a_moved_booking_keeps_its_uid_and_raises_its_sequence(job: Job, tech: User, client: Client) -> None:
    """RFC 5545, 3.8.4.7 and 3.8.7.4: by these a reader moves the event instead of showing it twice."""
    booking = a_booking(job, person=tech)
    _link, token = services.feed_make(by=tech)
    address = reverse("shop:calendar", args=[token])
    (before,) = _read(client.get(address).content)
    hour = dt.timedelta(hours=1)
    services.booking_move(
        booking=booking, bay=booking.bay, person=tech, starts_at=booking.starts_at + hour,
        ends_at=booking.ends_at + hour, seen=0, by=tech,
    )  # fmt: skip
    (after,) = _read(client.get(address).content)
    assert after.uid.value == before.uid.value
    assert (before.sequence.value, after.sequence.value) == ("0", "1")
    assert after.dtstamp.value >= before.dtstamp.value
    assert after.dtstart.value == before.dtstart.value + hour
    services.booking_drop(booking=booking, seen=1, by=tech)
    assert _read(client.get(address).content) == []
