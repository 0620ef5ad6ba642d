"""Bays, bookings, days away and calendar links: what is refused, what is warned of, what can be taken back."""

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from shop import services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Bay, BayBooking, FeedLink, Job, Stage, TaskState, User
from shop.planning.dayspans import lanes, pieces
from shop.services import Placed
from tests.shop.bays import MONDAY, a_booking, a_task, at

SPANS = st.lists(
    st.tuples(st.integers(0, 90), st.integers(1, 20)).map(lambda one: (one[0], one[0] + one[1])), max_size=12
)


@given(SPANS)
def test_no_booking_covers_another_on_the_scale(spans: list[tuple[int, int]]) -> None:
    found = lanes(spans)
    for n, (first, last) in enumerate(spans):
        assert 0 <= found[n].index < found[n].count
        for m in range(n):
            if first < spans[m][1] and spans[m][0] < last:
                assert found[n].index != found[m].index
                assert found[n].count == found[m].count


@given(st.integers(0, 200), st.integers(1, 400))
def test_the_days_of_a_booking_add_up_to_it(start: int, quarters: int) -> None:
    begins = dt.datetime(2026, 5, 4, tzinfo=dt.UTC) + dt.timedelta(minutes=15 * start)
    found = pieces(begins, begins + dt.timedelta(minutes=15 * quarters), dt.UTC)
    assert sum(one.last - one.first for one in found) == 15 * quarters
    assert [one.begins for one in found] == [True, *[False] * (len(found) - 1)]


@pytest.fixture
def lift(db: None) -> Bay:
    return Bay.objects.create(name="Lift 1")


def _place(job: Job, bay: Bay, by: User, first: float = 9, last: float = 10, **more: Any) -> Placed:
    return services.booking_place(
        task=more.pop("task", None) or a_task(job), bay=bay, starts_at=at(first), ends_at=at(last), by=by, **more
    )


def test_a_taken_bay_is_refused_and_the_other_booking_named(job: Job, lift: Bay, tech: User) -> None:
    _place(job, lift, tech)
    with pytest.raises(Conflict, match=f"Lift 1 is taken then: Mon 1 Jul, 9:00 to 10:00, Lift 1, {job.number} Fit"):
        _place(job, lift, tech, 9.75, 11)
    assert BayBooking.objects.count() == 1
    assert _place(job, lift, tech, 10, 11).warnings == ()


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [(10, 9, "ends before"), (9, 9, "ends before"), (9.1, 10, "quarters"), (9, 900, "31 days")],
)
def test_times_that_cannot_be_are_refused(
    job: Job, lift: Bay, tech: User, first: float, last: float, words: str
) -> None:
    with pytest.raises(ShopError, match=words):
        _place(job, lift, tech, first, last)


def test_what_needs_no_bay_any_more_gets_none(job: Job, lift: Bay, tech: User, owner: User, parts_user: User) -> None:
    done = a_task(job, state=TaskState.DONE, ended_at=timezone.now())
    with pytest.raises(Conflict, match="not open any more"):
        _place(job, lift, tech, task=done)
    with pytest.raises(Refused):
        _place(job, lift, parts_user)
    services.bay_give_up(bay=lift, by=owner)
    with pytest.raises(Conflict, match="given up"):
        _place(job, lift, tech)
    services.bay_take_up(bay=lift, by=owner)
    Job.objects.filter(pk=job.pk).update(stage=Stage.DONE, finished_at=timezone.now())
    with pytest.raises(Conflict, match="is finished"):
        _place(job, lift, tech, task=a_task(job))


def test_a_person_twice_or_away_and_odd_hours_are_warned_of_not_refused(job: Job, lift: Bay, tech: User) -> None:
    pit = Bay.objects.create(name="Pit")
    services.away_add(person=tech, first_day=MONDAY, last_day=MONDAY, by=tech)
    _place(job, lift, tech, person=tech)
    words = " ".join(_place(job, pit, tech, 9, 19, person=tech).warnings)
    assert "tech is booked twice then" in words
    assert "The same car is in another bay then" in words
    assert "tech is away from 1 Jul 2030" in words
    assert "outside the opening hours" in words
    assert "in the past" not in words


def test_of_two_who_move_one_booking_the_second_is_told(job: Job, lift: Bay, tech: User) -> None:
    booking = _place(job, lift, tech).booking
    same = {"booking": booking, "bay": lift, "person": None, "by": tech, "seen": 0}
    services.booking_move(starts_at=at(11), ends_at=at(12), **same)
    with pytest.raises(Conflict, match="Somebody has moved this booking meanwhile: Mon 1 Jul, 11:00"):
        services.booking_move(starts_at=at(13), ends_at=at(14), **same)
    booking.refresh_from_db()
    assert (booking.starts_at, booking.sequence) == (at(11), 1)


def test_a_bay_with_something_ahead_is_not_given_up(job: Job, lift: Bay, tech: User, owner: User) -> None:
    _place(job, lift, tech)
    with pytest.raises(Conflict, match="still has 1 booking"):
        services.bay_give_up(bay=lift, by=owner)
    with pytest.raises(Conflict, match="There is a bay Lift 1 already"):
        services.bay_add(name=" Lift  1 ", by=owner)


