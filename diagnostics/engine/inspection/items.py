"""What an item of the plan is: what it wants to see, how much depends on it, and what can be found there."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from diagnostics.engine.system.inspection import Area
from diagnostics.engine.system.model import Caution
from diagnostics.engine.words import _, marked

Measured = Literal["sensor", "motion", "hold", "battery", "supply"]
Weight = Literal["critical", "major", "minor"]
SkipBy = Literal["technician", "owner"]


@dataclass(frozen=True, slots=True)
class Grade:
    """What can be found at an item that a person judges. `weight` None: nothing is wrong; else `rule` says why it has
    that weight."""

    code: str
    words: str
    weight: Weight | None = None
    rule: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure that belongs to the answer; `needed`: of an answer that finds nothing wrong, and at least `least`."""

    title: str
    unit: str
    least: float
    most: float
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Item:
    """An item of the plan. `wants`: the evidence, in words.

    `measured`: the bench sheet answers it, for `subject` (a position or a motion; `times`: so many trials); else a
    person judges it by one of its `grades`. `weighty`: no statement of conformity is made without it. `picture`: a
    finding wants one.
    """

    key: str
    area: Area
    title: str
    wants: str
    weighty: bool
    cautions: tuple[Caution, ...] = ()
    measured: Measured | None = None
    subject: str = ""
    times: int = 1
    grades: tuple[Grade, ...] = ()
    quantity: Quantity | None = None
    picture: bool = False

    @property
    def skip_by(self) -> SkipBy:
        """Who may leave it out, with a reason: what a statement hangs on, the owner alone."""
        return "owner" if self.weighty else "technician"

    def grade(self, code: str) -> Grade | None:
        return next((one for one in self.grades if one.code == code), None)


RULES: Final[Mapping[str, str]] = {
    "latch": marked("A latch that does not hold, or lets go by itself, is a critical finding."),
    "latch-stiff": marked("A latch that engages unevenly or with force is a minor finding."),
    "fluid": marked("Fluid that drops from a part under pressure is a critical finding: do not operate the top."),
    "film": marked("A film of fluid without a drop is a minor finding."),
    "water": marked("Water that comes in during the water test is a major finding."),
    "damp": marked("A seal that gets damp inside and lets no water run in is a minor finding."),
    "play": marked("Play that is heard, or a bent or loose arm of the linkage, is a major finding."),
    "play-felt": marked("Play that is felt and not heard is a minor finding."),
    "cover": marked("Cloth, cover or trim that is torn, loose, or catches in a motion is a major finding."),
    "worn": marked("Cloth, cover or trim that is worn and does its work is a minor finding."),
    "gaps": marked("Panels that touch or stand out are a major finding."),
    "gaps-uneven": marked("Gaps that are uneven, without contact, are a minor finding."),
    "emergency": marked("A top that cannot be closed without its drive is a major finding."),
    "emergency-hard": marked(
        "A top that closes without its drive only with force or a tool of the shop is a minor finding."
    ),
    "module": marked("Water, corrosion or a loose plug at the control module is a major finding."),
    "module-traces": marked("Old, dry traces at the control module are a minor finding."),
    "wet": marked("Standing water, or wet lining, is a major finding."),
    "traces": marked("Dry traces of earlier water are a minor finding."),
    "repair-unsafe": marked("An earlier repair on which safety depends and that does not hold is a major finding."),
    "repair-poor": marked("An earlier repair that was not done properly is a minor finding."),
    "extra": marked("What keeps this item from doing its work is a major finding."),
    "extra-worn": marked("What does not keep this item from doing its work is a minor finding."),
}
"""The weights are the shop's own: common practice, no source."""


def wrong(code: str, words: str, weight: Weight, rule: str) -> Grade:
    return Grade(code, words, weight, _(RULES[rule]))
