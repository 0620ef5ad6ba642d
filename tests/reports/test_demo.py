"""The demo: one load, looked at from all sides. It is loaded once for this module and rolled back at the end."""

import datetime as dt
import math
import random
import socket
import statistics
import sys
import uuid
from collections import Counter
from collections.abc import Iterator
from io import BytesIO, StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import override_settings
from django.utils import timezone
from PIL import Image
from pydantic import TypeAdapter

from diagnostics.engine.case import Observation
from diagnostics.engine.faults import MODE_BITS
from diagnostics.engine.hydraulics import slower_when_cold
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from diagnostics.learning.records import month_of
from diagnostics.models import BenchSheet, Check, Enquiry, FailureModel, Learning, Sighting, Unit, Work
from diagnostics.selectors import diagnosis_of_sheet, newest_revisions, system_of
from diagnostics.services import check_add, sheet_close, sheet_set_pose, work_add
from parts.models import Fit, Lot, Movement, Need, Order, OrderLine, Part, Stock, Supplier
from reports.demo import fleet, floor, people, pictures
from reports.demo.everyday import STORIES
from reports.demo.jobs import workday
from reports.demo.life import Life
from reports.demo.load import load, truth_path
from reports.demo.records import CarRecord
from reports.demo.then import Days
from reports.demo.truth import BadRange, Truth, read_truth
from reports.figures.comebacks import candidates, comebacks
from reports.figures.records import Span
from reports.figures.specs import KEYS
from reports.figures_selectors import facts_of, systems_named
from reports.models import Certificate, Commission
from reports.selectors import content_of
from shop import gates
from shop import vin as vins
from shop.models import (
    Away,
    Bay,
    BayBooking,
    Car,
    Clock,
    ComebackCause,
    Hold,
    Job,
    LineAnswer,
    OwnerChange,
    Picture,
    Role,
    ShopProfile,
    Stage,
    Task,
    TrailEntry,
    User,
)
from shop.selectors.estimates import estimate_of
from shop.selectors.plans import next_for, plan_of, readiness
from shop.services import job_move
from tests.parts.shelving import books_agree

LEFT_OUT_OF_DIGEST = {"sessions", "contenttypes", "auth", "axes"}


@pytest.fixture(scope="module")
def demo_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("files")


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker: Any, demo_files: Path) -> Iterator[None]:
    hasher = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(MEDIA_ROOT=demo_files, PASSWORD_HASHERS=hasher):
            assert load()
        yield
        transaction.set_rollback(True)


@pytest.fixture
def demo(loaded: None, db: None, settings: Any, demo_files: Path) -> None:
    settings.MEDIA_ROOT = demo_files


@pytest.fixture(scope="module")
def truth() -> Truth:
    return read_truth(truth_path())


def _rows() -> dict[str, list[Any]]:
    """Every row of our apps, as values."""
    models = [model for model in apps.get_models() if model._meta.app_label not in LEFT_OUT_OF_DIGEST]
    return {model._meta.label: list(model._default_manager.order_by("pk").values()) for model in models}


def test_the_shop_is_big_enough(demo: None) -> None:
    assert Car.objects.count() >= 150
    assert set(Car.objects.values_list("system", flat=True)) == {"rht-trio", "softbow-hydro", "softline-electro", ""}
    assert Job.objects.filter(stage=Stage.GONE).count() > 400
    assert Check.objects.count() > 10_000
    assert Work.objects.filter(new_unit__isnull=False).count() > 50
    oldest = Job.objects.earliest("opened_at").opened_at
    assert timezone.now() - oldest > dt.timedelta(days=6 * 365)


def test_the_floor_has_every_stage_and_every_hold(demo: None) -> None:
    here = Job.objects.exclude(stage=Stage.GONE)
    assert set(here.values_list("stage", flat=True)) == set(Stage.values) - {Stage.GONE}
    assert set(here.values_list("hold", flat=True)) == set(Hold.values)
    assert Job.objects.filter(stage=Stage.GONE).exists()


