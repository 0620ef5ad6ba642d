"""A network of tasks: cycles, order, earliest and latest times, slack, critical path (critical path method)."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

Before = Mapping[int, Collection[int]]
"""Task -> the tasks that must have ended before it begins; every task is a key."""


@dataclass(frozen=True, slots=True)
class Times:
    """Of one task, in minutes from the start of the network."""

    earliest_start: float
    earliest_finish: float
    latest_start: float
    latest_finish: float

    @property
    def slack(self) -> float:
        """Minutes that it can be late without making the whole later."""
        return self.latest_start - self.earliest_start


class CycleError(ValueError):
    """Tasks that wait for one another: `cycle` names them in the order of work from the first
    key on, which stands at the end once more."""

    def __init__(self, cycle: tuple[int, ...]) -> None:
        super().__init__(" → ".join(str(task) for task in cycle))
        self.cycle = cycle


def in_order(before: Before) -> tuple[int, ...]:
    """The tasks so that each comes after those it waits for, else in the order of the keys.

    Raises CycleError, or KeyError for a task that is waited for and is no key.
    """
    done: dict[int, None] = {}
    for task in before:
        _visit(task, before, done)
    return tuple(done)


def _visit(first: int, before: Before, done: dict[int, None]) -> None:
    """Depth first with a stack of our own: a long chain of tasks is no reason to fail."""
    path: list[int] = [first]
    while path:
        task = path[-1]
        waiting = next((other for other in before[task] if other not in done), None)
        if task in done:
            path.pop()
        elif waiting is None:
            done[path.pop()] = None
        elif waiting in path:
            ring = list(reversed(path[path.index(waiting) :]))
            at = ring.index(next(key for key in before if key in ring))
            raise CycleError((*ring[at:], *ring[: at + 1]))
        else:
            path.append(waiting)


def schedule(minutes: Mapping[int, float], before: Before) -> dict[int, Times]:
    """Times of every task where nothing but their order counts (no people, no bays); raises CycleError."""
    order = in_order(before)
    start: dict[int, float] = {}
    for task in order:
        start[task] = max((start[other] + minutes[other] for other in before[task]), default=0.0)
    end = max((start[task] + minutes[task] for task in order), default=0.0)
    latest = dict.fromkeys(order, end)
    for task in reversed(order):
        for other in before[task]:
            latest[other] = min(latest[other], latest[task] - minutes[task])
    return {
        task: Times(start[task], start[task] + minutes[task], latest[task] - minutes[task], latest[task])
        for task in order
    }
