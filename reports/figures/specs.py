"""The figures: what each counts, into which columns, and what it says of itself."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Any

from diagnostics.charts.words import share_interval_words
from diagnostics.engine.words import _
from reports.figures.comebacks import candidates, comebacks
from reports.figures.records import Cell, Column, Facts, Hit, JobFacts, Shift
from reports.figures.standing import BOOKED, DONE, GONE, Stretch, quartiles, stretches


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a figure counts: the day and job that it belongs to, and what it is."""

    on: date
    job: int
    what: Any
    person: str = ""


@dataclass(frozen=True, slots=True)
class Spec:
    """`by`: what its rows can be. `cells`: a row of the items that fall into it. `drawn`: columns of the picture."""

    key: str
    by: tuple[str, ...]
    title: Callable[[], str]
    lead: Callable[[], str]
    needs: Callable[[], str]
    columns: Callable[[Facts], list[Column]]
    items: Callable[[Facts], Iterator[Item]]
    cells: Callable[[Facts, Sequence[Item]], list[Cell]]
    notes: Callable[[Facts, Sequence[Item]], list[str]]
    drawn: tuple[str, ...]
    measure: Callable[[], str]


NONE = "–"


def number(value: float) -> str:
    """To a tenth; from a hundred on whole."""
    return f"{value:.0f}" if abs(value) >= 99.95 else f"{value:.1f}"


def _counted(jobs: Sequence[int]) -> Cell:
    return Cell(f"{len(jobs)}" if jobs else NONE, float(len(jobs)), tuple(jobs))


def _share(of: Sequence[int], among: Sequence[int]) -> Cell:
    """The share with its interval; behind it those that it is a share of."""
    if not among:
        return Cell(NONE)
    return Cell(share_interval_words(len(of), len(among)), 100 * len(of) / len(among), tuple(of))


# Throughput


def _done(facts: Facts) -> Iterator[Item]:
    came: dict[int, Any] = {}
    for move in sorted(facts.moves, key=lambda one: one.at):
        if not move.hold and move.became not in (BOOKED, GONE):
            came.setdefault(move.job, move.at)
    for job, day in facts.finished():
        assert job.finished is not None  # noqa: S101 - finished() gives no other
        begun = min(came.get(job.pk, job.opened), job.finished)
        yield Item(day, job.pk, (job.car, (job.finished - begun).total_seconds() / 86400))


def _done_cells(_facts: Facts, items: Sequence[Item]) -> list[Cell]:
    jobs = tuple(item.job for item in items)
    cars = len({item.what[0] for item in items})
    days = [item.what[1] for item in items]
    middle = median(days) if days else None
    return [
        Cell(f"{cars}" if cars else NONE, float(cars), jobs),
        _counted(jobs),
        Cell(NONE) if middle is None else Cell(number(middle), middle, jobs),
    ]


# Hours


def _hours(facts: Facts) -> Iterator[Item]:
    for job, day in facts.finished():
        yield Item(day, job.pk, job)


def _hours_cells(_facts: Facts, items: Sequence[Item]) -> list[Cell]:
    jobs: list[JobFacts] = [item.what for item in items]
    sold, planned = [one for one in jobs if one.sold is not None], [one for one in jobs if one.planned is not None]
    worked = [one for one in jobs if one.worked is not None]
    both = [one for one in sold if one.worked]
    bought, spent = (sum(float(one.sold or 0) for one in both), sum((one.worked or 0) / 3600 for one in both))
    return [
        _counted([one.pk for one in jobs]),
        _sum(sold, [float(one.sold or 0) for one in sold]),
        _sum(planned, [(one.planned or 0) / 60 for one in planned]),
        _sum(worked, [(one.worked or 0) / 3600 for one in worked]),
        Cell(f"{bought / spent:.2f}", bought / spent, tuple(one.pk for one in both)) if spent else Cell(NONE),
    ]


def _sum(jobs: Sequence[JobFacts], hours: Sequence[float]) -> Cell:
    return Cell(number(sum(hours)), sum(hours), tuple(one.pk for one in jobs)) if jobs else Cell(NONE)


def _hours_notes(_facts: Facts, items: Sequence[Item]) -> list[str]:
    jobs: list[JobFacts] = [item.what for item in items]
    words = _(
        "Of {jobs} jobs done, {unsold} have no approved labour in hours, {unclocked} no stopped clock and {unplanned} "
        "no planned minutes: they count as nothing there. The last column counts the {both} jobs that have both hours "
        "sold and hours worked."
    )
    return [
        words.format(
            jobs=len(jobs),
            unsold=sum(one.sold is None for one in jobs),
            unclocked=sum(one.worked is None for one in jobs),
            unplanned=sum(one.planned is None for one in jobs),
            both=sum(one.sold is not None and bool(one.worked) for one in jobs),
        )
    ]


# People


def _shifts(facts: Facts) -> Iterator[Item]:
    for shift in facts.shifts:
        if facts.span.has(shift.on):
            yield Item(shift.on, shift.job, shift, shift.person)


