"""Template tags of the bench pages."""

import json
import uuid
from functools import lru_cache
from typing import Any

from django import template
from django.template import Context
from django.urls import NoReverseMatch, reverse
from django.utils import formats
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from diagnostics.engine.faults import mode_words, modes_of
from diagnostics.engine.hydraulics import CylinderFigures, cylinder_figures
from diagnostics.engine.poses import place_words, plain
from diagnostics.engine.system.fluid import remarks_of
from diagnostics.engine.system.model import BETWEEN, TopSystem
from diagnostics.selectors.what_was_wrong import what_was_wrong_words

register = template.Library()

register.filter("plain", plain)
register.filter("place_words", place_words)
register.filter("what_was_wrong", what_was_wrong_words)


@register.simple_tag
def new_entry_id() -> str:
    """An id for an entry of a page without JavaScript: its form sent twice is kept once."""
    return str(uuid.uuid4())


@register.simple_tag(takes_context=True)
def kept(context: Context, field: str, check: str, position: str = "") -> str:
    """What was typed into the field before the entry was refused; '' for every other form of the page."""
    typed = context.get("typed")
    if not typed or typed.get("check", "").partition(":")[0] != check or typed.get("position", "") != position:
        return ""
    return str(typed.get(field, ""))


@register.filter
def findings(system: TopSystem, position: str) -> tuple[tuple[str, str], ...]:
    """The fault modes that a look at the position can find: name and words."""
    return _findings(modes_of(system, position), get_language() or "")


@lru_cache(maxsize=256)
def _findings(modes: tuple[str, ...], language: str) -> tuple[tuple[str, str], ...]:
    """A sheet asks this for every position: the words are looked up once for each kind of position and language."""
    return tuple((mode, mode_words(mode)) for mode in modes)


@register.filter("cylinder_figures")
def figures(system: TopSystem) -> tuple[CylinderFigures, ...]:
    """Force and speed of every cylinder of the system, by calculation."""
    return cylinder_figures(system)


@register.filter
def remarks(system: TopSystem) -> tuple[str, ...]:
    """What a person should look at again in a system file that is valid."""
    return tuple(words for _path, words in remarks_of(system))


@register.filter
def percent(share: float) -> str:
    """A share as percent with one place."""
    return f"{formats.number_format(round(100 * share, 1), 1)} %"


@register.filter
def moved_by(system: TopSystem, motion: str) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """The axes that a motion moves: name, title, and where each can be seen to stand."""
    moved = {axis for step in system.motions[motion].steps for axis in step.moves}  # type: ignore[index]
    return tuple((name, one.title, (*one.places, BETWEEN)) for name, one in system.axes.items() if name in moved)


@register.filter
def get(mapping: Any, key: str) -> Any:
    """The value of a mapping, where the key is in a variable."""
    return mapping.get(key, "")


@register.filter
def as_json(typed: dict[str, str]) -> str:
    """Fields and what was typed into them, for an attribute that the page's script reads."""
    return json.dumps(typed, ensure_ascii=False)


@register.simple_tag
def bench_keys() -> tuple[tuple[str, str], ...]:
    """The keys of the bench sheet (see bench-keys.js) and what each does."""
    return (
        (_("Enter"), _("save the reading, on to the next pin")),
        ("↓ ↑", _("next pin, pin before")),
        ("n", _("to the field of the next check")),
        ("p", _("to the poses; arrows choose, Enter sets")),
        ("u", _("undo my last entry")),
        ("r", _("enter again what was undone")),
        ("s", _("to the suspects")),
        ("?", _("this list")),
    )


@register.simple_tag
def volts(millivolts: int | None) -> str:
    """Millivolts as a meter shows them, with a point in every language: the field takes it back as it is."""
    return "" if millivolts is None else f"{millivolts / 1000:.3f}".rstrip("0").rstrip(".")


@register.simple_tag
def address(name: str, *args: Any) -> str:
    """The address of another app's page, or '' where that app brings none."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
