"""What the pages of the failure patterns show: an overview, one top system, one production range, the cars behind."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Max, Sum

from diagnostics.charts.strip import Strip, StripColumn, StripMark, StripRow, grain_for, make_strip, merged, span_of
from diagnostics.charts.words import climate_words, estimate_words, part_title, part_words, range_phrase, ratio_words
from diagnostics.engine.faults import MODE_BITS, mode_words
from diagnostics.engine.words import _
from diagnostics.learning.records import MonthTally, PartModel, Range, month_of
from diagnostics.models import FailureModel, Learning, ProductionRange, RangeState, SystemRevision
from diagnostics.selectors.behind import Counted
from diagnostics.selectors.failure_model import models_now
from diagnostics.selectors.learning import newest_learning, snapshot_of
from diagnostics.selectors.systems import newest_revisions, system_of
from shop.models import TrailEntry

SHOWN = (RangeState.PROPOSED, RangeState.CONFIRMED)


@dataclass(frozen=True, slots=True)
class FoundHere:
    """A production range with what its part is called (`name` in a sentence, `title` above one): `row`, the `range`
    and `model` as they were found."""

    row: ProductionRange
    range: Range
    model: PartModel
    name: str
    title: str


@dataclass(frozen=True, slots=True)
class SystemSummary:
    slug: str
    title: str
    units: int
    failed: int
    proposed: int
    confirmed: int


@dataclass(frozen=True, slots=True)
class ModeChoice:
    """A mode that failed at least once in this system, to be chosen."""

    mode: str
    words: str
    failed: int


@dataclass(frozen=True, slots=True)
class SystemPatterns:
    """`strip` of the `mode` that was chosen, '' for all; `grains`: the columns that can be chosen."""

    slug: str
    title: str
    learning: Learning | None
    names: Mapping[str, str]
    modes: tuple[ModeChoice, ...]
    mode: str
    strip: Strip
    ranges: tuple[FoundHere, ...]
    models: tuple[PartModel, ...]


def position_names(slug: str) -> tuple[str, dict[str, str]]:
    """Title of the system and its positions with their names, in order; of one that nobody declared its slug and
    nothing."""
    revision = SystemRevision.objects.filter(slug=slug).order_by("-revision").first()
    if revision is None:
        return slug, {}
    return revision.title, {code: one.name for code, one in system_of(revision).positions.items()}


def models_of(slug: str) -> tuple[PartModel, ...]:
    learned = models_now(slug)
    return learned.models if learned is not None else ()


def summaries(shown: Iterable[FoundHere]) -> list[SystemSummary]:
    """One for every system that something was learned of or that is declared; `shown`: the ranges of all of them. Two
    queries."""
    titles = {one.slug: one.title for one in newest_revisions().defer("text")}
    rows = FailureModel.objects.filter(original=True).order_by().values("system")
    tallies = {
        row["system"]: (row["most"], row["failures"])
        for row in rows.annotate(most=Max("units"), failures=Sum("failed"))
    }
    states = Counter((one.row.system, one.row.state) for one in shown)
    slugs = sorted(titles.keys() | tallies.keys(), key=lambda slug: (slug not in tallies, titles.get(slug, slug)))
    return [
        SystemSummary(
            slug=slug,
            title=titles.get(slug, slug),
            units=tallies.get(slug, (0, 0))[0],
            failed=tallies.get(slug, (0, 0))[1],
            proposed=states[slug, RangeState.PROPOSED],
            confirmed=states[slug, RangeState.CONFIRMED],
        )
        for slug in slugs
    ]


def ranges_shown(slug: str | None = None) -> list[FoundHere]:
    """Proposals first, then what was confirmed; of one system or of all."""
    rows = ProductionRange.objects.filter(state__in=SHOWN).select_related("decided_by", "learning")
    if slug is not None:
        rows = rows.filter(system=slug)
    found = sorted(rows, key=lambda row: (row.state != RangeState.PROPOSED, -row.probability, row.pk))
    names = _names_of({row.system for row in found})
    return [found_here(row, names[row.system]) for row in found]


def _names_of(slugs: Iterable[str]) -> dict[str, dict[str, str]]:
    wanted = set(slugs)
    revisions = newest_revisions().filter(slug__in=wanted) if wanted else ()
    names: dict[str, dict[str, str]] = {slug: {} for slug in wanted}
    for one in revisions:
        names[one.slug] = {code: position.name for code, position in system_of(one).positions.items()}
    return names


def found_here(row: ProductionRange, names: Mapping[str, str]) -> FoundHere:
    model, found = snapshot_of(row)
    called = (row.positions, names, row.part)
    return FoundHere(row, found, model, part_words(*called), part_title(*called))


def system_patterns(slug: str, *, mode: str = "", grain: int | None = None) -> SystemPatterns | None:
    """One top system; None where nobody declared it and nothing was learned of it."""
    title, names = position_names(slug)
    models = models_of(slug)
    if not names and not models:
        return None
    originals = tuple(model for model in models if model.population.original)
    modes = _modes(originals)
    mode = mode if any(one.mode == mode for one in modes) else ""
    months = months_together(originals, mode)
    columns = grain_for(months, grain)
    ranges = tuple(ranges_shown(slug))
    marks = strip_marks(ranges, months, columns, mode) if months else {}
    return SystemPatterns(
        slug=slug,
        title=title,
        learning=newest_learning(),
        names=names,
        modes=modes,
        mode=mode,
        strip=make_strip(months, names=names, grain=columns, marks=marks),
        ranges=ranges,
        models=models,
    )


def _modes(models: Sequence[PartModel]) -> tuple[ModeChoice, ...]:
    failed: dict[str, int] = {}
    for model in models:
        failed[model.population.mode] = failed.get(model.population.mode, 0) + model.tally.failed
    return tuple(
        ModeChoice(mode, mode_words(mode), count)
        for mode, count in sorted(failed.items(), key=lambda one: (-one[1], one[0]))
        if count
    )


def months_together(models: Sequence[PartModel], mode: str) -> dict[tuple[str, int], MonthTally]:
    """(position, month) -> units, failures and what was expected, of one mode or of all together."""
    by_part: dict[tuple[str, str], list[Sequence[MonthTally]]] = {}
    for model in models:
        if mode in ("", model.population.mode):
            by_part.setdefault((model.population.part, model.population.revision), []).append(model.months)
    parts = [tuple(merged(tallies, modes_apart=True).values()) for tallies in by_part.values()]
    return merged(parts, modes_apart=False)


def strip_marks(
    ranges: Iterable[FoundHere], months: Mapping[tuple[str, int], MonthTally], grain: int, mode: str
) -> dict[str, list[StripMark]]:
    """The marks of the ranges by position, on a strip of these months."""
    first, last = span_of(months, grain)
    span = last - first + 1

    def place(month: float) -> float:
        return min(max((month - first) / span, 0.0), 1.0)

    marks: dict[str, list[StripMark]] = {}
    for one in ranges:
        if mode not in ("", one.row.mode):
            continue
        found = one.range
        mark = StripMark(
            key=one.row.pk,
            state=one.row.state,
            left=place(found.first),
            right=place(found.last + 1),
            first_low=place(found.first_set[0]),
            first_high=place(found.first_set[1] + 1),
            last_low=place(found.last_set[0]),
            last_high=place(found.last_set[1] + 1),
            open_first=found.open_first,
            open_last=found.open_last,
            words=mark_words(one),
        )
        for position in one.row.positions:
            marks.setdefault(position, []).append(mark)
    return marks


def mark_words(one: FoundHere) -> str:
    words = _("{mode}, made {months}: {ratio} times as often ({state})")
    return words.format(
        mode=mode_words(one.row.mode),
        months=range_phrase(one.range),
        ratio=ratio_words(one.range.ratio.estimate),
        state=RangeState(one.row.state).label.lower(),
    )


def models_at(models: Iterable[PartModel], position: str, mode: str) -> list[PartModel]:
    """Models of a position (of one mode), those of original units first, the more failures the earlier."""
    found = [
        one
        for one in models
        if position in one.population.positions and mode in ("", one.population.mode) and one.tally.units
    ]
    return sorted(found, key=lambda one: (not one.population.original, -one.tally.failed, one.population))


def units_on_strip(counted: Counted) -> int:
    """The units that the strip of all modes shows at these positions and months: of each part and month those of the
    mode that most were looked at in."""
    originals = [model for model in models_of(counted.system) if model.population.original]
    first = month_of(counted.first) if counted.first else 0
    last = month_of(counted.last) if counted.last else month_of(date.max)
    months = months_together(originals, "")
    return sum(
        one.units
        for (position, month), one in months.items()
        if position in counted.positions and first <= month <= last
    )


def known_mode(mode: str) -> bool:
    return mode in MODE_BITS


def history_of_range(row: ProductionRange) -> list[TrailEntry]:
    """What was found and decided of it, the newest first."""
    entries = TrailEntry.objects.filter(link=row.get_absolute_url()).select_related("by", "job")
    return list(entries.order_by("-at", "-pk")[:50])


def month_rows(found: FoundHere) -> list[tuple[int, int, int, float, bool]]:
    """(year, units, failed, expected, any month of it inside) of the data that a range was made from, by year."""
    years: dict[int, list[float]] = {}
    for one in found.model.months:
        row = years.setdefault(one.month // 12, [0, 0, 0.0])
        row[0] += one.units
        row[1] += one.failed
        row[2] += one.expected
    first, last = month_of(found.row.first) // 12, month_of(found.row.last) // 12
    return [
        (year, int(units), int(failed), expected, first <= year <= last)
        for year, (units, failed, expected) in sorted(years.items())
    ]


def by_year(row: StripRow, columns: Sequence[StripColumn]) -> list[tuple[int, int, int, float]]:
    """(year, units, failed, expected) of a row of the strip."""
    years: dict[int, list[float]] = {}
    for cell in row.cells:
        year = years.setdefault(columns[cell.column].first // 12, [0, 0, 0.0])
        year[0] += cell.units
        year[1] += cell.failed
        year[2] += cell.expected
    return [(year, int(units), int(failed), expected) for year, (units, failed, expected) in sorted(years.items())]


def by_climate(found: Range) -> list[tuple[str, str]]:
    """The ratio within each climate, in words."""
    return [
        (climate_words(climate), estimate_words(ratio)) for climate, ratio in sorted(found.ratio_by_climate.items())
    ]
