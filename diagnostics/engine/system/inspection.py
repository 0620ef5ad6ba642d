"""What a system file may say of the inspection before a purchase: where it differs from what every top is asked."""

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from diagnostics.engine.system.base import Frozen, Name, Slug

Area = Literal["electrical", "motion", "hydraulics", "seals", "mechanism", "whole"]
Sentence = Annotated[str, StringConstraints(min_length=1, max_length=300)]


class ExtraItem(Frozen):
    """An item of this system alone. `wants`: the evidence that it takes; `weighty`: without it nothing is stated."""

    area: Area
    title: Name
    wants: Sentence
    weighty: bool = False


class InspectionRules(Frozen):
    """`trials` of each whole motion with times, `water_minutes` of the water test; `without`: item -> why this top does
    not have it; `extra`: items by name."""

    trials: int = Field(default=3, ge=1, le=10)
    water_minutes: float = Field(default=10, ge=1, le=120)
    without: dict[Slug, Sentence] = Field(default_factory=dict, max_length=20)
    extra: dict[Slug, ExtraItem] = Field(default_factory=dict, max_length=20)
