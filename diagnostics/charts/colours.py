"""Colours of the charts by what they mean. A chart is drawn in stand-ins; page and paper put their own in their place.

On a page each becomes a class, so that light, dark and print come from the one style sheet; on paper a colour.
"""

from typing import Final

INK: Final = "#010101"
SOFT: Final = "#020202"
LINE: Final = "#030303"
PANEL: Final = "#040404"
INSIDE: Final = "#050505"
OUTSIDE: Final = "#060606"

CLASSES: Final = {INK: "ink", SOFT: "soft", LINE: "line", PANEL: "panel", INSIDE: "inside", OUTSIDE: "outside"}
"""Filled with it: class `cf-…`; stroked with it: class `cs-…` (topwright.css)."""
PAPER: Final = {
    INK: "#000000",
    SOFT: "#333333",
    LINE: "#b0b0b0",
    PANEL: "#ffffff",
    INSIDE: "#96103e",
    OUTSIDE: "#1c4d83",
}
