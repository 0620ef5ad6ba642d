"""What was learned, made up: models with months and curves, and a production range, as rows of the database."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from django.utils import timezone

from diagnostics.learning.records import Curve, MonthTally, PartModel, Population, Range, Tally, first_day
from diagnostics.learning.stored import to_json
from diagnostics.models import FailureModel, Learning, ProductionRange
from tests.diagnostics.learner import found_range, part_model

START = 2001 * 12
"""January 2001, the first month of the made-up cars."""


def a_curve(label: str, scale: float) -> Curve:
    age = np.arange(0, 20.5, 0.5)
    share = 1 - np.exp(-((age / scale) ** 1.6))
    return Curve(
        label=label,
        age=tuple(map(float, age)),
        share=tuple(map(float, share)),
        low=tuple(map(float, 0.7 * share)),
        high=tuple(map(float, np.minimum(1.3 * share, 1.0))),
        nonparametric=tuple(float(one) if i % 4 == 0 else None for i, one in enumerate(share)),
        at_risk=tuple(int(80 - 3 * one) for one in age),
    )


def some_months(positions: Sequence[str], *, months: int = 36, failed_every: int = 5) -> tuple[MonthTally, ...]:
    """Three units a month and position; one failed in each month whose number is a multiple of `failed_every`."""
    return tuple(
        MonthTally(START + month, position, 3, int(month % failed_every == 0), 0.25)
        for month in range(months)
        for position in positions
    )


def a_model(
    *, part: str = "TW-BGA-3014", positions: Sequence[str] = ("BG1", "BG2"), mode: str = "stays-made",
    ranges: Sequence[Range] = (), months: tuple[MonthTally, ...] | None = None, original: bool = True,
) -> PartModel:  # fmt: skip
    model = part_model(part=part, mode=mode, ranges=tuple(ranges))
    months = some_months(positions) if months is None else months
    labels = ("inside", "outside") if ranges else ("all",)
    return replace(
        model,
        population=Population("rht-trio", part, "", original, mode, tuple(positions)),
        months=months,
        tally=Tally(36, sum(one.units for one in months), sum(one.failed for one in months)),
        curves=tuple(a_curve(label, 12.0 + 20.0 * at) for at, label in enumerate(labels)),
    )


def keep(models: Sequence[PartModel]) -> Learning:
    """The models as one learning; a range of theirs that was found and not decided as a proposal."""
    learning = Learning.objects.create(
        learned_at=timezone.now(), fingerprint="a" * 64, seed=7, cars=36, units=108, sheets=40, checks=400
    )
    for model in models:
        one, document = model.population, to_json(model)
        FailureModel.objects.create(
            learning=learning, system=one.system, part=one.part, revision=one.revision, original=one.original,
            mode=one.mode, units=model.tally.units, failed=model.tally.failed,
            range_probability=model.range_probability, fingerprint=model.fingerprint, document=document,
        )  # fmt: skip
        for at, found in enumerate(model.ranges):
            if found.found:
                ProductionRange.objects.create(
                    system=one.system, part=one.part, positions=list(one.positions), mode=one.mode,
                    first=first_day(found.first), last=first_day(found.last), probability=found.probability,
                    found_at=learning.learned_at, learning=learning, document={"model": document, "range": at},
                )  # fmt: skip
    return learning


def keep_one_range() -> ProductionRange:
    """A shop in which one range was found: 2001 and 2002, of the header latch switches that stay made."""
    keep([a_model(ranges=[found_range(START, START + 23)]), a_model(mode="open", months=some_months(("BG1",)))])
    return ProductionRange.objects.get()
