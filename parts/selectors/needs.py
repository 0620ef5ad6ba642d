"""What a job needs from the shelf, as its page shows it, and what it may need besides: of its suspects and its work
plan."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, Sum

from diagnostics.engine.faults import repair_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import WorkKind
from diagnostics.selectors import diagnosis_of, evidence_of_sheet, open_suspects, sheet_of_job
from parts.models import Movement, Need, NeedState, Part
from parts.selectors.coming import Arrival, arrivals
from shop.models import Job, TaskPart

NUMBERS = 300
"""Part numbers that the form offers as one types; whoever has more types the whole number."""


@dataclass(frozen=True, slots=True)
class NeedRow:
    """`arrival`: what is known of its missing pieces, None where none is missing. `free`: pieces on the shelf that
    nobody has reserved. `out`: pieces that the job has and that are fitted nowhere."""

    need: Need
    arrival: Arrival | None
    free: int
    out: int

    @property
    def at_hand(self) -> int:
        """Pieces of what is still asked for that can be handed out now."""
        return min(self.need.quantity - self.need.issued, self.need.held + self.free)


@dataclass(frozen=True, slots=True)
class JobNeeds:
    """`rows` of what is asked for or was handed out; `dropped`: needs that can be taken up again; `planned`: lines of
    the work plan whose part nobody has asked for, with that part; `numbers` of the form."""

    rows: tuple[NeedRow, ...]
    dropped: tuple[Need, ...]
    planned: tuple[tuple[TaskPart, Part], ...]
    numbers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Likely:
    """A part that a suspect of the job would need: at `position`, with this chance. `part` None: the catalogue does not
    have `number`."""

    position: str
    name: str
    number: str
    part: Part | None
    chance: float


def job_needs(job: Job) -> JobNeeds:
    """Seven queries, however much the job needs."""
    needs = list(Need.objects.filter(job=job).select_related("part__superseded_by", "part__stock").order_by("pk"))
    awaited = arrivals({need.part for need in needs if need.missing})
    out = _out(job)
    rows = [
        NeedRow(need, awaited.get(need.pk), _free(need.part), out.get(need.part_id, 0))
        for need in needs
        if need.state != NeedState.DROPPED
    ]
    asked = {(row.need.part_id, row.need.position) for row in rows if row.need.state == NeedState.OPEN}
    dropped = {
        (need.part_id, need.position): need
        for need in needs
        if need.state == NeedState.DROPPED and (need.part_id, need.position) not in asked
    }
    return JobNeeds(tuple(rows), tuple(dropped.values()), _planned(job), _numbers(job))


def likely_parts(job: Job) -> tuple[Likely, ...]:
    """The parts that the open suspects of the job's open sheet would need and nobody has asked for, likeliest first.
    The chances of a position's faults are added up. Of a part that is superseded, the one that replaces it."""
    sheet = sheet_of_job(job)
    evidence = evidence_of_sheet(sheet) if sheet is not None and sheet.closed_at is None else None
    if sheet is None or sheet.revision is None or evidence is None or evidence.is_empty:
        return ()
    chances: dict[str, float] = {}
    for suspect in open_suspects(diagnosis_of(evidence, sheet.revision.sha256)):
        repair = repair_of(evidence.system, suspect.fault)
        if repair.kind == WorkKind.REPLACE:
            chances[repair.position] = min(chances.get(repair.position, 0.0) + suspect.probability, 1.0)
    asked = set(Need.objects.filter(job=job, state=NeedState.OPEN).values_list("part__number", "position"))
    found = _likely(evidence.system, chances)
    return tuple(one for one in found if not {(one.number, one.position), (one.number, "")} & asked)


def _likely(system: TopSystem, chances: dict[str, float]) -> Iterable[Likely]:
    originals = {position: system.positions[position].part for position in chances}
    known = {part.number: part for part in Part.objects.filter(number__in=[*originals.values()])}
    links = {part.pk: part for part in Part.objects.exclude(superseded_by=None).select_related("superseded_by")}
    for position, chance in sorted(chances.items(), key=lambda one: -one[1]):
        number = originals[position]
        if not number:
            continue
        part = known.get(number)
        while part is not None and part.pk in links:
            part = links[part.pk].superseded_by
        name = system.positions[position].name
        yield Likely(position, name, part.number if part else number, part, chance)


def _free(part: Part) -> int:
    """Free pieces of a part that was read with its balance; none where nothing was ever booked."""
    return part.stock.free if hasattr(part, "stock") else 0


def _out(job: Job) -> dict[int, int]:
    """Part key -> pieces that the job has and that are fitted nowhere."""
    loose = Movement.objects.filter(job=job, unit=None).order_by().values_list("part").annotate(n=Sum("shelf"))
    return {part: -pieces for part, pieces in loose if pieces < 0}


def _planned(job: Job) -> tuple[tuple[TaskPart, Part], ...]:
    rows = TaskPart.objects.filter(task__job=job, here_on=None).exclude(part="").select_related("task")
    rows = rows.exclude(needs__state__in=[NeedState.OPEN, NeedState.ISSUED])
    known = {part.number: part for part in Part.objects.filter(number__in=rows.values("part"))}
    return tuple((row, known[row.part]) for row in rows if row.part in known)


def _numbers(job: Job) -> tuple[tuple[str, str], ...]:
    """Numbers and names of what fits the car's top, and of what fits anywhere, such as seals and oil."""
    fitting = Part.objects.filter(Q(fits__system=job.car.system) | Q(fits=None)).distinct()
    return tuple(fitting.values_list("number", "name")[:NUMBERS])
