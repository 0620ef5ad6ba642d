"""A car's sheets side by side: what reads otherwise than it did, and what was done there in between."""

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics import services
from diagnostics.models import BenchSheet, Check, SystemRevision, Unit, Work
from diagnostics.selectors.compare import Comparison, Line, comparison_of
from shop.models import Car, Job, Stage, User
from shop.services import job_move, job_open
from tests.diagnostics.bench import add, opened, post_check, publish, words

LONG_AGO = dt.timedelta(days=400)


def aged(sheet: BenchSheet, by: dt.timedelta = LONG_AGO) -> BenchSheet:
    """The sheet with all that hangs on it, as if it had been that long ago."""
    services.sheet_close(sheet=sheet, by=sheet.opened_by)
    for check in Check.objects.filter(sheet=sheet):
        Check.objects.filter(pk=check.pk).update(at=check.at - by)
    for work in Work.objects.filter(job=sheet.job):
        Work.objects.filter(pk=work.pk).update(at=work.at - by)
    BenchSheet.objects.filter(pk=sheet.pk).update(opened_at=sheet.opened_at - by)
    sheet.refresh_from_db()
    return sheet


@pytest.fixture
def then(sheet: BenchSheet, tech: User, owner: User) -> BenchSheet:
    """A year ago: BG3 made, BG4 released, both as they should; the lid 4.4 s."""
    add(sheet, tech, check="pin", position="BG3", volts=0.1)
    add(sheet, tech, check="pin", position="BG4", volts=12.5)
    add(sheet, tech, check="pin-by-hand", position="BG3", pressed_volts=0.1, released_volts=12.5)
    add(sheet, tech, check="motion", motion="close", stops_at=None, lamp=None, seconds={"raise-lid": 3.6})
    return aged(sheet)


@pytest.fixture
def now(then: BenchSheet, job: Job, car: Car, counter: User, owner: User, tech: User) -> BenchSheet:
    job_move(job=job, by=owner, stage=Stage.DONE, why="as agreed")
    other = job_open(car=car, by=counter, title="Stops again", stage=Stage.HERE)
    return opened(other, tech)


def compared(sheet: BenchSheet, other: int | None = None) -> Comparison:
    found = comparison_of(BenchSheet.objects.select_related("revision", "car", "job").get(pk=sheet.pk), other)
    assert found is not None
    return found


def line(lines: tuple[Line, ...], code: str, view: str = "Pin") -> Line:
    (found,) = (one for one in lines if one.code == code and one.view.startswith(view))
    return found


def test_what_reads_otherwise_stands_first_with_both_readings(now: BenchSheet, tech: User) -> None:
    add(now, tech, check="pin", position="BG3", volts=12.5)
    add(now, tech, check="pin", position="BG4", volts=12.4)
    add(now, tech, check="wiggle", position="BG9", steady=True)
    found = compared(now)
    assert [(one.code, one.view) for one in found.changed] == [("BG3", "Pin, where a sound one is made")]
    changed = found.changed[0]
    assert changed.then is not None
    assert changed.now is not None
    assert (changed.then.value, changed.then.reads, changed.then.verdict) == ("0.1 V", "made", "ok")
    assert (changed.now.value, changed.now.reads, changed.now.verdict) == ("12.5 V", "released", "finding")
    assert re.fullmatch(r"\d+ Ω contact", changed.then.contact)
    assert changed.now.contact == ""
    assert changed.now.check.at - changed.then.check.at > dt.timedelta(days=300)
    assert [one.code for one in found.same] == ["BG4"]
    assert {(one.code, one.then is None) for one in found.one_side} == {("BG3", False), ("BG9", True), ("", False)}


