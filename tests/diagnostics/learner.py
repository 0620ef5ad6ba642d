"""A learner that is no statistics: what it says follows from the sightings and from what a test has it find. So tests
of running and keeping need no estimate."""

from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256

import numpy as np

from diagnostics.learning.records import (
    Estimate,
    PartModel,
    Population,
    Range,
    Tally,
    WeibullFit,
    WindowWeight,
)
from diagnostics.models import Sighting
from diagnostics.selectors.computed import Computed, Tell
from diagnostics.selectors.learning import Group, decisions_now


def found_range(first: int, last: int, probability: float = 0.97, *, found: bool = True) -> Range:
    return Range(
        first=first,
        last=last,
        first_set=(first, first + 1),
        last_set=(last - 1, last),
        open_first=False,
        open_last=False,
        probability=probability,
        ratio=Estimate(4.1, 2.6, 6.3),
        inside=Tally(20, 20, 9),
        outside=Tally(60, 60, 6),
        found=found,
        windows=(WindowWeight(first, last, 1.0),),
    )


def part_model(
    *,
    system: str = "rht-trio",
    part: str = "TW-BGA-3014",
    mode: str = "stays-made",
    units: int = 80,
    failed: int = 15,
    ranges: tuple[Range, ...] = (),
    fingerprint: str = "f" * 64,
) -> PartModel:
    used = [one for one in ranges if one.state == "confirmed" or (one.state == "proposed" and one.found)]
    ratios = [float(np.log(one.ratio.estimate)) for one in used]
    fit = WeibullFit(
        names=("log_scale", "log_shape", *(f"range:{number}" for number, _one in enumerate(used, start=1))),
        estimate=np.array([3.0, 0.5, *ratios]),
        covariance=np.eye(2 + len(used)) * 0.01,
        log_likelihood=-12.5,
        log_prior=-1.0,
        converged=True,
        units=float(units),
        failures=float(failed),
    )
    return PartModel(
        population=Population(system, part, "", True, mode, ("BG3", "BG4")),
        fit=fit,
        tally=Tally(units, units, failed),
        checks=units,
        range_probability=max((one.probability for one in ranges), default=0.0),
        log_bayes=1.0,
        ranges=ranges,
        climates=(),
        curves=(),
        months=(),
        fingerprint=fingerprint,
    )


@dataclass
class Learner:
    """Stands in for `compute`. `ranges`: what is found of a (system, part); `before`: called with the number of the
    call before it answers; `asked`: the groups that it was asked for."""

    ranges: dict[Group, tuple[Range, ...]] = field(default_factory=dict)
    before: Callable[[int], None] = lambda _call: None
    asked: list[frozenset[Group] | None] = field(default_factory=list)

    def __call__(self, groups: frozenset[Group] | None, tell: Tell) -> Computed:
        self.asked.append(groups)
        rows = Sighting.objects.order_by("system", "part", "car", "position", "on")
        here = sorted({(row.system, row.part) for row in rows})
        wanted = [one for one in here if groups is None or one in groups]
        self.before(len(self.asked))
        models = []
        for done, (system, part) in enumerate(wanted):
            tell(done, len(wanted), f"{part} of {system}")
            mine = [row for row in rows if (row.system, row.part) == (system, part)]
            models.append(self._model(system, part, mine))
        return Computed(tuple(models), groups, 7)

    def _model(self, system: str, part: str, rows: list[Sighting]) -> PartModel:
        decided = [one for one in decisions_now() if (one.system, one.part) == (system, part)]
        facts = [(row.car_id, row.position, row.on, row.good, row.failed) for row in rows]
        digest = sha256(repr((facts, decided)).encode()).hexdigest()
        months = {(one.first, one.last) for one in decided}
        return part_model(
            system=system,
            part=part,
            units=len({row.car_id for row in rows}),
            failed=sum(row.failed != "" for row in rows),
            ranges=tuple(one for one in self.ranges.get((system, part), ()) if (one.first, one.last) not in months),
            fingerprint=digest,
        )