def _shift_cells(_facts: Facts, items: Sequence[Item]) -> list[Cell]:
    shifts: list[Shift] = [item.what for item in items]
    jobs = tuple(dict.fromkeys(one.job for one in shifts))
    hours = sum(one.seconds for one in shifts) / 3600
    return [_counted(jobs), Cell(number(hours), hours, jobs) if jobs else Cell(NONE)]


# Stages and holds


def _standing(facts: Facts) -> Iterator[Item]:
    for one in stretches(facts.moves, facts.now):
        if facts.span.has(one.began.date()):
            yield Item(one.began.date(), one.job, one)


def _standing_columns(facts: Facts) -> list[Column]:
    stages = [Column(f"s-{key}", name) for key, name in facts.stages.items() if key != GONE]
    return [*stages, *(Column(f"h-{key}", _("for {what}").format(what=name)) for key, name in facts.holds.items())]


def _standing_cells(facts: Facts, items: Sequence[Item]) -> list[Cell]:
    by_what: dict[str, list[Stretch]] = {}
    for item in items:
        by_what.setdefault(f"{'h' if item.what.hold else 's'}-{item.what.what}", []).append(item.what)
    return [_stood(by_what.get(column.key, [])) for column in _standing_columns(facts)]


def _stood(known: Sequence[Stretch]) -> Cell:
    """'2.1 (0.9 to 4.0)': median and quartiles."""
    if not known:
        return Cell(NONE)
    found, jobs = quartiles(known), tuple(dict.fromkeys(one.job for one in known))
    ends = [NONE if end is None else number(end) for end in (found.median, found.lower, found.upper)]
    # No-break spaces: in a narrow column the quartiles stand below the median.
    words = _("{median} ({lower}\u00a0to\u00a0{upper})").format(median=ends[0], lower=ends[1], upper=ends[2])
    return Cell(words if found.lower is not None else _("all still there"), found.median, jobs)


def _standing_notes(_facts: Facts, items: Sequence[Item]) -> list[str]:
    still = sum(not item.what.ended for item in items)
    words = _(
        "{count} stretches, {still} of them have not ended: they count as at least so long (estimate of Kaplan and "
        "Meier), so that what takes long is not left out while it lasts. {none}: the data do not say yet."
    )
    return [words.format(count=len(items), still=still, none=NONE)]


# Comebacks, first-time-right


def _came_back(facts: Facts) -> Iterator[Item]:
    known = {job.pk: job for job in facts.jobs}
    for pk in comebacks(facts.jobs):
        if facts.span.has(known[pk].opened.date()):
            yield Item(known[pk].opened.date(), pk, known[pk].cause)


def _cause_columns(facts: Facts) -> list[Column]:
    return [Column("all", _("All")), *(Column(key or "unsaid", name) for key, name in facts.causes.items())]


def _cause_cells(facts: Facts, items: Sequence[Item]) -> list[Cell]:
    each = [_counted([item.job for item in items if item.what == cause]) for cause in facts.causes]
    return [_counted([item.job for item in items]), *each]


def _unjudged(facts: Facts) -> int:
    opened = {job.pk: job.opened.date() for job in facts.jobs}
    return sum(facts.span.has(opened[one.job]) for one in candidates(facts.jobs))


def _cause_notes(facts: Facts, _items: Sequence[Item]) -> list[str]:
    words = _("Not yet judged: {count} cars that were here again within 90 days after a job.")
    return [words.format(count=_unjudged(facts))]


RIGHT, BACK, OPEN = "right", "back", "open"


def _old_enough(facts: Facts) -> Iterator[Item]:
    """OPEN: the car was here again, and nobody has said whether it came back."""
    back, waiting = set(comebacks(facts.jobs).values()), {one.after for one in candidates(facts.jobs)}
    for job, day in facts.finished():
        if facts.is_old_enough(job):
            yield Item(day, job.pk, BACK if job.pk in back else OPEN if job.pk in waiting else RIGHT)


def _right_cells(_facts: Facts, items: Sequence[Item]) -> list[Cell]:
    right, back, waiting = ([item.job for item in items if item.what == what] for what in (RIGHT, BACK, OPEN))
    return [_counted([item.job for item in items]), _share(right, [*right, *back]), _counted(back), _counted(waiting)]


def _right_notes(facts: Facts, items: Sequence[Item]) -> list[str]:
    young = sum(1 for _one in facts.finished()) - len(items)
    words = _(
        "Done less than 90 days ago and not counted yet: {young} jobs. Not judged yet and left out of the share until "
        "somebody says whether the car came back: {waiting} jobs. {interval}"
    )
    waiting = sum(item.what == OPEN for item in items)
    return [words.format(young=young, waiting=waiting, interval=_interval_words())]


def _interval_words() -> str:
    return _("In brackets: where the share lies with nine tenths of the probability by the number alone (Wilson).")


