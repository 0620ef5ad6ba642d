"""Broken copies of the shipped soft top, one for each rule of two switches in series on one pin."""

from tests.diagnostics.broken_systems import BOW, Broken


def _third(series: str, made_when: str) -> str:
    """Another switch without a pin."""
    return (
        "  BG12:\n    kind: switch\n    name: Another switch\n    place: Middle of the cover\n    minutes: 18\n"
        f"    part: TW-BGM-3210\n    {series}\n    made_when: {{at: {{{made_when}}}}}\n"
    )


SERIES = {
    "in series with nobody known": Broken(
        BOW, "in_series_with: BG6", "in_series_with: BG66", "positions.BG7.in_series_with",
        "The position BG66 is not declared.",
    ),
    "in series with itself": Broken(
        BOW, "in_series_with: BG6", "in_series_with: BG7", "positions.BG7.in_series_with",
        "BG7 cannot be in series with itself; expected the switch that has the pin.",
    ),
    "in series with a Hall sensor": Broken(
        BOW, "in_series_with: BG6", "in_series_with: BG4", "positions.BG7.in_series_with",
        "BG4 is of kind hall-sensor; only two switches can be in series on one pin.",
    ),
    "in series, with a pin too": Broken(
        BOW, "in_series_with: BG6",
        "pin: {connector: XG1, row: B, number: 3, colours: [BU], area_mm2: 0.35, length_m: 1}\n    in_series_with: BG6",
        "positions.BG7.in_series_with",
        "BG7 has a pin of its own; a switch in series with BG6 is read at the pin of that one.",
        seen="in_series_with: BG6", after="Cover latch locked, right",
    ),
    "three in a chain": Broken(
        BOW, "  BG8:\n", _third("in_series_with: BG7", "cover-latch: locked") + "  BG8:\n",
        "positions.BG12.in_series_with",
        "BG7 has no pin of its own; expected the switch that has it. On one pin are two, not three.",
        seen="in_series_with: BG7",
    ),
    "three on a pin": Broken(
        BOW, "  BG8:\n", _third("in_series_with: BG6", "cover-latch: locked") + "  BG8:\n",
        "positions.BG12.in_series_with",
        "BG7 is in series with BG6 already; on one pin are two switches, not three.",
        seen="in_series_with: BG6\n",
    ),
    "a Hall sensor in series": Broken(
        BOW, "made_when: {at: {bow: down}}", "made_when: {at: {bow: down}}\n    in_series_with: BG6",
        "positions.BG4.in_series_with",
        "A hall-sensor has no in_series_with; only these have one: switch.",
        seen="in_series_with: BG6", after="Tensioning bow down",
    ),
    "waits for a switch without a pin": Broken(
        BOW, "starts_when: {BG9: made, BG6: made, BG4: released}", "starts_when: {BG9: made, BG7: made, BG4: released}",
        "motions.close.steps.5.starts_when.BG7",
        "BG7 has no pin of its own; name BG6, whose pin is made only while both are made.",
    ),
    "never both made": Broken(
        BOW, "  BG8:\n", _third("in_series_with: BG1", "header-latch: open") + "  BG8:\n",
        "positions.BG12.in_series_with",
        "BG1 and BG12 are never made at the same time, so their pin would never read made.",
        seen="in_series_with: BG1",
    ),
    "the other one is made elsewhere": Broken(
        BOW, "  BG8:\n", _third("in_series_with: BG1", "header-latch: open") + "  BG8:\n",
        "motions.close.steps.6.ends_when.BG1", "it waits for BG1 made, which is released after its moves.",
        seen="ends_when: {BG1: made",
    ),
    "the other one never moves": Broken(
        BOW, "made_when: {at: {cover-latch: locked}}", "made_when: {at: {cover-latch: [locked, open]}}",
        "positions.BG7", "BG7 only ever reports made: no motion and no axis moved by hand changes it.",
        after="  BG7:\n", seen="  BG7:\n",
    ),
}  # fmt: skip
