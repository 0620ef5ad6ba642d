"""Work: what it books, what it voids, what cannot be."""

from typing import Any

import pytest

from diagnostics import services
from diagnostics.models import BenchSheet, Unit, Work
from diagnostics.selectors import case_of_sheet, diagnosis_of_sheet, proof_of_job, repaired_paths_of_job
from shop.errors import Conflict, ShopError
from shop.models import Car, Job, Stage, User
from shop.services import car_create, job_move, job_open
from tests.diagnostics.bench import add

PART = "TW-BGF-3503"


def replace(job: Job, by: User, **more: Any) -> Work:
    return services.work_add(job=job, by=by, position="BG11", kind="replace", **{"part": PART, **more})


def prove(sheet: BenchSheet, by: User, position: str = "BG11") -> None:
    add(sheet, by, check="pin-by-hand", position=position, pressed_volts=0.1, released_volts=12.5)


def test_replacing_books_off_and_on_together(sheet: BenchSheet, job: Job, tech: User) -> None:
    work = replace(job, tech, serial="S1", revision="b", words="worn out")
    assert work.old_unit is not None
    assert work.new_unit is not None
    assert (work.old_unit.part, work.old_unit.fitted_on, work.old_unit.removed_job) == (PART, None, job)
    assert work.old_unit.removed_why == "worn out"
    assert (work.new_unit.serial, work.new_unit.revision, work.new_unit.fitted_job) == ("S1", "b", job)
    assert job.trail.filter(kind="work.added", words__contains=PART).exists()
    second = replace(job, tech, serial="S2")
    assert second.old_unit == work.new_unit
    assert Unit.objects.filter(car=job.car, position="BG11", removed_on__isnull=True).get().serial == "S2"


def test_the_same_replacement_sent_twice_is_told_and_booked_once(
    sheet: BenchSheet,
    job: Job,
    tech: User,
) -> None:
    replace(job, tech)
    with pytest.raises(Conflict, match="serial number"):
        replace(job, tech)
    assert Work.objects.count() == 1
    assert Unit.objects.count() == 2


def test_a_serial_fitted_elsewhere_is_told_with_its_place_and_nothing_is_half_booked(
    sheet: BenchSheet,
    job: Job,
    tech: User,
    counter: User,
    car: Car,
) -> None:
    replace(job, tech, serial="S1")
    other = car_create(
        by=counter, vin="0TWAH5903RT000002", maker="Halden", model="Brise", made_on=car.made_on, system=car.system
    )
    other_job = job_open(car=other, by=counter, title="Same trouble", stage=Stage.HERE)
    with pytest.raises(Conflict) as error:
        replace(other_job, tech, serial="S1")
    assert "000001" in error.value.words
    assert "BG11" in error.value.words
    assert not Unit.objects.filter(car=other).exists()
    assert not Work.objects.filter(job=other_job).exists()


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"position": "BG99", "kind": "adjust"}, "BG99"),
        ({"position": "BG11", "kind": "polish"}, "polish"),
        ({"position": "BG11", "kind": "charge"}, "BG11"),
        ({"position": "BG11", "kind": "replace"}, "part"),
        ({"position": "", "kind": "adjust"}, "position"),
    ],
)
def test_work_that_cannot_be(sheet: BenchSheet, job: Job, tech: User, fields: Any, said: str) -> None:
    with pytest.raises(ShopError) as error:
        services.work_add(job=job, by=tech, **fields)
    assert said in error.value.words
    assert not Work.objects.exists()
    assert not Unit.objects.exists()


def test_work_voids_the_proof_of_its_path_and_of_no_other(sheet: BenchSheet, job: Job, tech: User) -> None:
    prove(sheet, tech, "BG11")
    prove(sheet, tech, "BG12")
    services.work_add(job=job, by=tech, position="BG11", kind="plug-in")
    proof = proof_of_job(job)
    assert not proof["BG11"].made
    assert not proof["BG11"].released
    assert proof["BG12"].proven
    (path,) = repaired_paths_of_job(job)
    assert not path.proven
    add(sheet, tech, check="pin", position="BG11", volts=12.5)  # the pose is closed: the shelf is not clear
    assert "made" in repaired_paths_of_job(job)[0].missing
    prove(sheet, tech)
    assert repaired_paths_of_job(job)[0].proven


def test_work_done_again_voids_again(sheet: BenchSheet, job: Job, tech: User) -> None:
    replace(job, tech)
    prove(sheet, tech)
    assert proof_of_job(job)["BG11"].proven
    services.work_add(job=job, by=tech, position="BG11", kind="adjust")
    assert not proof_of_job(job)["BG11"].made


def test_the_repaired_fault_is_suspected_until_its_path_is_checked(
    sheet: BenchSheet,
    job: Job,
    tech: User,
) -> None:
    add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=12.5, released_volts=12.5)
    add(sheet, tech, check="click", position="BG11", heard=False)

    def share() -> float:
        suspects = diagnosis_of_sheet(sheet).suspects
        return sum(one.probability for one in suspects if one.fault.position == "BG11")

    assert share() > 0.9
    replace(job, tech)
    assert share() > 0.9
    prove(sheet, tech)
    assert share() < 0.05
    # What was read before the work is not forgotten: it is evidence of the state before it.
    flags = [observation.after_work for observation in case_of_sheet(sheet).observations]
    assert flags == [False, False, True]


@pytest.mark.parametrize(
    ("position", "kind", "part", "proof"),
    [
        ("MM5", "replace", "TW-MMC-5021", "both"),
        ("GB1", "charge", "", "battery"),
        ("KF1", "replace", "TW-KFA-1100", "both"),
    ],
)
def test_paths_without_a_pin_are_proven_by_motions_or_the_battery(
    sheet: BenchSheet,
    job: Job,
    tech: User,
    position: str,
    kind: str,
    part: str,
    proof: str,
) -> None:
    whole = {"check": "motion", "stops_at": None, "lamp": None, "seconds": {}}
    add(sheet, tech, **whole, motion="open")  # before the work: proves nothing of it
    add(sheet, tech, check="battery", volts=12.7)
    services.work_add(job=job, by=tech, position=position, kind=kind, part=part)
    assert not repaired_paths_of_job(job)[0].proven
    if proof == "battery":
        add(sheet, tech, check="battery", volts=12.7)
    else:
        add(sheet, tech, **whole, motion="open")
        assert "Closing" in repaired_paths_of_job(job)[0].missing
        add(sheet, tech, **whole, motion="close")
    assert repaired_paths_of_job(job)[0].proven


def test_a_finished_job_takes_no_work(sheet: BenchSheet, job: Job, owner: User) -> None:
    services.sheet_close(sheet=sheet, by=owner)
    job_move(job=job, by=owner, stage=Stage.DONE)
    with pytest.raises(Conflict):
        replace(job, owner)
