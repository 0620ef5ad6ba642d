"""What a car's sheet starts from and what its file foretells, by the shop's own models, its units and its checks."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from diagnostics.engine.faults import default_prior
from diagnostics.engine.results import Fault
from diagnostics.learning.records import PartModel, month_of
from diagnostics.models import BenchSheet, Sighting, SystemRevision, Unit
from diagnostics.selectors import evidence_of_sheet, system_of
from diagnostics.selectors.failure_model import LEAST, MOST, outlook_of_car, priors_of_car
from diagnostics.services import work_add
from shop.models import Car, Job, User
from tests.diagnostics.learned import a_model, keep
from tests.diagnostics.learner import found_range

pytestmark = pytest.mark.django_db
MADE = Fault("BG1", "stays-made")


@pytest.fixture
def in_range(car: Car) -> Car:
    """Models in which the header switches of the car's production month fail 4.1 times as often."""
    month = month_of(car.made_on)
    keep([_rare(a_model(ranges=[found_range(month - 6, month + 6)])), _rare(a_model(mode="open", positions=("BG1",)))])
    return car


def _rare(model: PartModel) -> PartModel:
    """Of parts that last long, so that no chance reaches the most that a sheet starts from."""
    estimate = model.fit.estimate.copy()
    estimate[0] = 5.6
    return replace(model, fit=replace(model.fit, estimate=estimate))


def _seen_good(car: Car, sheet: BenchSheet, on: date, bits: int) -> None:
    Sighting.objects.create(
        sheet=sheet, car=car, system="rht-trio", position="BG1", part="TW-BGA-3014", on=on, good=bits, observations=1
    )


def test_without_learning_the_trade_defaults_stand(car: Car, revision: SystemRevision, job: Job) -> None:
    start = priors_of_car(system_of(revision), car, date(2026, 6, 1), job=job.pk)
    assert start.chances == {}
    assert start.learning is None


def test_a_car_in_a_range_starts_from_more(in_range: Car, revision: SystemRevision) -> None:
    system = system_of(revision)
    made = in_range.made_on
    here = priors_of_car(system, in_range, made.replace(year=made.year + 6))
    in_range.made_on = made.replace(year=made.year + 3)
    elsewhere = priors_of_car(system, in_range, made.replace(year=made.year + 9))
    assert here.chances[MADE] > 2 * elsewhere.chances[MADE]
    assert here.ranges.keys() == {("BG1", "stays-made"), ("BG2", "stays-made")}
    assert elsewhere.ranges == {}
    assert all(LEAST <= chance <= MOST for chance in here.chances.values())


def test_what_was_seen_good_lately_is_hardly_there(in_range: Car, revision: SystemRevision, sheet: BenchSheet) -> None:
    system, today = system_of(revision), timezone.localdate()
    never = priors_of_car(system, in_range, today, job=0)
    _seen_good(in_range, sheet, today - timedelta(days=30), 0b1)
    in_range.plate = "CHANGED"
    seen = priors_of_car(system, in_range, today + timedelta(days=1))
    assert seen.chances[MADE] < never.chances[MADE] / 3


def test_its_own_job_is_evidence_and_no_prior(in_range: Car, revision: SystemRevision, sheet: BenchSheet) -> None:
    today = timezone.localdate()
    before = priors_of_car(system_of(revision), in_range, today, job=sheet.job_id).chances[MADE]
    _seen_good(in_range, sheet, today, 0b1)
    after = priors_of_car(system_of(revision), in_range, today + timedelta(days=1), job=sheet.job_id).chances[MADE]
    assert after == pytest.approx(before, rel=0.01)


def test_a_later_unit_has_no_production_range(in_range: Car, revision: SystemRevision) -> None:
    system = system_of(revision)
    Unit.objects.create(car=in_range, position="BG1", part="TW-BGA-3015", fitted_on=date(2024, 6, 1))
    start = priors_of_car(system, in_range, date(2026, 6, 1))
    assert start.ranges.keys() == {("BG2", "stays-made")}
    assert start.chances[MADE] < start.chances[Fault("BG2", "stays-made")] / 3
    told = outlook_of_car(system, in_range, date(2026, 6, 1))
    assert told is not None
    by_position = {one.position: one.chances[0].estimate for one in told.outlook.positions}
    assert by_position["BG1"] < by_position["BG2"]


def test_what_nobody_could_have_written_down_does_not_count(in_range: Car, revision: SystemRevision) -> None:
    system, today = system_of(revision), timezone.localdate()
    whole = priors_of_car(system, in_range, today).chances[MADE]
    in_range.known_from = today - timedelta(days=100)
    assert priors_of_car(system, in_range, today).chances[MADE] < whole / 2


def test_a_fault_without_a_model_keeps_its_default(in_range: Car, revision: SystemRevision) -> None:
    system = system_of(revision)
    start = priors_of_car(system, in_range, date(2026, 6, 1))
    fault = Fault("BG3", "stays-made")
    assert fault not in start.chances
    assert start.chances.get(fault, default_prior(system, fault)) == default_prior(system, fault)


def test_the_sheet_says_what_it_starts_from(
    in_range: Car, sheet: BenchSheet, client_as: Callable[[str], Client]
) -> None:
    evidence = evidence_of_sheet(sheet)
    assert evidence is not None
    assert evidence.priors.chances[MADE] > 0
    page = client_as("technician").get(reverse("diagnostics:sheet", args=[sheet.pk])).content.decode()
    assert "Starts from what 36 cars of this kind showed here" in page


def test_the_car_file_foretells(in_range: Car, revision: SystemRevision, client_as: Callable[[str], Client]) -> None:
    page = client_as("counter").get(reverse("diagnostics:car-outlook", args=[in_range.pk])).content.decode()
    assert "If all is good today" in page
    assert "fails 4.1 times as often here (2.6 to 6.3)" in page
    assert "No promise" in page


def test_a_repair_changes_what_is_foretold(in_range: Car, sheet: BenchSheet, job: Job, tech: User) -> None:
    system = system_of(sheet.revision)
    before = outlook_of_car(system, in_range, timezone.localdate())
    work_add(job=job, by=tech, position="BG1", kind="replace", part="TW-BGA-3015", mode="stays-made")
    after = outlook_of_car(system, in_range, timezone.localdate())
    assert before is not None
    assert after is not None
    assert after.outlook.top[0].estimate < before.outlook.top[0].estimate
