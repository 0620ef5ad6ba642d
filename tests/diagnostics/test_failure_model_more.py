"""The bounds of what a sheet starts from, and which model stands for a unit."""

from dataclasses import replace
from datetime import date, timedelta
from math import exp

import pytest
from django.utils import timezone

from diagnostics.engine.faults import default_prior, faults_of
from diagnostics.learning.records import PartModel, month_of
from diagnostics.models import BenchSheet, Sighting, SystemRevision, Unit
from diagnostics.selectors import system_of
from diagnostics.selectors.failure_model import MOST, outlook_of_car, priors_of_car
from shop.models import Car
from tests.diagnostics.learned import a_model, keep
from tests.diagnostics.learner import found_range
from tests.diagnostics.test_failure_model import MADE

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 1)


def of_scale(log_scale: float, model: PartModel) -> PartModel:
    """The same with units that last exp(log_scale) years."""
    estimate = model.fit.estimate.copy()
    estimate[0] = log_scale
    return replace(model, fit=replace(model.fit, estimate=estimate))


def test_what_hardly_ever_fails_starts_from_half_of_its_trade_default(car: Car, revision: SystemRevision) -> None:
    keep([of_scale(9.0, a_model())])
    system = system_of(revision)
    assert priors_of_car(system, car, DAY).chances[MADE] == pytest.approx(0.5 * default_prior(system, MADE))


def test_what_fails_in_every_car_holds_up_no_job_before_anything_was_checked(
    car: Car, revision: SystemRevision
) -> None:
    keep([of_scale(1.0, a_model())])
    assert priors_of_car(system_of(revision), car, DAY).chances[MADE] == MOST < 0.05


def test_the_inputs_of_the_module_share_what_is_learned_of_it(car: Car, revision: SystemRevision) -> None:
    keep([of_scale(4.6, a_model(part="TW-KF", positions=("KF1",), mode="input-dead"))])
    system = system_of(revision)
    inputs = [one for one in faults_of(system) if one.mode == "input-dead"]
    chances = priors_of_car(system, car, DAY).chances
    assert len({chances[one] for one in inputs}) == 1
    age = (DAY - car.made_on).days / 365.25
    whole = 1 - exp(-((age / exp(4.6)) ** exp(0.5)))
    assert sum(chances[one] for one in inputs) == pytest.approx(whole, rel=0.15)


def test_a_car_of_a_known_year_is_told_no_range_that_it_may_not_lie_in(car: Car, revision: SystemRevision) -> None:
    month = month_of(car.made_on)
    keep([a_model(ranges=[found_range(month - 6, month + 6)])])
    system = system_of(revision)
    assert priors_of_car(system, car, DAY).ranges
    Car.objects.filter(pk=car.pk).update(year_only=True, made_on=car.made_on.replace(month=1))
    assert not priors_of_car(system, Car.objects.get(pk=car.pk), DAY).ranges


@pytest.mark.parametrize(("revision_fitted", "log_scale"), [("b", 3.7), ("c", 4.0)])
def test_a_unit_fitted_later_is_judged_by_later_units_of_its_own_part_and_revision(
    car: Car, revision: SystemRevision, revision_fitted: str, log_scale: float
) -> None:
    """And by its own age, not by that of the car."""
    Unit.objects.create(
        car=car, position="BG1", part="NEW", revision=revision_fitted, fitted_on=DAY - timedelta(days=4 * 365)
    )
    new = a_model(part="NEW", original=False)
    revisions = {"b": of_scale(3.7, new), "c": of_scale(4.0, new)}
    keep([
        of_scale(6.0, a_model()), of_scale(5.0, a_model(original=False)),
        of_scale(4.5, a_model(part="OLD", original=False)),
        *(replace(one, population=replace(one.population, revision=name)) for name, one in revisions.items()),
    ])  # fmt: skip
    start = priors_of_car(system_of(revision), car, DAY).chances[MADE]
    assert start == pytest.approx((4 / exp(log_scale)) ** exp(0.5), rel=0.15)


def test_a_part_that_nobody_learned_of_is_judged_by_the_original_one(car: Car, revision: SystemRevision) -> None:
    """Not by what another part does that was fitted later."""
    Unit.objects.create(car=car, position="BG1", part="NEW", fitted_on=DAY - timedelta(days=4 * 365))
    keep([of_scale(3.9, a_model()), of_scale(5.5, a_model(part="OLD", original=False))])
    start = priors_of_car(system_of(revision), car, DAY).chances[MADE]
    assert start == pytest.approx((4 / exp(3.9)) ** exp(0.5), rel=0.15)


def test_the_same_day_another_job_starts_from_what_this_one_saw(
    car: Car, revision: SystemRevision, sheet: BenchSheet
) -> None:
    keep([of_scale(4.6, a_model())])
    today = timezone.localdate()
    Sighting.objects.create(
        sheet=sheet, car=car, system="rht-trio", position="BG1", part="TW-BGA-3014", on=today, good=1, observations=1
    )
    system = system_of(revision)
    own, other = (priors_of_car(system, car, today, job=job) for job in (sheet.job_id, None))
    assert own.chances[MADE] > 2 * other.chances[MADE]
    assert own.digest() != other.digest(), "what is worked out from the one is not what follows from the other"


def test_what_is_foretold_names_the_cars_behind_it(car: Car, revision: SystemRevision) -> None:
    keep([a_model()])
    told = outlook_of_car(system_of(revision), car, DAY)
    assert told is not None
    assert told.cars == 36