def test_nothing_happened_after_now(demo: None) -> None:
    now = timezone.now()
    assert not TrailEntry.objects.filter(at__gt=now).exists()
    assert not Check.objects.filter(at__gt=now).exists()
    assert not Job.objects.filter(opened_at__gt=now).exists()


def test_a_second_load_changes_nothing(demo: None) -> None:
    before = _rows()
    assert load() is False
    assert _rows() == before


def test_two_loads_of_one_day_are_equal_and_another_day_differs(demo: None, truth: Truth) -> None:
    systems = {one.slug: system_of(one) for one in newest_revisions()}
    zone = timezone.get_default_timezone()
    day = dt.date(2026, 3, 2)
    first, second = (fleet.invent(truth, systems, day, zone) for _number in range(2))
    assert first == second
    assert fleet.invent(truth, systems, dt.date(2026, 3, 4), zone) != first


def test_one_enquiry_waits_one_was_taken_down_and_one_is_a_job(demo: None) -> None:
    sent, taken_down, job = Enquiry.objects.order_by("pk")
    assert (sent.state, sent.by, bool(sent.complaint)) == ("new", None, True)
    assert (taken_down.state, str(taken_down.by), taken_down.revision) == ("new", "Owen Tarrow", None)
    assert job.job is not None
    assert job.job.stage == Stage.BOOKED
    assert job.revision is not None
    steps = system_of(job.revision).motions[job.complaint["motion"]].steps
    title = next(step.title for step in steps if step.name == job.complaint["stops_at"])
    assert title.lower() in job.job.title.lower()
    assert job.job.trail.filter(kind="enquiry.taken").exists()


def test_vins_are_valid_and_belong_to_nobody(demo: None) -> None:
    for vin in Car.objects.values_list("vin", flat=True):
        assert vins.problem_of(vin) is None
        assert vins.check_digit_agrees(vin)
        assert vin.startswith("0")


def test_every_job_tells_its_story_in_the_trail(demo: None) -> None:
    kinds = Counter(TrailEntry.objects.values_list("kind", flat=True))
    assert kinds["job.opened"] == Job.objects.count()
    assert kinds["sheet.opened"] == BenchSheet.objects.count()
    assert kinds["sheet.closed"] == BenchSheet.objects.filter(closed_at__isnull=False).count()
    assert kinds["work.added"] == Work.objects.count()
    assert kinds["car.created"] == Car.objects.count()
    for job in Job.objects.filter(stage=Stage.GONE).order_by("pk")[::40]:
        told = [one.kind for one in job.trail.order_by("at", "pk") if not one.kind.startswith("certificate.")]
        assert told[0] == "job.opened"
        assert "sheet.opened" in told
        assert told[-1] == "job.moved"


def test_odometers_never_run_backwards(demo: None) -> None:
    for car in Car.objects.prefetch_related("odometer"):
        readings = [reading.km for reading in car.odometer.all()]
        assert readings == sorted(readings)


def test_checks_agree_with_the_units_that_were_fitted(demo: None) -> None:
    """Whatever was repaired gave itself away before, and reads well after; a car keeps one unit a position."""
    assert Unit.objects.filter(removed_on__isnull=False).count() == Work.objects.exclude(old_unit=None).count()
    for work in Work.objects.select_related("job", "old_unit", "new_unit"):
        checks = Check.objects.filter(sheet__job=work.job)
        before = checks.filter(at__lt=work.at, verdict="finding")
        motions = before.filter(kind="motion").exists()
        assert motions or before.filter(position=work.position).exists() or before.filter(kind="battery").exists()
        if work.job.is_open:
            continue
        after = checks.filter(at__gt=work.at, position=work.position, observation__after_work=True)
        assert {check.verdict for check in after} <= {"ok", "note"}, work
        if work.new_unit is not None:
            assert work.old_unit is not None
            assert work.new_unit.fitted_on == work.old_unit.removed_on == work.at.date()


