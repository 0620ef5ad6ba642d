"""What the shop measures with: two multimeters, of which one ran out of its calibration, a stopwatch and a gauge, and
the jobs of the last months on which each was used."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta, tzinfo
from decimal import Decimal

from reports.demo.jobs import at, workday
from reports.demo.records import JobRecord
from reports.demo.then import then
from reports.instruments.services import Calibrated, Facts, calibration_add, instrument_add, instrument_choose
from reports.models import Instrument
from shop.models import Job, User

YEAR, AGAIN = timedelta(days=365), timedelta(days=346)
"""How long a calibration is valid, and after how long the next one is made."""
BACK = timedelta(days=10)
"""How long an instrument is away for it."""
LAST_JOBS = 40
"""Jobs with a bench sheet for which somebody said what was used."""
LAPSED_BEFORE = 9
"""Days before the inspection that was made with the second meter all the same."""
LABORATORY = "Quayside Calibration, Port Lorne"
BENCH = Facts("multimeter", "Bench meter", "HB-40217", Decimal("0.3"), Decimal("0.02"))
SECOND = Facts("multimeter", "Second meter", "HB-39862", Decimal("0.5"), Decimal("0.03"))
WATCH = Facts("stopwatch", "Stopwatch on the red cord", "SW-118")
GAUGE = Facts("pressure-gauge", "Gauge with the long hose", "PG-250-07")


def write_instruments(
    jobs: Sequence[tuple[Job, JobRecord]],
    users: Mapping[str, User],
    certified: Sequence[Job],
    today: date,
    zone: tzinfo,
) -> None:
    """`certified`: the jobs that get a certificate; the first of them was inspected with the meter whose calibration
    had expired."""
    owner, tech = users["owner"], users["tech"]
    benches = [(job, record.sheet.opened_at) for job, record in jobs if record.sheet is not None]
    seen = [one for one in benches[:-LAST_JOBS] if one[0] in certified] + benches[-LAST_JOBS:]
    ended = next(opened for job, opened in seen if job == certified[0]).date() - timedelta(days=LAPSED_BEFORE)
    since = workday(min(opened.date() for _job, opened in seen) - timedelta(days=60), back=True)
    with then(at(since, 9, zone)):
        bench, second, watch, gauge = (instrument_add(facts=one, by=owner) for one in (BENCH, SECOND, WATCH, GAUGE))
    _calibrate(second, ended - YEAR, "QC-3398", "0.006", owner, since, zone)
    for row, first, number, expanded in (
        (bench, since - timedelta(days=40), 4471, "0.004"),
        (watch, today - YEAR + timedelta(days=19), 3877, ""),
        (gauge, since - timedelta(days=30), 4180, ""),
    ):
        for again in range((today - BACK - first) // AGAIN + 1):
            _calibrate(row, first + again * AGAIN, f"QC-{number + 611 * again}", expanded, owner, since, zone)
    for job, opened in seen:
        with then(opened):
            for row in (second if job == certified[0] else bench, watch, gauge):
                instrument_choose(job=job, instrument=row, by=tech)


def _calibrate(row: Instrument, made: date, number: str, expanded: str, by: User, since: date, zone: tzinfo) -> None:
    """Written down when it is back, not before `since`, when the book was begun."""
    typed = Calibrated(made, made + YEAR, number, LABORATORY, Decimal(expanded) if expanded else None)
    with then(at(max(workday(made + BACK), since), 10, zone)):
        calibration_add(instrument=row, calibrated=typed, by=by)