# Suspects


def _hits(facts: Facts) -> Iterator[Item]:
    for job in facts.jobs:
        if job.hit is not None and facts.span.has(job.hit.on):
            yield Item(job.hit.on, job.pk, job.hit)


def _hit_cells(_facts: Facts, items: Sequence[Item]) -> list[Cell]:
    jobs = [item.job for item in items]
    hits: list[Hit] = [item.what for item in items]
    brier = sum(one.brier for one in hits) / len(hits) if hits else None
    return [
        _counted(jobs),
        _share([item.job for item in items if item.what.place == 1], jobs),
        _share([item.job for item in items if 1 <= item.what.place <= 3], jobs),
        Cell(NONE) if brier is None else Cell(f"{brier:.2f}", brier, tuple(jobs)),
    ]


def _hit_notes(_facts: Facts, _items: Sequence[Item]) -> list[str]:
    return [
        _(
            "Brier score: how far the probabilities were from what was found, as squares summed over all suspects of a "
            "job; where one thing was wrong 0 is sure and right, 1 is suspecting nothing, 2 is sure and wrong. What is "
            "known of other cars is that of the day on which it was counted, not of the day of the job."
        ),
        _interval_words(),
    ]


SPECS = (
    Spec(
        "throughput", ("month", "system"), lambda: _("Cars done"),
        lambda: _("Jobs by the day on which they were done; days in the shop from taken in to done, the median."),
        lambda: _("A job that is moved to done appears here."),
        lambda _facts: [
            Column("cars", _("Cars")), Column("jobs", _("Jobs")), Column("days", _("Days in the shop, median"))
        ],
        _done, _done_cells, lambda _facts, _items: [], ("cars",), lambda: _("cars"),
    ),
    Spec(
        "hours", ("month", "system"), lambda: _("Hours sold and worked"),
        lambda: _("Of the jobs done: labour that the customer approved, minutes planned, hours at the clocks."),
        lambda: _("It takes jobs that are done, with an approved estimate, a plan or stopped clocks."),
        lambda _facts: [
            Column("jobs", _("Jobs")), Column("sold", _("Hours sold")), Column("planned", _("Hours planned")),
            Column("worked", _("Hours worked")), Column("ratio", _("Sold for each worked")),
        ],
        _hours, _hours_cells, _hours_notes, ("sold", "worked"), lambda: _("hours"),
    ),
    Spec(
        "people", ("person", "month", "system"), lambda: _("Hours at the clock"),
        lambda: _("Hours of stopped clocks by the day on which they were started, on all jobs."),
        lambda: _("It takes clocks that are started and stopped on the tasks of a job."),
        lambda _facts: [Column("jobs", _("Jobs")), Column("hours", _("Hours"))],
        _shifts, _shift_cells, lambda _facts, _items: [], ("hours",), lambda: _("hours"),
    ),
    Spec(
        "stages", ("month", "system"), lambda: _("Where jobs stand"),
        lambda: _("Days at each stage, and waiting for something while in the shop, of what began in these months: "
                  "the median, in brackets the quartiles."),
        lambda: _("It takes jobs that are opened, moved and held."),
        _standing_columns, _standing, _standing_cells, _standing_notes, (f"s-{DONE}",),
        lambda: _("days done and not handed over, median"),
    ),
    Spec(
        "comebacks", ("month", "system"), lambda: _("Comebacks"),
        lambda: _("Jobs that somebody said are comebacks within 90 days, by the day on which the car was here again."),
        lambda: _("A comeback appears once somebody says of a job below that it is one."),
        _cause_columns, _came_back, _cause_cells, _cause_notes, ("all",), lambda: _("comebacks"),
    ),
    Spec(
        "right", ("month", "system"), lambda: _("Right the first time"),
        lambda: _("Of the jobs that were done at least 90 days ago and are judged: after how many the car did not come "
                  "back within 90 days."),
        lambda: _("It takes jobs that were done 90 days ago or longer."),
        lambda _facts: [
            Column("jobs", _("Jobs")), Column("right", _("Right the first time")), Column("back", _("Came back")),
            Column("open", _("Not judged yet")),
        ],
        _old_enough, _right_cells, _right_notes, ("right",), lambda: _("per cent"),
    ),
    Spec(
        "suspects", ("month", "system"), lambda: _("Suspects against what was found"),
        lambda: _("How the suspects stood when the work was begun, against what the work found to be wrong."),
        lambda: _("It takes jobs with checks on a bench sheet and, after them, work that says what was wrong; the "
                  "counting runs every night, or at once from this figure’s page."),
        lambda _facts: [
            Column("jobs", _("Jobs")), Column("first", _("The first suspect was right")),
            Column("three", _("Among the first three")), Column("brier", _("Brier score"))
        ],
        _hits, _hit_cells, _hit_notes, ("first",), lambda: _("per cent"),
    ),
)  # fmt: skip
KEYS = tuple(spec.key for spec in SPECS)