def test_finished_jobs_would_pass_the_gate_of_today(demo: None) -> None:
    """The bulk loader asked no gate; had it asked, there would have been nothing against it."""
    finished = Job.objects.filter(stage__in=[Stage.DONE, Stage.GONE]).order_by("pk")
    for job in [*finished[::35], *finished.filter(stage=Stage.DONE)]:
        assert gates.reasons_not_done(job) == [], job
    half_way = Job.objects.get(title="Closing stops half way")
    assert gates.reasons_not_done(half_way) != []


def test_each_entry_says_what_the_engine_says_of_it(demo: None) -> None:
    adapter: TypeAdapter[Any] = TypeAdapter(Observation)
    systems = {one.pk: system_of(one) for one in newest_revisions()}
    for check in Check.objects.exclude(sheet__revision=None).select_related("sheet").order_by("pk")[::97]:
        judgement = judge(systems[check.sheet.revision_id or 0], adapter.validate_python(check.observation))
        assert (check.verdict, check.words) == (judgement.verdict, judgement.words)
        assert check.verdict != "refused"


def test_the_catalogue_covers_every_position(demo: None) -> None:
    for revision in newest_revisions():
        for code, position in system_of(revision).positions.items():
            assert Fit.objects.filter(part__number=position.part, system=revision.slug, position=code).exists()
    assert Part.objects.filter(superseded_by__isnull=False).exists()


def test_the_shelf_s_books_agree_and_say_what_was_fitted(demo: None) -> None:
    books_agree()
    moves = Movement.objects.order_by("part", "seq")
    for before, after in pairwise(moves):
        assert before.part_id != after.part_id or before.at <= after.at, after
    opened = timezone.localdate(Movement.objects.earliest("at").at)
    fitted = Unit.objects.filter(fitted_on__gt=opened, fitted_on__lt=timezone.localdate())
    assert set(Movement.objects.filter(unit__isnull=False).values_list("unit", flat=True)) == {
        unit.pk for unit in fitted
    }
    assert fitted.count() > 20


def test_something_of_everything_lies_on_the_shelf(demo: None) -> None:
    today = timezone.localdate()
    assert Movement.objects.filter(kind="received", order_line__isnull=False).count() > 10, "lead times to learn"
    assert Movement.objects.filter(kind="counted", shelf=-1).exists()
    assert Lot.objects.exclude(barred="").filter(quantity__gt=0).exists()
    assert Stock.objects.filter(cores__gt=0, part__rebuildable=True).exists()
    assert Part.objects.filter(superseded_by__isnull=False).exists()
    assert Supplier.objects.filter(lead_days=None).exists()
    assert Order.objects.filter(state="draft").exists()
    assert Order.objects.filter(state="sent", expected_on__lt=today).exists()
    assert OrderLine.objects.filter(order__state="sent", received__gt=0).exists()
    waited = Need.objects.filter(job__hold=Hold.PART, held=0, chance=1)
    assert waited.exists()
    assert Need.objects.filter(held__gt=0).exists()


def test_certificates_were_drawn(demo: None) -> None:
    issued = Certificate.objects.filter(state="issued")
    assert issued.count() == 3
    for certificate in issued:
        with certificate.file.open("rb") as file:
            assert file.read(5) == b"%PDF-"


def test_certificates_are_of_whole_inspections_by_plan(demo: None) -> None:
    assert {one.state for one in Commission.objects.all()} == {"asked", "declined", "done"}
    for certificate in Certificate.objects.all():
        plan = content_of(certificate).results.plan
        skipped = {row.key for row in plan if row.state == "skipped"}
        assert {row.key for row in plan} - skipped >= {"seals", "latches", "motion:open", "motion:close"}
        assert not any(row.weighty for row in plan if row.key in skipped), skipped


def test_a_certificate_tells_what_was_found_and_put_right(demo: None) -> None:
    """What an inspection found, repaired and looked at again stands on paper as put right, and nothing stays open."""
    weights = {}
    for certificate in Certificate.objects.all():
        found = {one["weight"] for one in certificate.content["results"]["findings"]}
        weights[certificate.job.work.exists()] = weights.get(certificate.job.work.exists(), set()) | found
    assert "put-right" in weights[True]
    assert weights[True] & {"critical", "major"} == set()