def test_a_pin_is_compared_in_the_pose_that_it_sees_not_in_the_one_that_the_top_has(
    now: BenchSheet, tech: User
) -> None:
    """BG3 tells of the lid: with the stack elsewhere it still sees the lid shut; with the lid open it sees another."""
    services.sheet_set_pose(sheet=now, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    add(now, tech, check="pin", position="BG3", volts=12.5)
    services.sheet_set_pose(sheet=now, by=tech, pose={"lid": "open"}, supply_volts=12.6, ignition_on=True)
    add(now, tech, check="pin", position="BG4", volts=0.1)
    found = compared(now)
    assert line(found.changed, "BG3").view == "Pin, where a sound one is made"
    views = {one.view: one for one in found.one_side if one.code == "BG4"}
    assert set(views) == {"Pin, where a sound one is released", "Pin, where a sound one is made"}


def test_work_and_units_in_between_are_told_where_they_were_done(
    now: BenchSheet, then: BenchSheet, car: Car, job: Job, tech: User
) -> None:
    services.work_add(job=now.job, by=tech, position="BG3", kind="replace", part="TW-BGB-3121", serial="S7")
    add(now, tech, check="pin", position="BG3", volts=0.1)
    services.work_add(job=now.job, by=tech, position="BG4", kind="adjust")
    add(now, tech, check="pin", position="BG4", volts=12.5)
    Unit.objects.create(
        car=car, position="MM1", part="TW-OLD-1", fitted_on=then.opened_at.date() - dt.timedelta(days=900)
    )
    found = compared(now)
    assert line(found.same, "BG3").between[0].startswith("new unit TW-BGB-3121 fitted ")
    assert line(found.same, "BG4").between[0].startswith("Adjusted the trigger, ")
    # Only the by-hand check of then stands at BG3: what was done since is told there as well.
    assert line(found.one_side, "BG3", "Pin reading, by hand").between
    Work.objects.filter(position="BG4").update(at=timezone.now() + dt.timedelta(days=1))
    assert line(compared(now).same, "BG4").between == ()  # after the reading: not in between


def test_a_unit_fitted_elsewhere_in_between_is_told_by_its_day(now: BenchSheet, car: Car, tech: User) -> None:
    Unit.objects.create(car=car, position="BG3", part="TW-BGB-9", fitted_on=timezone.localdate() - dt.timedelta(50))
    add(now, tech, check="pin", position="BG3", volts=0.1)
    (said,) = line(compared(now).same, "BG3").between
    assert said.startswith("new unit TW-BGB-9 fitted ")


def test_step_times_stand_side_by_side(now: BenchSheet, tech: User) -> None:
    seconds = {"raise-lid": 5.1, "release-lid": 0.9}
    add(now, tech, check="motion", motion="close", stops_at="raise-stack", lamp=None, seconds=seconds)
    found = compared(now)
    assert [(one.step, one.then, one.now) for one in found.times] == [("The lid opens to the rear", 3.6, 5.1)]
    assert found.times[0].difference == pytest.approx(1.5)
    assert [(one.then, one.now) for one in found.timed_once] == [(None, 0.9)]
    assert line(found.changed, "", "Closing").now.reads == "raise-stack"  # type: ignore[union-attr]


def test_struck_out_and_refused_entries_are_not_compared(now: BenchSheet, tech: User) -> None:
    check = add(now, tech, check="pin", position="BG3", volts=12.5)
    services.check_strike(check=check, by=tech, why="wrong pin")
    add(now, tech, check="pin", position="BG4", volts=14.9)
    found = compared(now)
    assert not found.changed
    assert not found.same


def test_the_page_says_it_and_lets_choose_the_earlier_sheet(
    now: BenchSheet, then: BenchSheet, tech: User, client_as: Any
) -> None:
    add(now, tech, check="pin", position="BG3", volts=12.5)
    client = client_as("parts")
    page = words(client.get(f"/sheets/{now.pk}/compare/"))
    assert page.index("Reads otherwise now") < page.index("on one of the two sheets only")
    assert "BG3 reads released" in page
    assert f'<option value="{then.pk}" selected>' in page
    assert "4 entries" in page
    assert "<html" not in words(client.get(f"/sheets/{now.pk}/compare/", headers={"HX-Request": "true"}))
    assert client.get(f"/sheets/{now.pk}/compare/?with={then.pk}").status_code == 200


@pytest.mark.parametrize("other", ["999999", "abc", "-1", "9" * 40])
def test_a_sheet_that_is_none_of_the_cars_earlier_ones_is_not_found(
    now: BenchSheet, client_as: Any, other: str
) -> None:
    assert client_as("technician").get(f"/sheets/{now.pk}/compare/?with={other}").status_code == 404
    assert client_as("technician").get(f"/sheets/{now.pk}/compare/?with={now.pk}").status_code == 404


def test_a_first_sheet_says_that_there_is_nothing_to_compare_with(sheet: BenchSheet, client_as: Any) -> None:
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/compare/"))
    assert "This car has no earlier bench sheet with an entry on it." in page


def test_a_position_that_only_one_revision_has_is_said_to_be_so(
    now: BenchSheet, then: BenchSheet, tech: User, owner: User, client_as: Any
) -> None:
    """The declaration of today has no BG13 any more, and calls BG3 otherwise."""
    assert then.revision is not None
    text = then.revision.text.replace("name: Lid shut", "name: Lid quite shut")
    text = re.sub(r"  BG13:\n(?:    .*\n)+", "", text)
    text = re.sub(r", BG13: \w+|BG13: \w+, ", "", text)  # what waits for it
    text = re.sub(r"    BG13: .*\n", "", text)  # where it is drawn
    text = re.sub(r"revision: (\d+)", lambda found: f"revision: {int(found[1]) + 1}", text, count=1)
    newer = services.system_publish(text=text, source="newer.yaml", by=owner)
    check = Check.objects.filter(sheet=then, position="BG4").get()
    check.pk, check.position = None, "BG13"
    check.observation = {**check.observation, "position": "BG13"}
    check.entry_id = "00000000-0000-4000-8000-000000000013"
    check.save(force_insert=True)
    BenchSheet.objects.filter(pk=now.pk).update(revision=newer)
    now.refresh_from_db()
    add(now, tech, check="pin", position="BG3", volts=0.1)
    found = compared(now)
    assert "judged by another declaration" in found.note
    assert line(found.same, "BG3").note == "Then: Lid shut."
    assert line(found.one_side, "BG13").note == "This sheet’s revision has no such position."
    assert client_as("technician").get(f"/sheets/{now.pk}/").status_code == 200


def test_readings_from_before_the_declaration_stand_at_the_position_of_their_pin(
    car: Car, job: Job, tech: User, owner: User, counter: User, revision: SystemRevision, client_as: Any
) -> None:
    car.system = ""
    car.save()
    free = opened(job, tech)
    fields = {"check": "pin", "connector": "xg1", "row": "a", "number": "3", "volts": "1.2", "pose": "half open"}
    assert post_check(client_as("technician"), free, **fields).status_code == 200
    aged(free)
    job_move(job=job, by=owner, stage=Stage.DONE, why="as agreed")
    car.system = "rht-trio"
    car.save()
    sheet = opened(job_open(car=car, by=counter, title="Again", stage=Stage.HERE), tech)
    found = compared(sheet)
    assert [(one.code, one.view) for one in found.one_side] == [("BG3", "Pin reading, half open")]
    assert "Nobody had declared this top system then" in found.note


def test_a_small_mark_tells_where_the_pin_read_otherwise_before(
    now: BenchSheet, then: BenchSheet, tech: User, client_as: Any
) -> None:
    client = client_as("technician")
    add(now, tech, check="pin", position="BG3", volts=12.5)
    add(now, tech, check="pin", position="BG4", volts=12.5)
    page = words(client.get(f"/sheets/{now.pk}/"))
    row = page.split('id="verdict-BG3"')[1].split("</div>")[0]
    assert re.search(r"was made on \d+ \w+ \d{4}", row)
    assert f"/sheets/{now.pk}/compare/?with={then.pk}" in row
    assert "was released" not in page.split('id="verdict-BG4"')[1].split("</div>")[0]  # reads as it did
    services.sheet_set_pose(sheet=now, by=tech, pose="open", supply_volts=12.6, ignition_on=True)
    assert "was made on" not in words(client.get(f"/sheets/{now.pk}/"))  # nothing was read in this pose yet


def test_many_earlier_sheets_cost_no_more_queries(
    now: BenchSheet, tech: User, counter: User, owner: User, car: Car, client_as: Any
) -> None:
    client = client_as("technician")

    def count(url: str) -> int:
        client.get(url)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        return len(queries)

    add(now, tech, check="pin", position="BG3", volts=12.5)
    urls = [f"/sheets/{now.pk}/", f"/sheets/{now.pk}/compare/"]
    few = [count(url) for url in urls]
    for days in range(30, 330, 60):
        aged(now, dt.timedelta(days=days))
        BenchSheet.objects.filter(pk=now.pk).update(closed_at=None)
    for number in range(4):
        services.sheet_close(sheet=now, by=tech)
        now = opened(now.job, tech)
        add(now, tech, check="pin", position=f"BG{number + 1}", volts=12.5)
        services.work_add(job=now.job, by=tech, position=f"BG{number + 1}", kind="adjust")
    many = [count(f"/sheets/{now.pk}/"), count(f"/sheets/{now.pk}/compare/")]
    assert many == few
    assert max(many) < 12


def test_another_declaration_of_the_same_car_is_read_for_the_marks_too(
    now: BenchSheet, then: BenchSheet, tech: User, owner: User
) -> None:
    publish(owner, "softline-electro")
    assert then.revision is not None
    text = re.sub(r"revision: (\d+)", lambda found: f"revision: {int(found[1]) + 7}", then.revision.text, count=1)
    newer = services.system_publish(text=text, source="newer.yaml", by=owner)
    BenchSheet.objects.filter(pk=now.pk).update(revision=newer)
    now.refresh_from_db()
    add(now, tech, check="pin", position="BG3", volts=12.5)
    from diagnostics.selectors.earlier import earlier_reads
    from diagnostics.selectors.systems import system_of

    now = BenchSheet.objects.select_related("revision", "car").get(pk=now.pk)
    assert now.revision is not None
    found = earlier_reads(now, system_of(now.revision))
    assert found["BG3", "made"].reads == "made"
    assert found["BG3", "made"].sheet_pk == then.pk
