"""Sightings: what the sheets say of units, kept as rows that the learning reads (models/learning.py, engine/seen.py).

Made anew for every sheet whose checks or work changed (`BenchSheet.sighted`), in chunks of one transaction each. A
sheet is locked while its rows are made, and whoever changes its checks or work turns `sighted` off in the same
transaction: so nothing is missed, and two refreshes at once do the work once. Work booked on a job without a bench
sheet, and sheets of a top that nobody has declared, say nothing.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from django.db import transaction
from django.utils import timezone

from diagnostics.engine.passes import Passes
from diagnostics.engine.seen import Done, Entry, Seen, seen_in
from diagnostics.models import BenchSheet, Check, Sighting, Unit, Work, WorkKind
from diagnostics.selectors.systems import parsed

CHUNK = 100
"""Sheets of one transaction: some thousand checks."""
_SAID = ("system", "position", "part", "revision", "since", "on", "good", "failed", "mended", "observations")
Said = tuple[Any, ...]


def sightings_refresh(limit: int | None = None) -> set[tuple[str, str]]:
    """Bring the sightings of all sheets up to date (of at most `limit` sheets); the (system, part) whose sightings
    changed."""
    changed: set[tuple[str, str]] = set()
    left = limit
    while left is None or left > 0:
        done, here = _refresh_chunk(CHUNK if left is None else min(CHUNK, left))
        changed |= here
        if not done:
            break
        left = None if left is None else left - done
    return changed


@transaction.atomic
def _refresh_chunk(most: int) -> tuple[int, set[tuple[str, str]]]:
    """(sheets done, groups changed). Eight queries, and up to three writes."""
    sheets = list(
        BenchSheet.objects.filter(sighted=False)
        .select_for_update(of=("self",))
        .select_related("revision")
        .order_by("pk")[:most]
    )
    if not sheets:
        return 0, set()
    rows = _Rows.of(sheets)
    old: dict[tuple[int, Said], int] = {
        (sheet_id, tuple(said)): pk
        for pk, sheet_id, *said in Sighting.objects.filter(sheet__in=sheets).values_list("pk", "sheet_id", *_SAID)
    }
    new = {(sheet.pk, said): sheet.car_id for sheet in sheets for said in rows.said_of(sheet)}
    gone, come = old.keys() - new.keys(), [key for key in new if key not in old]
    Sighting.objects.filter(pk__in=[old[key] for key in gone]).delete()
    Sighting.objects.bulk_create(
        Sighting(sheet_id=sheet_pk, car_id=new[sheet_pk, said], **dict(zip(_SAID, said, strict=True)))
        for sheet_pk, said in come
    )
    BenchSheet.objects.filter(pk__in=[sheet.pk for sheet in sheets]).update(sighted=True)
    return len(sheets), {(said[0], said[2]) for _pk, said in [*gone, *come]}


@lru_cache(maxsize=64)
def _passes(text: str, source: str) -> Passes:
    return Passes(parsed(text, source))


@dataclass(slots=True)
class _Rows:
    """The rows behind a chunk of sheets: checks by sheet; of their jobs the moments of all sheets, and the work; of
    their cars the units by position in the order in which they were fitted, and when."""

    entries: Mapping[int, list[Entry]]
    opened: Mapping[int, list[tuple[datetime, int]]]
    work: Mapping[int, list[Work]]
    units: Mapping[tuple[int, str], list[tuple[datetime | None, Unit]]]

    @classmethod
    def of(cls, sheets: Sequence[BenchSheet]) -> "_Rows":
        jobs, cars = {sheet.job_id for sheet in sheets}, {sheet.car_id for sheet in sheets}
        entries: dict[int, list[Entry]] = {}
        checks = Check.objects.filter(sheet__in=sheets, struck_at__isnull=True).exclude(verdict="refused")
        for sheet_id, at, observation, verdict in checks.values_list("sheet_id", "at", "observation", "verdict"):
            entries.setdefault(sheet_id, []).append(Entry(at, observation, verdict))
        opened: dict[int, list[tuple[datetime, int]]] = {}
        for job_id, at, pk in BenchSheet.objects.filter(job__in=jobs).values_list("job_id", "opened_at", "pk"):
            opened.setdefault(job_id, []).append((at, pk))
        work: dict[int, list[Work]] = {}
        for one in Work.objects.filter(job__in=jobs):
            work.setdefault(one.job_id, []).append(one)
        # The moment at which a unit was fitted; of one that this shop did not book only the day is known.
        fitted = dict(Work.objects.filter(new_unit__car__in=cars).values_list("new_unit_id", "at"))
        units: dict[tuple[int, str], list[tuple[datetime | None, Unit]]] = {}
        for unit in Unit.objects.filter(car__in=cars).order_by("pk"):
            units.setdefault((unit.car_id, unit.position), []).append((fitted.get(unit.pk) or _start_of(unit), unit))
        for known in units.values():
            known.sort(key=lambda one: (one[0] is not None, one[0] or _LONG_AGO))
        return cls(entries, {job: sorted(one) for job, one in opened.items()}, work, units)

    def said_of(self, sheet: BenchSheet) -> Iterator[Said]:
        """What the sheet says, as values of _SAID."""
        if sheet.revision is None:
            return
        passes = _passes(sheet.revision.text, str(sheet.revision))
        work = [one for one in self.work.get(sheet.job_id, ()) if self._sheet_of(one) == sheet.pk]
        done = [Done(one.at, one.position, one.kind, one.mode) for one in work]
        for seen in seen_in(passes, self.entries.get(sheet.pk, ()), done):
            part, revision, since = self._unit(sheet, passes, seen, work)
            on = timezone.localdate(seen.at)
            on = max(on, since) if since else on
            yield (
                passes.system.system,
                seen.position,
                part,
                revision,
                since,
                on,
                seen.good,
                seen.failed,
                seen.mended,
                seen.observations,
            )

    def _sheet_of(self, work: Work) -> int:
        """The sitting that work belongs to: the job's last sheet opened before it, else its first."""
        sheets = self.opened[work.job_id]
        return next((pk for at, pk in reversed(sheets) if at <= work.at), sheets[0][1])

    def _unit(
        self, sheet: BenchSheet, passes: Passes, seen: Seen, work: Iterable[Work]
    ) -> tuple[str, str, date | None]:
        """Part, revision and day of fitting of the unit that was seen."""
        replaced = sorted(
            (one for one in work if one.kind == WorkKind.REPLACE and one.position == seen.position),
            key=lambda one: one.at,
        )
        known = self.units.get((sheet.car_id, seen.position), [])
        declared = passes.system.positions[seen.position].part
        if seen.fitted or replaced:
            asked = replaced[seen.fitted - 1].new_unit_id if seen.fitted else replaced[0].old_unit_id
            there = [unit for _at, unit in known if unit.pk == asked]
        else:
            there = [unit for at, unit in known if at is None or at <= seen.at]
        if not there:
            return declared, "", None
        return there[-1].part or declared, there[-1].revision, there[-1].fitted_on


_LONG_AGO = datetime(1, 1, 2, tzinfo=UTC)


def _start_of(unit: Unit) -> datetime | None:
    if unit.fitted_on is None:
        return None
    return timezone.make_aware(datetime.combine(unit.fitted_on, datetime.min.time()))