def _dice(seed: int) -> random.Random:
    return random.Random(seed)  # noqa: S311 - a story, no secret


YEARS = 7.0
CARS = 400


def _failed(truth: Truth, system: TopSystem, bad: BadRange, months_ago: int) -> int:
    """Units that fail within YEARS in CARS cars made in one month, by the simulation's own clocks."""
    count = 0
    for number in range(CARS):
        car = CarRecord("", "", "", "", dt.date(2016, 1, 1), "temperate", system.system, 0)
        life = Life(truth=truth, system=system, car=car, months_ago=months_ago, rng=_dice(1000 + number))
        clocks = [one for one in life.clocks if one.fault.position in bad.positions and one.fault.mode in bad.modes]
        count += sum(clock.due <= car.made_on.toordinal() + YEARS * 365.25 for clock in clocks)
    return count


def test_bad_ranges_are_in_the_cars_as_the_truth_says(demo: None, truth: Truth) -> None:
    """On both sides of each end: failures against 1 - exp(-HR (t/scale)^shape), within four standard deviations."""
    systems = {one.slug: system_of(one) for one in newest_revisions()}
    for bad in truth.ranges:
        system = systems[bad.system]
        kind, (mode,) = system.positions[bad.positions[0]].kind, bad.modes
        hazard = truth.hazard_of(system=bad.system, position=bad.positions[0], kind=kind, mode=mode)
        assert hazard is not None
        for months_ago, ratio in (
            (bad.until_months_ago, bad.hazard_ratio),
            (bad.until_months_ago - 1, 1.0),
            (bad.from_months_ago, bad.hazard_ratio),
            (bad.from_months_ago + 1, 1.0),
        ):
            units = CARS * len(bad.positions)
            share = 1 - math.exp(-ratio * (YEARS / hazard.scale_years) ** hazard.shape)
            allowed = 4 * math.sqrt(units * share * (1 - share))
            assert abs(_failed(truth, system, bad, months_ago) - units * share) < allowed, (bad, months_ago)


def test_the_bad_header_switches_show_in_the_loaded_cars(demo: None, truth: Truth) -> None:
    """Against what sound switches of the same ages would have done: many more failures inside the range, no more
    outside."""
    bad = truth.ranges[0]
    hazard = truth.hazard_of(system=bad.system, position=bad.positions[0], kind="switch", mode=bad.modes[0])
    assert hazard is not None
    today = timezone.localdate()
    failed: dict[bool, float] = {True: 0.0, False: 0.0}
    expected: dict[bool, float] = {True: 0.0, False: 0.0}
    for car in Car.objects.filter(system=bad.system):
        months_ago = (today.year - car.made_on.year) * 12 + today.month - car.made_on.month
        inside = months_ago >= bad.until_months_ago
        gone = car.units.filter(position__in=bad.positions, fitted_on=None).exclude(removed_on=None)
        failed[inside] += gone.filter(removed_on__gte=car.made_on).count()
        share = 1 - math.exp(-((months_ago / 12 / hazard.scale_years) ** hazard.shape))
        expected[inside] += share * len(bad.positions)
    assert failed[True] > 2 * expected[True]
    assert failed[False] < 2 * expected[False] + 5


def test_heat_ages_cylinder_seals(truth: Truth) -> None:
    def ratio(climate: str) -> float:
        return truth.ratio(
            system="rht-trio",
            position="MM1",
            kind="cylinder",
            mode="leaks",
            months_ago=50,
            climate=climate,
            original=True,
        )

    assert ratio("hot") == pytest.approx(2.2 * ratio("temperate"))


