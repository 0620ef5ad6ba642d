"""Plans that are used again and again: read from a file, each mistake said with its place."""

from functools import lru_cache
from pathlib import Path
from typing import Annotated, Self

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from shop.planning.network import CycleError, in_order

Words = Annotated[str, Field(min_length=1, max_length=140)]
Key = Annotated[str, Field(min_length=1, max_length=39)]
Minutes = Annotated[int, Field(ge=0, le=60_000)]


class TemplateError(ValueError):
    """One sentence: file, place in it, what was expected."""


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class TaskTemplate(_Strict):
    """`minutes`: least, likely, most of one person's work; or `outside_days`, calendar days at another's. `key` never
    changes: the shop's record of this kind of work hangs on it."""

    key: Key
    title: Words
    minutes: list[Minutes] = Field(default_factory=list, min_length=0, max_length=3)
    outside_days: Annotated[int, Field(ge=0, le=365)] | None = None
    after: list[str] = Field(default_factory=list)
    needs_bay: bool = True
    parts: list[str] = Field(default_factory=list)
    caution: str = Field(default="", max_length=240)

    @model_validator(mode="after")
    def _durations(self) -> Self:
        if (self.outside_days is None) == (not self.minutes):
            raise ValueError("expected minutes, or outside_days")
        if self.minutes and (len(self.minutes) != 3 or sorted(self.minutes) != self.minutes):
            raise ValueError("expected minutes as least, likely, most in this order")
        return self


class PlanTemplate(_Strict):
    slug: Key
    title: Words
    tasks: list[TaskTemplate] = Field(min_length=1)

    @model_validator(mode="after")
    def _order(self) -> Self:
        waits = {task.key: task.after for task in self.tasks}
        if len(waits) < len(self.tasks):
            raise ValueError("expected each key once")
        unknown = sorted({other for after in waits.values() for other in after} - set(waits))
        if unknown:
            raise ValueError(f"expected tasks of this plan in after, not {', '.join(unknown)}")
        number = {key: at for at, key in enumerate(waits)}
        try:
            in_order({number[key]: [number[other] for other in after] for key, after in waits.items()})
        except CycleError as error:
            names = list(waits)
            ring = " → ".join(names[at] for at in error.cycle)
            raise ValueError(f"these tasks wait for one another: {ring}") from error
        return self


class _File(_Strict):
    plans: list[PlanTemplate]


@lru_cache(maxsize=4)
def templates_of(path: Path) -> dict[str, PlanTemplate]:
    """Slug -> plan, in the order of the file; raises TemplateError."""
    try:
        plans = _File.model_validate(yaml.safe_load(path.read_text("utf-8"))).plans
    except yaml.YAMLError as error:
        raise TemplateError(f"{path.name}: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise TemplateError(f"{path.name}: {place}: {first['msg']}") from error
    return {plan.slug: plan for plan in plans}
