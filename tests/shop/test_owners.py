"""A car goes from owner to owner: its technical history goes along, what was between the shop and an owner does not."""

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop import selectors, services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Customer, Job, OwnerChange, User

pytestmark = pytest.mark.django_db


@pytest.fixture
def ben(counter: User) -> Customer:
    return services.customer_create(by=counter, name="Ben Marlow")


def _day(year: int) -> dt.date:
    return dt.date(year, 5, 1)


def _job(car: Car, by: User, title: str, on: dt.date) -> Job:
    job = services.job_open(car=car, by=by, title=title)
    at = timezone.make_aware(dt.datetime.combine(on, dt.time(9)))
    Job.objects.filter(pk=job.pk).update(opened_at=at)
    return job


def test_the_owners_stand_over_the_years(car: Car, ben: Customer, counter: User) -> None:
    ada = car.owner
    services.owner_change(car=car, to=ben, on=_day(2019), by=counter)
    services.owner_change(car=car, to=None, on=_day(2021), by=counter)
    services.owner_change(car=car, to=ada, on=_day(2021), by=counter)
    car.refresh_from_db()
    times = [(one.owner, one.first, one.last) for one in selectors.owners_of(car)]
    assert times == [
        (ada, None, _day(2019)),
        (ben, _day(2019), _day(2021)),
        (None, _day(2021), _day(2021)),
        (ada, _day(2021), None),
    ]
    assert car.owner == ada


def test_the_trail_names_no_owner(car: Car, ben: Customer, counter: User) -> None:
    services.owner_change(car=car, to=ben, on=_day(2019), by=counter)
    entry = car.trail.get(kind="owner.changed")
    assert entry.words == "Went over to the next owner on 1 May 2019."
    assert entry in selectors.trail_of(car, "car")


def test_a_customer_sees_the_time_in_which_the_car_was_theirs(car: Car, ben: Customer, counter: User) -> None:
    ada = car.owner
    assert ada is not None
    for year in (2017, 2020, 2023):
        _job(car, counter, f"Job of {year}", _day(year))
    services.owner_change(car=car, to=ben, on=_day(2020), by=counter)
    services.owner_change(car=car, to=ada, on=_day(2022), by=counter)

    def told(customer: Customer) -> list[list[str]]:
        return [[job.title for job in one.jobs] for one in selectors.cars_of_customer(customer)]

    assert told(ben) == [["Job of 2020"]], "the job of the day itself is the next owner's"
    assert told(ada) == [["Job of 2023"], ["Job of 2017"]]


def test_the_page_of_an_earlier_owner_ends_with_the_hand_over(
    car: Car, ben: Customer, counter: User, client_as: Any
) -> None:
    ada = car.owner
    assert ada is not None
    before = _job(car, counter, "Before", _day(2017))
    after = _job(car, counter, "After", _day(2023))
    services.owner_change(car=car, to=ben, on=_day(2020), by=counter)
    client: Client = client_as("counter")
    page = client.get(f"/customers/{ada.pk}/").content.decode()
    assert "until 1 May 2020" in page
    assert before.number in page
    assert after.number not in page
    page = client.get(f"/customers/{ben.pk}/").content.decode()
    assert "since 1 May 2020" in page
    assert after.number in page
    assert before.number not in page


def test_a_customers_page_costs_no_more_queries_with_more_cars(
    car: Car, ben: Customer, counter: User, client_as: Any
) -> None:
    client: Client = client_as("counter")
    ada = car.owner

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"/customers/{ben.pk}/").status_code == 200
        return len(queries)

    services.owner_change(car=car, to=ben, on=_day(2020), by=counter)
    few = cost()
    for n in range(2, 6):
        one = services.car_create(
            by=counter, vin=f"0TWAH5903RT00000{n}", maker="A", model="B", made_on=_day(2010), owner=ada
        )
        services.owner_change(car=one, to=ben, on=_day(2020), by=counter)
        _job(one, counter, "x", _day(2021))
    assert cost() == few


@pytest.mark.parametrize(
    ("on", "words"), [(dt.date(2099, 1, 1), "future"), (_day(2010), "made in Jun 2014"), (_day(2018), "1 May 2019")]
)
def test_a_day_that_cannot_be_is_refused(car: Car, ben: Customer, counter: User, on: dt.date, words: str) -> None:
    services.owner_change(car=car, to=ben, on=_day(2019), by=counter)
    with pytest.raises(ShopError, match=words):
        services.owner_change(car=car, to=None, on=on, by=counter)
    car.refresh_from_db()
    assert (car.owner, OwnerChange.objects.count()) == (ben, 1)


def test_the_same_owner_again_or_without_leave_is_refused(car: Car, counter: User, parts_user: User) -> None:
    with pytest.raises(Conflict, match="has this owner already"):
        services.owner_change(car=car, to=car.owner, on=_day(2019), by=counter)
    with pytest.raises(Refused):
        services.owner_change(car=car, to=None, on=_day(2019), by=parts_user)


def test_another_owner_by_a_change_of_the_car_begins_today_too(car: Car, ben: Customer, counter: User) -> None:
    same = {name: getattr(car, name) for name in ("vin", "maker", "model", "made_on", "climate", "system", "plate")}
    ada = car.owner
    services.car_update(car=car, by=counter, owner=ben, **same)
    change = OwnerChange.objects.get()
    assert (change.earlier, change.later, change.on) == (ada, ben, timezone.localdate())


def test_an_owner_found_out_later_has_had_the_car_all_along(ben: Customer, counter: User) -> None:
    car = services.car_create(by=counter, vin="0TWAH5903RT000002", maker="A", model="B", made_on=_day(2010))
    same = {name: getattr(car, name) for name in ("vin", "maker", "model", "made_on", "climate", "system", "plate")}
    services.car_update(car=car, by=counter, owner=ben, **same)
    assert [(one.owner, one.first) for one in selectors.owners_of(car)] == [(ben, None)]


def test_the_page_says_before_what_goes_along_and_hands_over(car: Car, ben: Customer, client_as: Any) -> None:
    client: Client = client_as("technician")
    page = client.get(f"/cars/{car.pk}/owner/").content.decode()
    assert "What goes along" in page
    assert "Prices and estimates" in page
    wrong = client.post(f"/cars/{car.pk}/owner/", {"owner": "Nobody", "on": "2020-01-01"})
    assert (wrong.status_code, OwnerChange.objects.count()) == (422, 0)
    answer = client.post(f"/cars/{car.pk}/owner/", {"owner": f"Ben Marlow ({ben.pk})", "on": "2020-01-01"})
    assert answer["Location"] == f"/cars/{car.pk}/"
    page = client.get(f"/cars/{car.pk}/").content.decode()
    assert "2 owners over the years" in page
    assert "until 1 Jan 2020" in page


def test_a_vin_that_is_in_the_books_leads_to_the_car_there(car: Car, client_as: Any) -> None:
    data = {"vin": car.vin, "maker": "A", "model": "B", "made_on": "2014-06", "climate": "hot"}
    answer = client_as("counter").post("/cars/new/", data)
    assert answer.status_code == 422
    assert f'<a href="/cars/{car.pk}/">Halden Brise <span class="mono">{car.vin}</span></a>' in answer.content.decode()