def test_cold_cars_are_slower_as_their_fluid_is(demo: None) -> None:
    """The longest step that the pump drives, by the fluid temperature noted with it: what the cold costs."""
    trials = Check.objects.filter(kind="motion", sheet__revision__slug="rht-trio", observation__stops_at=None)
    by_cold: dict[bool, list[float]] = {True: [], False: []}
    for one in trials.values_list("observation", flat=True):
        if one["oil_c"] is not None and (one["oil_c"] <= 4 or one["oil_c"] >= 18):
            by_cold[one["oil_c"] <= 4].append(sum(one["seconds"].get(s, 0.0) for s in ("stow-stack", "raise-stack")))
    assert min(map(len, by_cold.values())) >= 10
    hydraulics = system_of(newest_revisions().get(slug="rht-trio")).hydraulics
    assert hydraulics is not None
    slower = statistics.median(by_cold[True]) / statistics.median(by_cold[False])
    assert slower == pytest.approx(slower_when_cold(hydraulics, 2) / slower_when_cold(hydraulics, 20), abs=0.08)
    assert trials.filter(observation__oil_c=None).exists(), "now and then nobody looks at the thermometer"


def test_inspections_hold_every_cylinder_and_the_pump_under_pressure(demo: None) -> None:
    inspected = Job.objects.filter(stage=Stage.GONE, title__startswith="Pre-purchase", car__system="rht-trio")
    for job in inspected:
        held = Check.objects.filter(sheet__job=job, kind="pressure-hold").values_list("position", flat=True)
        assert set(held) in ({"GP1", "MM1", "MM2", "MM3", "MM4", "MM5", "MM6"}, set()), job
    assert Check.objects.filter(kind="pressure-hold", verdict="finding").exists()


def test_cylinders_that_leaked_were_held_again_after_the_repair(demo: None) -> None:
    leaks = Check.objects.filter(observation__found="leaks", sheet__job__stage=Stage.GONE)
    for leak in leaks:
        if not Work.objects.filter(job=leak.sheet.job, position=leak.position).exists():
            continue
        holds = Check.objects.filter(sheet__job=leak.sheet.job, position=leak.position, kind="pressure-hold")
        assert holds.order_by("at").last().verdict == "ok", leak  # type: ignore[union-attr]
    assert leaks.count() > 10


def test_the_demo_has_learned_from_its_checks(demo: None) -> None:
    kept = Learning.objects.get()
    assert (kept.whole, kept.by) == (True, None)
    assert kept.cars >= 150
    assert kept.changed >= FailureModel.objects.count() > 100
    assert not BenchSheet.objects.filter(sighted=False).exists()


def test_an_undeclared_car_keeps_its_readings(demo: None) -> None:
    sheet = BenchSheet.objects.get(revision=None, closed_at=None)
    assert sheet.car.system == ""
    assert sheet.checks.count() == 4
    assert diagnosis_of_sheet(sheet) is None


