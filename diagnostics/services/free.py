"""Readings on a car whose top system nobody has declared: by connector and pin, kept for the day it is.

There is no declaration to judge them by, so a reading is noted with its share of the supply, or refused where it is
no evidence.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from diagnostics.engine.case import Volts
from diagnostics.engine.results import Judgement
from diagnostics.engine.words import _

METER_V = 0.2
"""How far a reading may stand above the supply read by the same meter before it is refused: two readings, each a
little off."""


class FreeReading(BaseModel):
    """`pose` in the words of the technician."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    check: Literal["pin"]
    connector: Annotated[str, StringConstraints(pattern=r"^[A-Z0-9]{1,5}$")]
    row: Annotated[str, StringConstraints(pattern=r"^[A-Z]?$")] = ""
    number: int = Field(ge=1, le=99)
    pose: Annotated[str, StringConstraints(max_length=80)] = ""
    volts: Volts
    supply_volts: Volts | None = None
    ignition: bool = True

    @property
    def label(self) -> str:
        return f"{self.connector}/{self.row}{self.number}"


def judge_free(reading: FreeReading) -> Judgement:
    if not reading.ignition:
        return Judgement(
            "refused",
            _("The ignition is off: the module is asleep and the reading says nothing. Switch it on and read again."),
        )
    if not reading.supply_volts or reading.supply_volts <= 0:
        return Judgement(
            "refused", _("Without the supply voltage at the module the reading says nothing. Measure the supply first.")
        )
    if reading.volts > reading.supply_volts + METER_V:
        return Judgement(
            "refused",
            _("{volts} V is above the supply of {supply} V: measure both again.").format(
                volts=reading.volts, supply=reading.supply_volts
            ),
        )
    share = reading.volts / reading.supply_volts
    words = _("{pin}: {volts} V, {percent} % of the supply. Kept for the day this top system is declared.").format(
        pin=reading.label, volts=reading.volts, percent=round(100 * share)
    )
    return Judgement("note", words, share=share)
