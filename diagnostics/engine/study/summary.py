"""What came of many cars: shares and medians, each way beside the others."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from statistics import median
from typing import Any

from diagnostics.engine.study.cars import Car, SimulatedCar
from diagnostics.engine.study.follow import Followed, Listed, follow
from diagnostics.engine.study.lists import bench_list, specialist
from diagnostics.engine.system.model import TopSystem

WAYS: Mapping[str, tuple[Listed | None, int]] = {
    "suggested": (None, 3),
    "specialist": (specialist, 2),
    "bench_list": (bench_list, 2),
}
"""Each way with its list and the largest set of faults in the inference that says when to stop: three as in the program
for the suggestions, two for the lists, which take many more entries (an entry with sets of two takes a tenth)."""
BINS = ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0))


@dataclass(frozen=True, slots=True)
class Summary:
    """Shares of cars, but `fault_first` and `repair_right`: of the times that a fault was found. `wasted`: repairs that
    mended nothing, a car. Minutes and checks are medians over all cars, those given up with a full day; `searching`
    without repairs and their proof."""

    cars: int
    found: float
    fault_first: float
    repair_right: float
    wasted: float
    ran: float
    sound: float
    minutes: float
    searching: float
    checks: float


def summary_of(ends: Sequence[Followed]) -> Summary:
    n, firsts = len(ends), [first for end in ends for first in end.firsts]
    return Summary(
        cars=n,
        found=sum(bool(end.firsts) for end in ends) / n,
        fault_first=sum(fault for fault, _repair in firsts) / max(len(firsts), 1),
        repair_right=sum(repair for _fault, repair in firsts) / max(len(firsts), 1),
        wasted=sum(end.wasted for end in ends) / n,
        ran=sum(end.ran for end in ends) / n,
        sound=sum(end.sound for end in ends) / n,
        minutes=median(end.minutes for end in ends),
        searching=median(end.searching for end in ends),
        checks=median(end.checks for end in ends),
    )


def followed(system: TopSystem, way: str, car: Car) -> Followed:
    listed, max_faults = WAYS[way]
    return follow(SimulatedCar(system, *car), listed, max_faults)


def study(system: TopSystem, cars: Sequence[Car], mapped: Callable[..., Any] = map) -> dict[str, Any]:
    """Every way on the same cars: summaries, the ratios of the medians, and how the suggested way's chances came true.

    `mapped`: how to go over the cars, such as the map of a pool of processes.
    """
    ends = {way: list(mapped(partial(followed, system, way), cars)) for way in WAYS}
    return {"ways": {way: summary_of(found) for way, found in ends.items()}, **compare(ends)}


def compare(ends: Mapping[str, Sequence[Followed]]) -> dict[str, Any]:
    ours, *others = (summary_of(found) for found in ends.values())
    names = list(ends)[1:]
    return {
        "minutes_ratio": {name: ours.minutes / other.minutes for name, other in zip(names, others, strict=True)},
        "searching_ratio": {name: ours.searching / other.searching for name, other in zip(names, others, strict=True)},
        "calibration": calibration([pair for end in next(iter(ends.values())) for pair in end.said.values()]),
    }


def calibration(pairs: Sequence[tuple[float, bool]]) -> list[dict[str, Any]]:
    rows = []
    for low, high in BINS:
        inside = [true for share, true in pairs if low <= share < high or (high == 1.0 and share >= 1.0)]
        rows.append({"from": low, "to": high, "suspects": len(inside), "true": sum(inside)})
    return rows