class TestHalfWay:
    """From 'closing stops half way' to a proven repair, with the reading that the truth would give at each check."""

    @pytest.fixture
    def sheet(self, demo: None) -> BenchSheet:
        return BenchSheet.objects.get(job__title="Closing stops half way", closed_at=None)

    def test_it_stands_half_way(self, sheet: BenchSheet) -> None:
        assert sheet.complaint["motion"] == "close"
        assert sheet.job.stage == Stage.TRACING
        assert sheet.checks.filter(kind="pin").count() == 4
        assert sheet.checks.filter(kind="motion").count() == 1
        assert Job.objects.filter(car=sheet.car).count() > 1

    def test_it_leads_to_a_proven_repair(self, sheet: BenchSheet, truth: Truth) -> None:
        tech = User.objects.get(username="tech")
        assert sheet.revision is not None
        system = system_of(sheet.revision)
        ((code, mode),) = truth.half_way.faults
        bench = Bench(system, [Fault(code, mode)], _dice(3))
        bench.pose = dict(sheet.pose)

        def enter(observation: dict[str, Any]) -> Check:
            return check_add(sheet=sheet, by=tech, observation=observation, entry_id=uuid.uuid4())

        diagnosis = diagnosis_of_sheet(sheet)
        assert diagnosis is not None
        first = diagnosis.next_checks[0]
        assert (first.check, first.position) == ("pin", code)
        assert first.pose == sheet.pose, "the next check can be made as the car stands"
        assert enter(bench.read(code)).verdict == "finding"
        assert enter(bench.by_hand(code)).verdict == "finding"
        assert enter(bench.continuity(code)).words == f"The wire of {code} is open."
        diagnosis = diagnosis_of_sheet(sheet)
        assert diagnosis is not None
        assert (diagnosis.suspects[0].fault.position, diagnosis.suspects[0].fault.mode) == (code, mode)
        assert diagnosis.suspects[0].probability > 0.9

        work_add(job=sheet.job, by=tech, position=code, kind="mend-wire", words="Broken at the main bearing, joined.")
        bench.break_down(())
        assert enter(bench.by_hand(code)).verdict == "ok"
        for motion in ("open", "close"):
            bench.stand(system.motions[motion].start)  # type: ignore[index]
            assert enter(bench.try_motion(motion)).verdict == "ok"
        sheet_set_pose(sheet=sheet, by=tech, pose="closed", supply_volts=12.7, ignition_on=True)
        bench.stand("closed")
        for sensor, position in system.sensors().items():
            if position.kind != "control-switch":
                enter(bench.read(sensor))
        diagnosis = diagnosis_of_sheet(sheet)
        assert diagnosis is not None
        sheet_close(sheet=sheet, by=tech)
        job_move(job=sheet.job, by=tech, stage=Stage.DONE)
        sheet.job.refresh_from_db()
        assert sheet.job.finished_at is not None


