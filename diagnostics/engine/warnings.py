"""What a person must know before trusting the suspects: entries that do not count, that contradict, or that nobody
expected."""

from collections.abc import Iterator, Sequence

import numpy as np

from diagnostics.engine.case import Case, PinByHand, PinReading
from diagnostics.engine.compiled import Compiled
from diagnostics.engine.electrics import CHARGE_FIRST_V
from diagnostics.engine.evidence import COMPLAINT
from diagnostics.engine.motion import pose_of
from diagnostics.engine.reasons import Epoch, without_each, words_of
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.words import _

UNLIKELY_LOG = float(np.log(1e-12))
MOST_CONFLICTS = 20


def warnings_of(
    model: Compiled, case: Case, judgements: Sequence[Judgement], epochs: Sequence[Epoch], log_evidence: float
) -> tuple[str, ...]:
    return (
        *_refused(judgements),
        *_supply(model, case, judgements),
        *_conflicts(model, case, judgements),
        *_unlikely(model, case, judgements, epochs, log_evidence),
    )


def _refused(judgements: Sequence[Judgement]) -> Iterator[str]:
    for number, judgement in enumerate(judgements, start=1):
        if judgement.verdict == REFUSED:
            yield _("Entry {number} does not count. {why}").format(number=number, why=judgement.words)


def _supply(model: Compiled, case: Case, judgements: Sequence[Judgement]) -> Iterator[str]:
    low = [
        observation.supply_volts
        for observation, judgement in zip(case.observations, judgements, strict=True)
        if isinstance(observation, PinReading | PinByHand)
        and judgement.verdict != REFUSED
        and observation.supply_volts is not None
        and observation.supply_volts < CHARGE_FIRST_V * model.system.supply_v / 12.0
    ]
    if low:
        words = _("The supply was down to {volts:.2f} V: charge first. States are still judged by their share of it.")
        yield words.format(volts=min(low))


def _conflicts(model: Compiled, case: Case, judgements: Sequence[Judgement]) -> Iterator[str]:
    """Same pin, same pose, nothing done between, another state."""
    first: dict[object, int] = {}
    told = 0
    for entry, (observation, judgement) in enumerate(zip(case.observations, judgements, strict=True)):
        if not isinstance(observation, PinReading) or judgement.verdict == REFUSED:
            continue
        pose = tuple(sorted(pose_of(model.system, observation.pose).items()))
        earlier = first.setdefault((observation.position, pose, observation.after_work), entry)
        if judgements[earlier].reads != judgement.reads and told < MOST_CONFLICTS:
            told += 1
            words = _(
                "Entries {first} and {second} contradict each other: {position} read {one}, then {other} in the same "
                "pose. Read it again; it may come and go."
            )
            yield words.format(
                first=earlier + 1,
                second=entry + 1,
                position=observation.position,
                one=judgements[earlier].reads,
                other=judgement.reads,
            )


def _unlikely(
    model: Compiled, case: Case, judgements: Sequence[Judgement], epochs: Sequence[Epoch], log_evidence: float
) -> Iterator[str]:
    if log_evidence >= UNLIKELY_LOG:
        return
    scored = [(chance, factor.entry) for epoch in epochs for factor, chance, _ratios in without_each(model, epoch)]
    _chance, entry = min(scored)
    what = words_of(model, case, judgements, entry)
    where = _("the complaint") if entry == COMPLAINT else _("entry {number}").format(number=entry + 1)
    words = _(
        "All entries together are less likely than one in a million million. The most surprising is {where}: {what}"
    )
    yield words.format(where=where, what=what)