def test_the_last_move_is_taken_back(job: Job, lift: Bay, client_as: Any) -> None:
    client: Client = client_as("counter")
    data = {"bay": lift.pk, "day": "2030-07-01", "start": "09:00", "hours": "1", "back": "day=2030-07-01"}
    assert client.post("/floor/bookings/", {**data, "task": a_task(job).pk}).status_code == 302
    booking = BayBooking.objects.get()
    page = client.get("/floor/week/?day=2030-07-01").content.decode()
    assert "Take back" in page
    assert f'id="b{booking.pk}"' in page
    moved = client.post(f"/floor/bookings/{booking.pk}/", {**data, "start": "13:15", "seen": 0})
    assert moved["Location"] == f"/floor/week/?day=2030-07-01#b{booking.pk}"
    booking.refresh_from_db()
    assert booking.starts_at == at(13.25)
    assert client.post("/floor/bookings/take-back/").status_code == 302
    booking.refresh_from_db()
    assert (booking.starts_at, booking.sequence) == (at(9), 2)
    client.post(f"/floor/bookings/{booking.pk}/drop/", {"seen": 2})
    assert not BayBooking.objects.exists()
    client.post("/floor/bookings/take-back/")
    assert BayBooking.objects.get().starts_at == at(9)
    assert client.post("/floor/bookings/take-back/").status_code == 422


def test_a_booking_dragged_onto_another_stays_and_the_week_says_why(
    job: Job, lift: Bay, tech: User, client_as: Any
) -> None:
    _place(job, lift, tech)
    booking = _place(job, lift, tech, 11, 12).booking
    data = {"bay": lift.pk, "day": "2030-07-01", "start": "09:30", "hours": "1", "seen": 0, "dragged": "yes"}
    answer = client_as("technician").post(f"/floor/bookings/{booking.pk}/", data)
    assert answer.status_code == 409
    assert "Lift 1 is taken then" in answer.content.decode()
    booking.refresh_from_db()
    assert booking.starts_at == at(11)


def test_the_week_asks_no_more_with_more_bookings(job: Job, lift: Bay, tech: User, client_as: Any) -> None:
    client = client_as("technician")

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get("/floor/week/?day=2030-07-01&by=people").status_code == 200
        return len(queries)

    _place(job, lift, tech, person=tech)
    few = cost()
    for n in range(10, 16):
        _place(job, lift, tech, n, n + 1, person=tech)
    assert cost() == few


def test_why_somebody_is_away_is_theirs_and_the_owners(tech: User, client_as: Any) -> None:
    today = timezone.localdate()
    services.away_add(person=tech, first_day=today, last_day=today, words="At the dentist", by=tech)
    for role, reads in (("technician", True), ("owner", True), ("counter", False)):
        assert ("At the dentist" in client_as(role).get("/floor/away/").content.decode()) is reads
    with pytest.raises(Conflict, match="already"):
        services.away_add(person=tech, first_day=today, last_day=today, by=tech)
    with pytest.raises(ShopError, match="comes before the first"):
        services.away_add(person=tech, first_day=today, last_day=today - dt.timedelta(days=1), by=tech)


def test_nobody_enters_days_for_another_but_the_owner(tech: User, counter: User, owner: User) -> None:
    days = {"first_day": MONDAY, "last_day": MONDAY}
    with pytest.raises(Refused):
        services.away_add(person=tech, by=counter, **days)
    assert services.away_add(person=tech, by=owner, **days).person == tech


def test_a_link_is_shown_once_and_a_revoked_one_looks_like_a_guess(tech: User, client: Client, client_as: Any) -> None:
    signed_in: Client = client_as("technician")
    page = signed_in.post("/calendar/make/")
    assert "no-store" in page["Cache-Control"]
    (first,) = re.findall(r"/calendar/([\w-]{43})\.ics", page.content.decode())
    assert first not in signed_in.get("/calendar/").content.decode()
    assert client.get(f"/calendar/{first}.ics").status_code == 200
    signed_in.post("/calendar/make/")
    revoked, guessed = (client.get(f"/calendar/{one}.ics") for one in (first, "x" * 43))
    assert (revoked.status_code, guessed.status_code) == (404, 404)
    words = "There is no calendar at this address."
    assert all(words in one.content.decode() and "tech" not in one.content.decode() for one in (revoked, guessed))
    assert FeedLink.objects.filter(revoked_at=None).count() == 1


def test_a_reader_that_has_the_calendar_gets_it_again_only_when_it_changed(
    job: Job, tech: User, client: Client
) -> None:
    booking = a_booking(job, person=tech)
    _link, token = services.feed_make(by=tech)
    address = reverse("shop:calendar", args=[token])
    answer = client.get(address)
    assert client.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 304
    assert client.get(address, headers={"If-Modified-Since": answer["Last-Modified"]}).status_code == 304
    services.booking_drop(booking=booking, seen=0, by=tech)
    again = client.get(address, headers={"If-None-Match": answer["ETag"]})
    assert (again.status_code, b"VEVENT" in again.content) == (200, False)
    tech.is_active = False
    tech.save()
    assert client.get(address).status_code == 404
