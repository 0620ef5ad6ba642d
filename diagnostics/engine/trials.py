"""Motion trials as evidence: at which step a motion stops under every set of faults, exactly and at once.

The strict rule (see motion.py): a step starts when everything in its `starts_when` is reported, and it gets to its
end only if the axes stand where the fault-free run has them. So there are three ways to stop (where the axes stand
then tells them apart: `standing.py`):

- the step does not start: a required report is missing;
- it ends early: its `ends_when` is reported although nothing has moved. The next step then finds the axes in the
  wrong place: it does not start, or can never end. The motion stops at the next step (at the same one if it was the
  last);
- it does not end: the drive does not get there in time, or the report of the end is missing.

Faults at different sites act independently given the hypothesis, and a fault that comes and goes is drawn anew each
time that the module looks, so each chance is a product over sites. Outcomes of a motion of S steps, in this order:
the command is not seen (nothing starts, lamp off), it stops at step 0 … S−1, it runs to its end.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import effects, observe
from diagnostics.engine.alike import Alike, Look, alike
from diagnostics.engine.compiled import ALL, Compiled, Floats, Ints, Subset
from diagnostics.engine.motion import MADE, RELEASED, dues, fault_free
from diagnostics.engine.system.model import Motion, Step
from diagnostics.engine.system.series import reported

AT_A_TIME = 16384
"""Classes walked through a motion at a time: few enough to stay in the processor's cache."""
NO_START = 0
"""Row of the outcome in which the module does not see the command."""


def outcomes(compiled: Compiled, motion: str, subset: Subset = ALL) -> Floats:
    """(S + 2, m) chance of each outcome under each hypothesis; columns sum to 1."""
    return class_outcomes(compiled, motion)[:, classes(compiled, motion).codes[subset]]


def class_outcomes(compiled: Compiled, motion: str) -> Floats:
    """(S + 2, C) chance of each outcome in each class of hypotheses alike to the motion. Made once per system."""

    def make() -> Floats:
        places = classes(compiled, motion).places
        rows = np.empty((len(compiled.system.motions[motion].steps) + 2, len(places)))  # type: ignore[index]
        for start in range(0, len(places), AT_A_TIME):
            some = slice(start, start + AT_A_TIME)
            rows[:, some] = _outcomes(compiled, motion, places[some])
        return rows

    return compiled.kept(("outcomes", motion), make)


def classes(compiled: Compiled, motion: str) -> Alike:
    """The hypotheses that look alike to a motion: where it stops, how, and what is heard of it."""
    return compiled.kept(("alike", motion), lambda: alike(compiled, _looks(compiled, motion)))


def _looks(compiled: Compiled, motion: str) -> Iterator[Look]:
    """All chances that evidence of a motion is made of, each a product over sites."""
    declared = compiled.system.motions[motion]  # type: ignore[index]
    yield Look(_tables(compiled, commands_of(compiled, declared), commands_of(compiled, declared)), gate=True)
    for trace in fault_free(compiled.system, motion):
        step = trace.step
        before, after = (dues(compiled.system, p, held=declared.command) for p in (trace.before, trace.after))
        yield Look(_tables(compiled, step.starts_when, before), gate=True)
        if not _reported_already(step, before):
            yield Look(_tables(compiled, step.ends_when, before))
        for chance in _EFFECTS:
            yield Look([(code, site_table(compiled, code, chance)) for code in needed(compiled, step)])
        yield Look(_tables(compiled, step.ends_when, after), gate=True)


def _tables(compiled: Compiled, wanted: dict[str, str], due: dict[str, str]) -> list[tuple[str, Floats]]:
    return [(code, _sees(compiled, code, due[code], want)) for code, want in wanted.items()]


