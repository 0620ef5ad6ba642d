"""What a person must know before trusting the suspects: entries that do not count, and a supply that is down. Entries
that contradict each other are in `conflicts.py`, those that nobody expected in `surprise.py`."""

from collections.abc import Iterator, Sequence

from diagnostics.engine.case import Case, PinByHand, PinReading
from diagnostics.engine.compiled import Compiled
from diagnostics.engine.electrics import CHARGE_FIRST_V
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.words import _


def warnings_of(model: Compiled, case: Case, judgements: Sequence[Judgement], unweighed: float) -> tuple[str, ...]:
    return (*_refused(judgements), *_supply(model, case, judgements), *_unweighed(model, unweighed))


def _unweighed(model: Compiled, unweighed: float) -> Iterator[str]:
    if unweighed:
        words = _(
            "This system has too many faults to weigh every set of {most}: sets of up to {size} were weighed. The "
            "others can have at most {share:.1%} of the whole weight."
        )
        yield words.format(most=model.most, size=model.sets.k, share=unweighed)


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
