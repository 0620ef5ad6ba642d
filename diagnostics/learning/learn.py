"""Learning as a whole: every part's populations and modes, the control of false findings over all of them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np

from diagnostics.learning.climates import climate_effects
from diagnostics.learning.columns import Observations
from diagnostics.learning.curves import curves_of
from diagnostics.learning.design import design, fit_with
from diagnostics.learning.plain import inside_against_outside
from diagnostics.learning.priors import GENERIC, later_prior
from diagnostics.learning.ranges import FoundRanges, control, find_ranges, settle
from diagnostics.learning.records import (
    SEED,
    Decision,
    Floats,
    Learned,
    MonthTally,
    PartModel,
    Population,
    Prior,
    Skipped,
    Spells,
    Tally,
    WeibullFit,
)
from diagnostics.learning.spells import Group, groups_of, modes_of, spells_of
from diagnostics.learning.weibull import cumulative_hazard

METHOD = 3
"""Raised when the method changes what it says of the same data: models are then made anew."""
_MONTHS = 100_000
Progress = Callable[[int, int, str], None]
"""done, total, what comes now ('': all parts are done, and what was found in them is weighed together); may raise to
call the learning off."""
Priors = Mapping[tuple[str, str, str], Prior]
"""(system, position, mode) -> prior; GENERIC where there is none."""


def learn(
    observations: Observations,
    *,
    decisions: Iterable[Decision] = (),
    priors: Priors | None = None,
    known: Iterable[PartModel] = (),
    others: Iterable[PartModel] = (),
    progress: Progress | None = None,
    skipped: Sequence[Skipped] = (),
) -> Learned:
    """All that the observations tell. The same data give the same answer, in whatever order they come.

    `known`: models as they stand; one whose data and decisions are still the same is taken over and not made anew.
    `others`: models that stand for parts which the observations leave out; the control of false findings counts them.
    """
    groups = list(groups_of(observations))
    decided = tuple(sorted(decisions, key=repr))
    standing = {_key(model.population): model for model in known}
    drafts: list[_Draft] = []
    for number, group in enumerate(groups):
        if progress is not None:
            progress(number, len(groups), f"{group.system} {group.part}")
        drafts += _of_group(group, decided, priors or {}, standing)
    if progress is not None:
        progress(len(groups), len(groups), "")
    models = _controlled(drafts, list(others))
    digest = sha256("\n".join(sorted(model.fingerprint for model in models)).encode())
    return Learned(
        models=tuple(sorted(models, key=lambda model: _key(model.population))),
        skipped=tuple(skipped),
        fingerprint=digest.hexdigest(),
        cars=len(np.unique(observations.car)),
        units=len(np.unique(observations.unit)),
        checks=int(observations.checks.sum()),
        seed=SEED,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Draft:
    """A model before the control; `model` set: taken over as it stands."""

    spells: Spells
    prior: Prior
    found: FoundRanges
    checks: int
    fingerprint: str
    model: PartModel | None = None


def _of_group(
    group: Group, decisions: Sequence[Decision], priors: Priors, standing: Mapping[tuple[object, ...], PartModel]
) -> list[_Draft]:
    drafts: list[_Draft] = []
    checks = int(group.rows.checks.sum())
    for mode in modes_of(group) or ("",):
        prior = priors.get((group.system, group.positions[0], mode), GENERIC)
        mine = tuple(d for d in decisions if (d.system, d.part, d.mode) == (group.system, group.part, mode))
        originals: FoundRanges | None = None
        for spells in spells_of(group, mode):
            original = spells.population.original
            before = prior if original or originals is None else later_prior(originals.fit)
            mark = _fingerprint(spells, before, mine if original else ())
            stands = standing.get(_key(spells.population))
            if stands is not None and stands.fingerprint == mark:
                found = _as_found(stands)
                drafts.append(_Draft(spells, before, found, checks, mark, stands))
            else:
                found = _search(spells, before, mine) if original else _alone(spells, before)
                drafts.append(_Draft(spells, before, found, checks, mark))
            originals = found if original else originals
    return drafts


def _search(spells: Spells, prior: Prior, decisions: Sequence[Decision]) -> FoundRanges:
    if not decisions and not spells.has_failed.any():
        return _alone(spells, prior)  # nothing failed: nothing fails more often
    found = find_ranges(
        spells,
        prior,
        confirmed=[(one.first, one.last) for one in decisions if one.state == "confirmed"],
        dismissed=[(one.first, one.last) for one in decisions if one.state == "dismissed"],
    )
    tests = [inside_against_outside(spells, (one.first, one.last)) for one in found.ranges]
    ranges = (replace(one, log_rank=test) for one, test in zip(found.ranges, tests, strict=True))
    return replace(found, ranges=tuple(ranges))


def _alone(spells: Spells, prior: Prior) -> FoundRanges:
    """Without a search for ranges: later units have no production months of their own."""
    fit = fit_with(spells, prior, ())
    return FoundRanges(fit, (), climate_effects(fit, prior), float("-inf"), 0.0)


def _as_found(model: PartModel) -> FoundRanges:
    return FoundRanges(model.fit, model.ranges, model.climates, model.log_bayes, model.range_probability)


def _controlled(drafts: Sequence[_Draft], others: Sequence[PartModel]) -> list[PartModel]:
    """Which ranges count as found, over everything that was searched, and the models with those."""
    proposed = [one for draft in drafts for one in draft.found.ranges if one.state == "proposed"]
    elsewhere = [one.probability for model in others for one in model.ranges if one.state == "proposed"]
    kept = control([*(one.probability for one in proposed), *elsewhere])
    verdicts = iter(kept[: len(proposed)])
    models = []
    for draft in drafts:
        verdict = [bool(next(verdicts)) if one.state == "proposed" else one.found for one in draft.found.ranges]
        same = verdict == [one.found for one in draft.found.ranges]
        if draft.model is not None and same:
            models.append(draft.model)
            continue
        found = draft.found if same else settle(draft.spells, draft.prior, draft.found, verdict)
        models.append(_model(replace(draft, found=found)))
    return models


def _model(draft: _Draft) -> PartModel:
    spells, found = draft.spells, draft.found
    return PartModel(
        population=spells.population,
        fit=found.fit,
        tally=Tally(
            cars=len(np.unique(spells.car)),
            units=round(float(spells.count.sum())),
            failed=round(float(spells.count[spells.has_failed].sum())),
        ),
        checks=draft.checks,
        range_probability=found.probability,
        log_bayes=found.log_bayes,
        ranges=found.ranges,
        climates=found.climates,
        curves=curves_of(spells, found.fit, found.used),
        months=_months(spells, fit_with(spells, draft.prior, ()) if found.used else found.fit),
        fingerprint=draft.fingerprint,
    )


def _months(spells: Spells, fit: WeibullFit) -> tuple[MonthTally, ...]:
    """By place and production month (cars of a known year stand in its January): the failures seen, and those that the
    model without a range expects while the units were watched."""
    _names, columns = design(spells, ())
    until = np.where(
        spells.has_failed, (spells.good + np.where(spells.has_failed, spells.failed, 0.0)) / 2, spells.good
    )
    watched = _hazard(fit, until) - _hazard(fit, spells.entry)
    expected = spells.count * np.exp(columns @ fit.estimate[2:]) * watched
    cells, which = np.unique(spells.position * _MONTHS + spells.month, return_inverse=True)
    units, failed, hoped = (
        np.bincount(which, one) for one in (spells.count, spells.count * spells.has_failed, expected)
    )
    return tuple(
        MonthTally(
            month=int(month),
            position=spells.population.positions[int(position)],
            units=round(float(units[number])),
            failed=round(float(failed[number])),
            expected=float(hoped[number]),
        )
        for number, (position, month) in enumerate(zip(*np.divmod(cells, _MONTHS), strict=True))
    )


def _hazard(fit: WeibullFit, ages: Floats) -> Floats:
    return cumulative_hazard(ages, float(fit.estimate[0]), float(fit.estimate[1]))


def _key(population: Population) -> tuple[object, ...]:
    return (population.system, population.part, population.revision, not population.original, population.mode)


def _fingerprint(spells: Spells, prior: Prior, decisions: Sequence[Decision]) -> str:
    """Of the lives (spells come in an order of their own), of what was believed before, and of the decisions."""
    table = np.column_stack(
        [spells.entry, spells.good, spells.failed, spells.month, spells.year_only, spells.climate, spells.position]
    ).astype(float)
    digest = sha256(repr((METHOD, SEED, _key(spells.population), spells.population.positions, prior)).encode())
    digest.update(repr([(one.first, one.last, one.state) for one in decisions]).encode())
    digest.update(np.ascontiguousarray(table).tobytes())
    return digest.hexdigest()
