"""What plain statistics say of the ranges that are shown, beside the model that found them."""

from collections.abc import Hashable, Iterable, Sequence
from typing import NamedTuple

from diagnostics.learning.plain import adjusted, searched
from diagnostics.learning.records import LogRank, PartModel
from diagnostics.models import FailureModel
from diagnostics.selectors.ranges import FoundHere


class RangeTest(NamedTuple):
    """`log_rank`: inside against outside; `p_adjusted`: its p among those of all `searched`: every original part and
    mode that was searched for ranges, those that tell none with p = 1."""

    log_rank: LogRank
    p_adjusted: float
    searched: int


def log_ranks_of(found: Iterable[FoundHere]) -> dict[int, RangeTest]:
    """By key of the range; those that were found before there was such a test are left out. One query.

    A range stands among what is learned today as it was found itself: its model of then in the place of the one of now.
    """
    shown = [one for one in found if one.range.log_rank is not None]
    now = _searched_now() if shown else {}
    told = {}
    for one in shown:
        families = adjusted({**now, _key(one.model): searched(one.model)})
        p = families[_key(one.model)][one.model.ranges.index(one.range)]
        assert one.range.log_rank is not None  # noqa: S101 - for the type checker
        told[one.row.pk] = RangeTest(one.range.log_rank, p, sum(map(len, families.values())))
    return told


def _key(model: PartModel) -> Hashable:
    one = model.population
    return one.system, one.part, one.revision, one.original, one.mode


def _searched_now() -> dict[Hashable, Sequence[float]]:
    """As plain.searched says it of each model that stands, without reading the models."""
    rows = FailureModel.objects.order_by().values_list(
        "system", "part", "revision", "original", "mode", "document__log_bayes", "document__ranges"
    )
    return {
        tuple(key): [_p(one) for one in ranges] or ([] if log_bayes == "-inf" else [1.0])
        for *key, log_bayes, ranges in rows
    }


def _p(found: dict[str, dict[str, float] | None]) -> float:
    test = found.get("log_rank")
    return test["p"] if test else 1.0
