"""From what stands wrong with a car on a day to a job with its bench sheet, as it would have been booked."""

import math
import random
from datetime import date, datetime, time, timedelta, tzinfo

from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from reports.demo.life import Life
from reports.demo.records import CarRecord, JobRecord, SheetRecord
from reports.demo.visit import Fitted, Visit, Watch, entries_of, found, mend, prove, trace

STAGES = ("booked", "here", "tracing", "mending", "proving", "done", "gone")


def workday(day: date, *, back: bool = False) -> date:
    """`day`, or the nearest Monday to Friday after it (before it)."""
    while day.weekday() > 4:
        day += timedelta(days=-1 if back else 1)
    return day


def at(day: date, hour: float, zone: tzinfo) -> datetime:
    return datetime.combine(day, time(), zone) + timedelta(minutes=round(60 * hour))


HALL_C = 18.0
OUTSIDE_C = {"hot": (24.0, 8.0), "temperate": (11.0, 9.0), "cold": (4.0, 14.0)}
"""Climate -> yearly mean outside and half the way from winter to summer."""
COLDEST_DAY = 20
NOT_NOTED = 0.12
"""Share of visits in which nobody looks at the thermometer."""


def bench_of(life: Life, day: float, rng: random.Random) -> Bench:
    faults = frozenset(clock.fault for clock in life.present(day).values())
    oil_c, noted = oil_of(life.car, day)
    bench = Bench(life.system, faults, rng, oil_c)
    bench.notes_oil = noted
    return bench


def oil_of(car: CarRecord, day: float) -> tuple[float, bool]:
    """Fluid temperature in °C and whether it is noted: a car comes in from outside and takes on the hall's warmth."""
    dice = random.Random(f"oil:{car.vin}:{int(day)}")  # noqa: S311 - a story, no secret
    mean, swing = OUTSIDE_C[car.climate]
    turn = 2.0 * math.pi * (date.fromordinal(int(day)).timetuple().tm_yday - COLDEST_DAY) / 365.25
    outside = mean - swing * math.cos(turn) + dice.gauss(0.0, 3.0)
    in_hall = dice.uniform(0.2, 0.8)
    return round(in_hall * HALL_C + (1.0 - in_hall) * outside), dice.random() >= NOT_NOTED


def past_job(life: Life, day: date, rng: random.Random, zone: tzinfo, *, inspection: bool) -> None:
    """One visit from taking in to handing over; books the job and the failures on the car."""
    job, mended = whole_job(life, day, rng, zone, inspection=inspection)
    life.repair(mended, day.toordinal())
    life.car.jobs.append(job)


def whole_job(
    life: Life, day: date, rng: random.Random, zone: tzinfo, *, inspection: bool
) -> tuple[JobRecord, list[Fault]]:
    """The visit that begins on `day` with the faults of that day, and which of them it mends. The clocks stay as they
    are."""
    bench = bench_of(life, day.toordinal(), rng)
    complaint = None if inspection else bench.complaint()
    booked = at(workday(day - timedelta(days=rng.randint(1, 9)), back=True), rng.uniform(9, 16), zone)
    here = at(day, rng.uniform(8, 9.5), zone)
    watch = Watch(here + timedelta(minutes=rng.randint(20, 120)), rng)
    started = watch.now
    visit = trace(bench, watch, complaint, every_switch=inspection)
    stages = [("booked", booked), ("here", here), ("tracing", started)]
    faults = found(bench, visit)
    if faults:
        if rng.random() < 0.6:
            watch.now = at(workday(day + timedelta(days=rng.randint(1, 6))), rng.uniform(8, 11), zone)
        stages.append(("mending", watch.now))
        mend(bench, watch, visit, faults, fitted_by(life, day))
        stages.append(("proving", watch.after(5)))
    while not prove(bench, watch, visit):
        mend(bench, watch, visit, found(bench, visit), fitted_by(life, day))
    closed = watch.after(5)
    stages += [
        ("done", watch.after(10)),
        ("gone", at(workday(closed.date() + timedelta(days=1)), rng.uniform(9, 17), zone)),
    ]
    kind = "inspection" if inspection else "fault" if complaint else "service"
    job = JobRecord(
        kind=kind,
        title=_title(bench, kind, visit),
        complaint=_complaint(bench, kind, visit, rng),
        opened_at=booked,
        stages=tuple(stages),
        hold="nothing",
        hold_note="",
        km=kilometres(life.car, day),
        sheet=SheetRecord(
            opened_at=started,
            closed_at=closed,
            complaint=visit.complaint,
            pose=visit.pose,
            supply_volts=bench.supply,
            entries=entries_of(visit),
        ),
    )
    return job, visit.mended


def fitted_by(life: Life, day: date) -> Fitted:
    """What the shop fits at a position on that day: the declared part, or its successor from when there was one."""

    def fitted(position: str) -> tuple[str, str]:
        part = life.system.positions[position].part
        return life.truth.successor(part, life.months_ago - _months(life.car.made_on, day)) or (part, "")

    return fitted


def _months(start: date, end: date) -> int:
    return (end.year - start.year) * 12 + end.month - start.month


def kilometres(car: CarRecord, day: date) -> int:
    """Odometer on a day: each car has its own pace, and the last visit's reading is never above it."""
    pace = 6000 + sum(map(ord, car.vin[-6:])) % 23 * 550
    return 40 + round(pace * max(0, (day - car.made_on).days) / 365.25)


_SERVICE = ("Yearly look over the top", "Service of the top", "Top checked before the season")


def _title(bench: Bench, kind: str, visit: Visit) -> str:
    if kind == "inspection":
        return "Pre-purchase inspection of the top"
    if kind == "service":
        return _SERVICE[len(visit.tracing) % len(_SERVICE)]
    return f"{bench.system.motions[visit.complaint['motion']].title} stops: {_step(bench, visit).lower()}"[:140]


def _step(bench: Bench, visit: Visit) -> str:
    steps = bench.system.motions[visit.complaint["motion"]].steps
    return next(step.title for step in steps if step.name == visit.complaint["stops_at"])


_ASIDE = (
    "It worked last week.",
    "It began after the winter.",
    "Some days it works.",
    "It stopped in front of everybody.",
    "",
)


def _complaint(bench: Bench, kind: str, visit: Visit, rng: random.Random) -> str:
    if kind == "inspection":
        return "The buyer wants the top looked at before signing."
    if kind == "service":
        return ""
    verb = "closes" if visit.complaint["motion"] == "close" else "opens"
    lamp = {"flashing": "The lamp flashes.", "steady": "The lamp stays on."}.get(visit.complaint["lamp"] or "", "")
    return " ".join(filter(None, [f"The top no longer {verb} all the way.", lamp, rng.choice(_ASIDE)]))