def _outcomes(compiled: Compiled, motion: str, subset: Subset) -> Floats:
    stops, runs = ways_to_stop(compiled, motion, subset)
    last = len(stops) - 1
    rows = np.zeros((len(stops) + 2, len(runs)))
    declared = compiled.system.motions[motion]  # type: ignore[index]
    rows[NO_START] = 1.0 - _command_seen(_Walked(compiled, subset), declared)
    for k, stop in enumerate(stops):
        rows[min(k + 1, last) + 1] += stop.early
        rows[k + 1] += stop.not_started + stop.not_ended
    rows[-1] = runs
    return np.clip(rows, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Stop:
    """(H,) chances of the ways in which one step stops a motion, by where its axes stand then.

    `not_started`: a report that it waits for is missing, the axes stand where the step before left them. `early`: taken
    for ended before anything moved, shows at the next step. `stalled`: the drive did not get there. `unreported`: it
    got there, and the report of it is missing.
    """

    not_started: Floats
    early: Floats
    stalled: Floats
    unreported: Floats

    @property
    def not_ended(self) -> Floats:
        return self.stalled + self.unreported


def ways_to_stop(
    compiled: Compiled, motion: str, subset: Subset = ALL, until: int | None = None
) -> tuple[list[Stop], Floats]:
    """How each step (up to number `until`) stops the motion, and the chance that it goes on from there or runs to its
    end; for the hypotheses of `subset`."""
    declared = compiled.system.motions[motion]  # type: ignore[index]
    walked = _Walked(compiled, subset)
    alive = _command_seen(walked, declared)
    stops = []
    for trace in fault_free(compiled.system, motion)[: None if until is None else until + 1]:
        step = trace.step
        before = dues(compiled.system, trace.before, held=declared.command)
        after = dues(compiled.system, trace.after, held=declared.command)
        starts = alive * walked.sees_all(step.starts_when, before)
        early = starts * _ends_early(walked, step, before)
        arrives = (starts - early) * walked.moves(step)
        ends = arrives * walked.sees_all(step.ends_when, after)
        stops.append(Stop(alive - starts, early, starts - early - arrives, arrives - ends))
        alive = ends
    return stops, alive


class _Walked:
    """Hypotheses that are walked through a motion, with their local sets at the sites it comes by."""

    def __init__(self, compiled: Compiled, subset: Subset) -> None:
        self.compiled, self.subset = compiled, subset
        self.many = len(compiled.sets.members[subset])
        self._codes: dict[str, Ints] = {}

    def product(self, tables: Iterable[tuple[str, Floats]]) -> Floats:
        """(m,) product of per-site tables."""
        result = np.ones(self.many)
        for site, table in tables:
            if site not in self._codes:
                self._codes[site] = self.compiled.codes(site, self.subset)
            result *= table[self._codes[site]]
        return result

    def sees_all(self, wanted: dict[str, str], due: dict[str, str]) -> Floats:
        """Chance that the module is told everything that it waits for."""
        return self.product(_tables(self.compiled, wanted, due))

    def moves(self, step: Step) -> Floats:
        moves = effects.moves
        return self.product((code, site_table(self.compiled, code, moves)) for code in needed(self.compiled, step))


def _sees(compiled: Compiled, code: str, due: str, want: str) -> Floats:
    position, site = compiled.system.positions[code], compiled.sites[code]
    sees = effects.module_sees
    return compiled.kept(("sees", code, due, want), lambda: site.table(lambda modes: sees(position, modes, due, want)))


def _ends_early(walked: _Walked, step: Step, before: dict[str, str]) -> Floats:
    if _reported_already(step, before):
        return np.zeros(walked.many)
    return walked.sees_all(step.ends_when, before)


def _reported_already(step: Step, before: dict[str, str]) -> bool:
    """Its end is reported before it starts even where nothing is wrong, so the module cannot go by the level alone."""
    return all(reported(before[code]) == want for code, want in step.ends_when.items())


def _command_seen(walked: _Walked, motion: Motion) -> Floats:
    """The held command is seen made, and no other motion's command is (both at once: no module moves)."""
    commands = commands_of(walked.compiled, motion)
    return walked.sees_all(commands, commands)


def commands_of(compiled: Compiled, motion: Motion) -> dict[str, str]:
    return {other.command: RELEASED for other in compiled.system.motions.values()} | {motion.command: MADE}


def keeps_time(compiled: Compiled, step: Step) -> Floats:
    """(C,) chance that a step that ends stays within its usual time, in each class of `alike_in_time`. It follows from
    what drives the step alone; made once per system."""

    def make() -> Floats:
        walked = _Walked(compiled, alike_in_time(compiled).places)
        return (1.0 - observe.SLOW_SOUND) * walked.product(_times(compiled, step))

    return compiled.kept(("keeps-time", step.driven_by), make)


def alike_in_time(compiled: Compiled) -> Alike:
    """The hypotheses that let every step of every motion keep its time alike. Made once per system."""
    steps = [step for motion in compiled.system.motions.values() for step in motion.steps]
    return compiled.kept("alike-in-time", lambda: alike(compiled, [Look(_times(compiled, step)) for step in steps]))


def _times(compiled: Compiled, step: Step) -> list[tuple[str, Floats]]:
    return [(code, site_table(compiled, code, effects.keeps_time)) for code in needed(compiled, step)]


def needed(compiled: Compiled, step: Step) -> list[str]:
    """Positions that must work for a step to move: its drives, the module, the supply."""
    everywhere = [code for code, p in compiled.system.positions.items() if p.kind in ("module", "supply")]
    return [*dict.fromkeys([*step.driven_by, *everywhere])]


def site_table(compiled: Compiled, code: str, chance: Callable[[str, effects.Modes], float]) -> Floats:
    kind, site = compiled.system.positions[code].kind, compiled.sites[code]
    return compiled.kept((chance.__name__, code), lambda: site.table(lambda modes: chance(kind, modes)))


_EFFECTS = (effects.moves, effects.leaves_its_place, effects.heard)
"""All that a drive's faults do to where a motion stops: what is not here, evidence of it may not ask for."""


def told_weights(motion: Motion, stops_at: str | None, lamp: str | None, *, layman: bool) -> Floats:
    """(S + 2,) chance that a trial (or a customer) tells this stop and lamp, given each true outcome.

    A trial names the step of the true outcome, or by a slip any other. A customer mixes up neighbours.
    """
    names = [step.name for step in motion.steps]
    told = len(names) if stops_at is None else names.index(stops_at)
    weights = np.array([_told(told, _visible(true), len(names), layman) for true in range(len(names) + 2)])
    if lamp is not None and stops_at is not None:
        right = observe.LAMP_COMPLAINT if layman else observe.LAMP_TRIAL
        shown = ["off", *(step.lamp for step in motion.steps), "off"]
        weights *= np.array([right if lamp == true else (1.0 - right) / 2 for true in shown])
    return weights


def _visible(outcome: int) -> int:
    """What a person sees of an outcome: the step at which it stands still; S where it ran."""
    return max(outcome - 1, 0)


def _told(told: int, true: int, steps: int, layman: bool) -> float:
    if not layman:
        return (1.0 - observe.TRIAL_SLIP) * (told == true) + observe.TRIAL_SLIP / (steps + 1)
    if true == steps:
        return observe.COMPLAINT_NOTHING / steps
    chances = np.full(steps, (1.0 - observe.COMPLAINT_RIGHT - 2 * observe.COMPLAINT_NEIGHBOUR) / steps)
    chances[true] += observe.COMPLAINT_RIGHT
    # A neighbour that does not exist leaves its share to the step itself.
    for neighbour in (true - 1, true + 1):
        chances[neighbour if 0 <= neighbour < steps else true] += observe.COMPLAINT_NEIGHBOUR
    return float(chances[told])
