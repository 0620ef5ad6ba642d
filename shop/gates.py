"""What keeps a job from being called done, and what follows once it is. The apps above register both: the base app
imports none of them."""

from collections.abc import Callable

from shop.models import Job, User

Gate = Callable[[Job], list[str]]
Follow = Callable[[Job, User], None]
_gates: list[Gate] = []
_follows: list[Follow] = []


def register(gate: Gate) -> None:
    if gate not in _gates:
        _gates.append(gate)


def follow(act: Follow) -> None:
    """`act` runs in the transaction in which a job, which is locked, is called done."""
    if act not in _follows:
        _follows.append(act)


def is_done(job: Job, by: User) -> None:
    for act in _follows:
        act(job, by)


def reasons_not_done(job: Job) -> list[str]:
    """Sentences, one a reason; empty when nothing stands against it."""
    return [reason for gate in _gates for reason in gate(job)]
