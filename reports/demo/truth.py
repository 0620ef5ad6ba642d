"""What is true of the invented cars: hazards, bad production ranges, climates. Read from fixtures/demo/truth.yaml."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field

from diagnostics.engine.system.model import Kind

Climate = Literal["hot", "temperate", "cold"]


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Fleet(Frozen):
    """Cars of one system: how many, and their production months, counted back from the month of loading."""

    count: int = Field(ge=1)
    first_months_ago: int = Field(ge=1)
    last_months_ago: int = Field(ge=1)


class Hazard(Frozen):
    """Weibull hazard of a mode at every position of the given kinds; with `system` only at its `positions`."""

    kinds: tuple[Kind, ...]
    system: str | None = None
    positions: tuple[str, ...] = ()
    mode: str
    shape: float = Field(gt=0)
    scale_years: float = Field(gt=0)


class BadRange(Frozen):
    """Cars made in these months have original units that fail `hazard_ratio` times as often."""

    system: str
    positions: tuple[str, ...]
    modes: tuple[str, ...]
    from_months_ago: int
    until_months_ago: int
    hazard_ratio: float = Field(gt=0)


class ClimateEffect(Frozen):
    kinds: tuple[Kind, ...]
    mode: str
    climate: Climate
    hazard_ratio: float = Field(gt=0)


class Succession(Frozen):
    """The part that replaced another, and since when the shop fits it."""

    old: str
    new: str
    revision: str
    since_months_ago: int


class HalfWay(Frozen):
    """The car of the demo that is half way through its diagnosis: its true faults, complaint, and readings so far."""

    system: str
    faults: tuple[tuple[str, str], ...]
    made_months_ago: int
    climate: Climate
    motion: Literal["open", "close"]
    words: str
    readings: tuple[str, ...]


class Truth(Frozen):
    seed: int
    records_years: float = Field(gt=0)
    cars: Mapping[str, Fleet]
    climates: Mapping[Climate, float]
    days_to_visit: float = Field(gt=0)
    months_between_visits: tuple[float, float]
    hazards: tuple[Hazard, ...]
    ranges: tuple[BadRange, ...]
    climate_effects: tuple[ClimateEffect, ...]
    successions: tuple[Succession, ...]
    half_way: HalfWay

    def hazard_of(self, *, system: str, position: str, kind: str, mode: str) -> Hazard | None:
        """The hazard of a mode at a position: the one that names the position before the one for all of its kind."""
        fitting = [one for one in self.hazards if kind in one.kinds and one.mode == mode]
        named = [one for one in fitting if one.system == system and position in one.positions]
        return next(iter(named or [one for one in fitting if one.system is None]), None)

    def ratio(
        self, *, system: str, position: str, kind: str, mode: str, months_ago: int, climate: str, original: bool
    ) -> float:
        """The product of all hazard ratios that apply to a unit. `months_ago`: the car's production month, counted
        back."""
        ranges = (
            one.hazard_ratio
            for one in self.ranges
            if original
            and one.system == system
            and position in one.positions
            and mode in one.modes
            and one.until_months_ago <= months_ago <= one.from_months_ago
        )
        climates = (
            one.hazard_ratio
            for one in self.climate_effects
            if kind in one.kinds and one.mode == mode and one.climate == climate
        )
        return math.prod([*ranges, *climates])

    def successor(self, part: str, months_ago: float) -> tuple[str, str] | None:
        """Number and revision of what the shop fits instead of `part`, that many months before the load; None:
        itself."""
        for one in self.successions:
            if one.old == part and months_ago <= one.since_months_ago:
                return one.new, one.revision
        return None


def read_truth(path: Path) -> Truth:
    """The truth in a YAML file; raises pydantic.ValidationError where the file says something else."""
    return Truth.model_validate(yaml.safe_load(path.read_text(encoding="utf-8")))
