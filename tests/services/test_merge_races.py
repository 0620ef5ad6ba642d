"""A car is put together with its double while somebody books a job on the double: the job is never left behind."""

import datetime as dt

import pytest

from shop.models import Car, Job, User
from shop.services import job_open
from shop.services.merge import car_merge
from tests.services.test_races import together

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 8


def test_no_job_stays_on_a_car_that_was_put_together_meanwhile(car: Car, owner: User, counter: User) -> None:
    for number in range(ROUNDS):
        double = Car.objects.create(
            vin=f"0TWAH5903RT00090{number}", maker=car.maker, model=car.model, made_on=dt.date(2014, 1, 1)
        )
        together(
            lambda double=double: car_merge(kept=car, double=double, by=owner, why="Written down twice"),
            lambda double=double: job_open(car=double, by=counter, title="Inspection", promised_on=None),
        )
        double.refresh_from_db()
        assert double.merged_into == car
        assert not Job.objects.filter(car=double).exists(), f"round {number}"
