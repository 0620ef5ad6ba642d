"""Two hands on one commission at once: one is first, the other gets what the first did or is told, and the buyer reads
of one act."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone

from reports.commission import services
from reports.commission.services import CarFacts
from reports.models import Commission
from shop.errors import Conflict, ShopError
from shop.models import Car, Customer, Job, TrailEntry, User
from tests.reports.commissioning import commissioned, taken_on
from tests.services.test_day_races import told
from tests.services.test_races import together

pytestmark = pytest.mark.django_db(transaction=True)
Act = Callable[[], Any]


def on(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def take(made: Commission, by: User) -> Act:
    facts = CarFacts("Halden", "Brise", dt.date(2014, 1, 1), year_only=True)
    return lambda: services.commission_take(
        commission=made, by=by, vin="0TWAH5903RT000002", facts=facts, title="Inspection", appointment_on=on(1)
    )


def decline(made: Commission, by: User) -> Act:
    return lambda: services.commission_decline(commission=made, by=by, reason="We do not know this top.")


def move(made: Commission, by: User, days: int) -> Act:
    """As whoever has the page open on which the appointment of `made` stands."""
    return lambda: services.commission_appoint(commission=made, by=by, appointment_on=on(days))


def letters(about: str) -> int:
    return sum(about in one.subject for one in mail.outbox)


class TestAnswering:
    def test_taken_by_two_it_is_one_job_of_one_car_and_one_customer(
        self, counter: User, owner: User, tech: User
    ) -> None:
        made, _token = commissioned()
        outcomes = together(*[take(made, by) for by in (counter, owner, tech)])
        assert not told(outcomes), "all three mean the same"
        assert {one.pk for one in outcomes} == {Job.objects.get().pk}
        assert (Car.objects.count(), Customer.objects.count()) == (1, 1)
        assert TrailEntry.objects.filter(kind="commission.taken").count() == letters("is booked") == 1

    def test_declined_by_two_the_buyer_reads_one_no(self, counter: User, owner: User) -> None:
        made, _token = commissioned()
        (words,) = told(together(decline(made, counter), decline(made, owner)))
        assert words == f"Commission {made.number} waits no more: Declined."
        assert TrailEntry.objects.filter(kind="commission.declined").count() == letters("cannot do it") == 1

    def test_taken_and_declined_at_once_is_one_of_both(self, counter: User, owner: User) -> None:
        made, _token = commissioned()
        (words,) = told(together(take(made, counter), decline(made, owner)))
        made.refresh_from_db()
        assert words == f"Commission {made.number} waits no more: {made.get_state_display()}."
        taken = made.state == "taken"
        assert Job.objects.count() == Car.objects.count() == Customer.objects.count() == letters("is booked") == taken
        assert letters("cannot do it") == (not taken)

    def test_taken_while_the_buyer_withdraws_ends_withdrawn(self, counter: User) -> None:
        made, _token = commissioned()
        taken, withdrawn = together(take(made, counter), lambda: services.commission_withdraw(commission=made))
        assert isinstance(withdrawn, Commission), withdrawn
        made.refresh_from_db()
        assert made.state == "withdrawn"
        if isinstance(taken, Exception):
            assert told([taken]) == [f"Commission {made.number} waits no more: Withdrawn."]
            assert not Job.objects.exists()
        else:
            assert made.job == taken

    def test_taken_while_the_buyer_is_erased_leaves_nothing_of_them(self, counter: User, owner: User) -> None:
        made, _token = commissioned()
        taken, erased = together(take(made, counter), lambda: services.commission_erase(commission=made, by=owner))
        assert isinstance(erased, str), erased
        made.refresh_from_db()
        assert made.state == ("withdrawn" if isinstance(taken, Exception) else "taken")
        assert not isinstance(taken, Exception) or "waits no more: Withdrawn." in told([taken])[0]
        for rows in (Commission.objects.values(), Customer.objects.values()):
            assert "Marchbank" not in str(list(rows))
            assert "buyer.example" not in str(list(rows))


class TestMovingTheAppointment:
    def test_moved_to_two_days_the_second_is_told_which_day_it_is_now(
        self, job: Job, counter: User, owner: User
    ) -> None:
        made, _token = taken_on(job, on(1))
        Job.objects.filter(pk=job.pk).update(promised_on=on(1))
        first, second = together(move(made, counter, 3), move(made, owner, 5))
        made.refresh_from_db()
        job.refresh_from_db()
        (words,) = told([first, second])
        assert "Somebody has moved the appointment" in words
        assert made.appointment_on == job.promised_on == on(3 if isinstance(second, Conflict) else 5)
        assert TrailEntry.objects.filter(kind="commission.moved").count() == letters("another day") == 1

    def test_moved_to_one_day_by_two_is_moved_once(self, job: Job, counter: User, owner: User) -> None:
        made, _token = taken_on(job, on(1))
        outcomes = together(*[move(made, by, 4) for by in (counter, owner, counter)])
        assert not told(outcomes), "all three mean the same"
        assert {one.appointment_on for one in outcomes} == {on(4)}
        assert TrailEntry.objects.filter(kind="commission.moved").count() == letters("another day") == 1

    def test_moved_while_the_buyer_withdraws_keeps_no_appointment_alive(self, job: Job, counter: User) -> None:
        made, _token = taken_on(job, on(1))
        moved, withdrawn = together(move(made, counter, 4), lambda: services.commission_withdraw(commission=made))
        assert isinstance(withdrawn, Commission), withdrawn
        made.refresh_from_db()
        assert made.state == "withdrawn"
        if isinstance(moved, ShopError):
            assert told([moved]) == [f"Commission {made.number} has no appointment to move: Withdrawn."]
        assert letters("another day") == (not isinstance(moved, ShopError))