class TestPictures:
    def test_without_the_extras_it_says_what_is_missing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
        with pytest.raises(CommandError, match="is missing: install the development extras") as error:
            call_command("pictures")
        assert error.value.returncode == 2

    def test_without_chromium_it_says_where_it_looked(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("PATH", "")
        with pytest.raises(CommandError, match="Chromium is missing; looked for chromium"):
            call_command("pictures")

    def test_a_picture_fits_its_size(self, tmp_path: Path) -> None:
        noise = Image.effect_noise((640, 640), 90)
        buffer = BytesIO()
        noise.save(buffer, "PNG")
        assert len(buffer.getvalue()) > pictures.MOST_BYTES
        path = pictures.write(tmp_path / "noise.png", buffer.getvalue())
        assert path.stat().st_size <= pictures.MOST_BYTES
        with Image.open(path) as picture:
            assert picture.size == (640, 640)


class TestCommand:
    def test_it_prints_one_sign_in_for_each_role(self, demo: None) -> None:
        out = StringIO()
        call_command("demo", "--no-server", stdout=out)
        text = out.getvalue()
        assert "nothing was changed" in text
        roles = set()
        for username, password, *_name, role in people.SIGN_INS:
            assert username in text
            assert password in text
            user = User.objects.get(username=username)
            assert user.check_password(password)
            roles.add(role)
        assert roles == set(Role.values)

    def test_it_will_not_mix_with_another_shop(self, demo: None) -> None:
        ShopProfile.objects.update(name="A real shop")
        before = _rows()
        with pytest.raises(CommandError, match="holds A real shop already") as error:
            call_command("demo", "--no-server")
        assert error.value.returncode == 2
        assert _rows() == before

    def test_a_busy_port_is_one_clear_sentence(self) -> None:
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = taken.getsockname()[1]
            with pytest.raises(CommandError, match=f"Port {port} on 127.0.0.1 is taken") as error:
                call_command("demo", "--port", str(port))
        assert error.value.returncode == 2


def test_the_sightings_tell_the_true_failures_that_were_repaired(demo: None, truth: Truth) -> None:
    """Nine in ten at least, in the right mode; and hardly ever is a unit seen good in what it had failed in."""
    systems = {revision.slug: system_of(revision) for revision in newest_revisions()}
    zone = timezone.get_default_timezone()
    known = {car.vin: car.pk for car in Car.objects.all()}
    told = repaired = wrong = 0
    for record in fleet.invent(truth, systems, timezone.localdate(), zone).cars:
        rows = list(Sighting.objects.filter(car=known[record.vin]))
        for failure in record.failures:
            here = [row for row in rows if row.position == failure.position and row.on >= failure.happened_on]
            found = min((row for row in here if row.failed == failure.mode), key=lambda row: row.on, default=None)
            repaired, told = repaired + 1, told + (found is not None)
            wrong += found is not None and any(
                row.good & MODE_BITS[failure.mode] and row.on < found.on and row.sheet_id != found.sheet_id
                for row in here
            )
    assert repaired > 200
    assert told >= 0.9 * repaired
    assert wrong <= 0.02 * repaired


def test_work_of_the_demo_says_what_was_wrong(demo: None) -> None:
    assert not Work.objects.filter(mode="").exists()
    assert not BenchSheet.objects.filter(sighted=False).exists()
    assert TrailEntry.objects.filter(kind="work.added", words__contains="what was wrong: never makes").exists()


class TestEveryday:
    """What a person finds of the shop's day: plans, clocks, bays, estimates, and what car files keep."""

    def test_a_car_waits_for_its_part_and_says_when_it_is_ready(self, demo: None) -> None:
        job = Job.objects.get(hold=Hold.PART, hold_note="ordered, two days")
        (line,) = [line for line in plan_of(job).lines if line.why == "part"]
        (part,) = line.task.parts.all()
        assert Part.objects.filter(number=part.part).exists()
        assert part.expected_on is not None
        assert part.expected_on > timezone.localdate()
        ready = readiness([job])[job.pk]
        assert timezone.localtime(ready.by.likely).date() >= part.expected_on
        assert "part" in ready.by.waits or line.task.title in dict(ready.deciding)

    def test_one_task_is_blocked_by_a_word_and_one_is_away(self, demo: None) -> None:
        assert Task.objects.filter(blocked_note="second meter out for calibration", state="open").count() == 1
        away = Task.objects.get(kind="outside")
        assert "chromed" in away.title
        assert away.outside_sent_on is not None
        assert away.outside_sent_on < timezone.localdate()
        assert away.outside_back_on is None

    def test_the_technician_s_clock_runs_and_nobody_else_s(self, demo: None) -> None:
        running = Clock.objects.get(stopped_at=None)
        assert running.person.username == "tech"
        assert running.task.job.stage == Stage.MENDING
        first, *others = next_for(running.person, timezone.now())
        assert first.clock == running
        assert others

    def test_bays_are_booked_before_and_after_today_and_nobody_is_booked_while_away(self, demo: None) -> None:
        now = timezone.now()
        assert Bay.objects.filter(active=True).count() == 3
        assert BayBooking.objects.filter(ends_at__lt=now).exists()
        assert BayBooking.objects.filter(starts_at__gt=now).exists()
        for one in BayBooking.objects.all():
            others = BayBooking.objects.filter(starts_at__lt=one.ends_at, ends_at__gt=one.starts_at).exclude(pk=one.pk)
            assert not others.filter(bay=one.bay).exists()
            assert not others.filter(person=one.person).exists()
            day = timezone.localtime(one.starts_at).date()
            assert not Away.objects.filter(person=one.person, first_day__lte=day, last_day__gte=day).exists()
        assert Away.objects.filter(first_day__gte=timezone.localdate()).count() == 3

    def test_estimates_wait_are_approved_partly_declined_replaced_and_supplemented(self, demo: None) -> None:
        here = Job.objects.exclude(stage__in=[Stage.DONE, Stage.GONE]).filter(estimates__isnull=False).distinct()
        states = {job.hold_note or job.stage: [one.newest for one in estimate_of(job)] for job in here}
        (waiting,) = states["quote sent, no word yet"]
        assert (waiting.waits, waiting.answered) == (True, 0)
        (approved,) = states["ordered, two days"]
        assert approved.approved.net == approved.total.net > approved.declined.net == 0
        (partly,) = states["mending"]
        assert partly.approved.net > partly.declined.net > 0
        (second,) = states[Need.objects.get(part__number="TW-KFA-1100", chance=1).job.hold_note]
        assert second.version.version == 2
        assert second.version.lines.filter(answer__noted_by__username="counter").exists()
        first, supplement = states["wants to think about the price"]
        assert first.answered == len(first.lines)
        assert supplement.waits
        for one in (waiting, approved, partly, second, first, supplement):
            assert all(line.unit_price > 0 for line in one.lines)

    def test_the_owner_s_figures_have_something_to_tell(self, demo: None) -> None:
        last = month_of(timezone.localdate())
        facts = facts_of(Span(last - 11, last), figures=KEYS, systems=systems_named())
        hours = [job for job, _day in facts.finished() if job.sold is not None and job.worked]
        assert 60 <= len(hours) <= 150
        sold = sum(float(job.sold or 0) for job in hours)
        worked = sum((job.worked or 0) / 3600 for job in hours)
        assert 0.6 < sold / worked < 1.6
        assert {shift.person for shift in facts.shifts} == {"Mara Lindby", "Ruth Ademar"}
        assert {move.became for move in facts.moves if move.hold} >= {Hold.PART, Hold.CUSTOMER, Hold.BAY}
        judged = {facts_job.cause for facts_job in facts.jobs if facts_job.pk in comebacks(facts.jobs)}
        assert judged
        assert judged <= set(ComebackCause.values)
        assert candidates(facts.jobs), "some are left to judge"

    def test_past_work_lies_within_its_job(self, demo: None) -> None:
        """A clock runs between the car's coming and its job's end, an answer comes after what it answers."""
        clocks = Clock.objects.filter(task__job__stage__in=[Stage.DONE, Stage.GONE]).select_related("task__job")
        assert clocks.count() > 200
        for clock in clocks:
            job = clock.task.job
            assert clock.stopped_at is not None
            assert job.finished_at is not None
            assert job.opened_at < clock.started_at <= clock.stopped_at <= job.finished_at
        answers = LineAnswer.objects.select_related("line__version__estimate__job")
        for answer in answers:
            sent = answer.line.version.sent_at
            assert sent is not None
            assert answer.line.version.estimate.job.opened_at < sent < answer.at
            assert answer.text.startswith(f"{answer.line.number}. ")

    def test_pictures_stand_in_pairs_and_their_files_are_there(self, demo: None) -> None:
        pairs = Picture.objects.exclude(before=None)
        assert len(pairs) == 3
        for after in pairs:
            assert after.before is not None
            work = after.job.work.get(position=after.position)
            assert after.before.at < work.at < after.at
            with after.file.open("rb") as file, Image.open(file) as image:
                assert image.size == (after.width, after.height)

    def test_one_car_went_over_to_its_owner_of_today(self, demo: None) -> None:
        change = OwnerChange.objects.get()
        assert change.car.owner == change.later
        assert change.earlier not in (None, change.later)
        before = change.car.jobs.filter(finished_at__date__lte=change.on)
        assert before.exists()
        assert change.car.jobs.filter(opened_at__date__gte=change.on).exists()


@pytest.mark.parametrize("weekday", range(7))
def test_the_shop_s_day_can_be_told_on_every_day_of_the_week(weekday: int) -> None:
    """Workdays are counted over the weekend: what is told of never comes after the day, nor ahead of its car."""
    today = dt.date(2026, 3, 2) + dt.timedelta(days=weekday)
    zone = timezone.get_default_timezone()
    days = Days(today, dt.datetime.combine(today, dt.time(6), zone), zone)
    assert days.day(-1) < today <= days.day(0)
    assert all(days.day(number).weekday() < 5 for number in range(-12, 12))
    for (stage, hold, note), spells in STORIES.items():
        (slot,) = [one for one in floor.SLOTS if (one.stage, one.hold, one.hold_note) == (stage, hold, note)]
        came = workday(days.day(-1) - dt.timedelta(days=slot.days), back=True)
        for spell in spells:
            assert days.at(spell.day, spell.hour) >= dt.datetime.combine(came, dt.time(11, 30), zone) or (
                days.day(spell.day) > came
            ), (stage, note, spell)
