"""What keeps a job from being called done. The apps above register their reasons: the base app imports none of them."""

from collections.abc import Callable

from shop.models import Job

Gate = Callable[[Job], list[str]]
_gates: list[Gate] = []


def register(gate: Gate) -> None:
    if gate not in _gates:
        _gates.append(gate)


def reasons_not_done(job: Job) -> list[str]:
    """Sentences, one a reason; empty when nothing stands against it."""
    return [reason for gate in _gates for reason in gate(job)]
