"""What changed between two versions of a top system, one sentence a change.

The walk follows the fields of the model, so that no field can be forgotten. A position that has another code but the
same pin or the same name is taken for renamed; then what names it elsewhere is no change by itself.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from diagnostics.engine.system.diff_words import about_words, field_words, group_words, value_words
from diagnostics.engine.system.model import Axis, Condition, Motion, Pin, Position, Step, TopSystem
from diagnostics.engine.system.problems import At
from diagnostics.engine.words import _

GROUPS = ("module", "positions", "axes", "poses", "motions", "hydraulics", "drawing", "inspection")
_PLACE_OF_PIN = ("connector", "row", "number")


@dataclass(frozen=True, slots=True)
class Change:
    """`at`: the path of what changed, by the names of the older version where both have it; `words`: a sentence."""

    at: At
    words: str


def diff(old: TopSystem, new: TopSystem) -> tuple[Change, ...]:
    """Every change from `old` to `new`; empty where they say the same."""
    renamed = renamed_positions(old, new)
    walk = _Walk({code: one.name for code, one in {**new.positions, **old.positions}.items()})
    calls = tuple(
        Change(("positions", was), walk.called(_position_words(was, old.positions[was]), now))
        for was, now in renamed.items()
    )
    before = _renaming(old, renamed) if renamed else old
    return calls + tuple(walk.fields((), _("The system"), before, new))


def grouped(changes: tuple[Change, ...]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """(heading, sentences) of each part of the file that changed."""
    found: dict[str, list[str]] = {}
    for change in changes:
        found.setdefault(change.at[0] if change.at[0] in GROUPS else "", []).append(change.words)
    order = sorted(found, key=lambda group: ("", *GROUPS).index(group))
    return tuple((group_words(group), tuple(found[group])) for group in order)


def renamed_positions(old: TopSystem, new: TopSystem) -> dict[str, str]:
    """Code in `old` -> likely code in `new`, of positions that have another one."""
    return _renamed(old.positions, new.positions)


def _position_words(code: str, position: Position) -> str:
    return f"{code} {position.name}"


class _Walk:
    def __init__(self, names: Mapping[str, str]) -> None:
        self.names = names

    def fields(self, at: At, subject: str, old: BaseModel, new: BaseModel) -> Iterator[Change]:
        skip: tuple[str, ...] = ()
        if isinstance(old, Pin) and isinstance(new, Pin):
            skip = _PLACE_OF_PIN
            if old.label != new.label:
                yield self.sentence(at, subject, "pin", old.label, new.label)
        for name in type(old).model_fields:
            if name not in skip:
                yield from self.values((*at, name), subject, name, getattr(old, name), getattr(new, name))

    def values(self, at: At, subject: str, field: str, old: Any, new: Any) -> Iterator[Change]:
        """The changes of one field of whatever shape."""
        if field == "steps":
            old, new = _by_name(old), _by_name(new)
        if isinstance(old, Mapping) and isinstance(new, Mapping):
            yield from self.entries(at, subject, field, old, new)
        elif _are_models(old) and _are_models(new):
            numbered = [{str(n): one for n, one in enumerate(many, start=1)} for many in (old, new)]
            yield from self.entries(at, subject, field, *numbered)
        elif old != new:
            if isinstance(old, BaseModel) and type(old) is type(new) and not isinstance(old, Condition):
                inside = field_words(field).capitalize() if len(at) == 1 else f"{subject}, {field_words(field)}"
                yield from self.fields(at, subject if isinstance(old, Pin) else inside, old, new)
            else:
                yield self.sentence(at, subject, field, old, new)

    def entries(self, at: At, subject: str, field: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Any:
        """The changes of named or numbered entries."""
        renamed = _renamed(old, new) if not at or at[0] != "positions" else {}
        kept = {renamed.get(name, name): name for name in old}
        for name, was in old.items():
            now = renamed.get(name, name)
            if now != name:
                yield Change((*at, name), self.called(self.subject(subject, field, name, was), now))
            if now in new:
                yield from self.entry((*at, name), subject, field, name, was, new[now])
            elif isinstance(was, BaseModel):
                gone = _("{what} is gone.").format(what=self.subject(subject, field, name, was))
                yield Change((*at, name), gone)
            else:
                yield self.sentence((*at, name), subject, field, was, None, name)
        for name in new:
            if name not in kept:
                yield self.added((*at, name), subject, field, name, new[name])
        orders = [now for now in kept if now in new], [name for name in new if name in kept]
        if orders[0] != orders[1] and any(isinstance(one, BaseModel) for one in new.values()):
            words = _("{subject}: the order of each {what} is now {order}.")
            order = ", ".join(orders[1])
            yield Change(at, words.format(subject=subject, what=field_words(field), order=order))

    def entry(self, at: At, subject: str, field: str, name: str, old: Any, new: Any) -> Iterator[Change]:
        if isinstance(old, BaseModel) and type(old) is type(new) and not isinstance(old, Condition):
            yield from self.fields(at, self.subject(subject, field, name, old), old, new)
        elif isinstance(old, Mapping) and isinstance(new, Mapping):
            inside = self.subject(subject, field, name, old)
            for key in (*old, *(key for key in new if key not in old)):
                if old.get(key) != new.get(key):
                    yield self.sentence((*at, key), inside, "", old.get(key), new.get(key), key)
        elif old != new:
            yield self.sentence(at, subject, field, old, new, name)

    def added(self, at: At, subject: str, field: str, name: str, new: Any) -> Change:
        if not isinstance(new, BaseModel):
            return self.sentence(at, subject, field, None, new, name)
        words, about = self.subject(subject, field, name, new), about_words(new)
        if about:
            return Change(at, _("{what} is new: {about}.").format(what=words, about=about))
        return Change(at, _("{what} is new.").format(what=words))

    def subject(self, subject: str, field: str, name: str, entry: Any) -> str:
        """What a sentence about an entry begins with."""
        if isinstance(entry, Position):
            return _position_words(name, entry)
        if isinstance(entry, Motion):
            return entry.title
        if field == "spots":
            name = f"{name} {self.names.get(name, '')}".strip()
        words = f"{field_words(field)} {name}"
        if isinstance(entry, Axis):
            words = f"{words} ({entry.title})"
        if field in ("axes", "poses"):
            return words.capitalize() if words.islower() else words[0].upper() + words[1:]
        return f"{subject}, {words}"

    def called(self, subject: str, now: str) -> str:
        return _("{what} is likely {now} now: the two are alike.").format(what=subject, now=now)

    def sentence(self, at: At, subject: str, field: str, old: Any, new: Any, key: str = "") -> Change:
        named = f"{key} {self.names[key]}" if key in self.names else key.replace("-", " ")
        what = " ".join(part for part in (field_words(field) if field else "", named) if part)
        if at[0] == "drawing":  # coordinates say nothing to a reader
            words = _("{subject}: {what} changed.")
        elif old is None:
            words = _("{subject}: {what} {new} is new.")
        elif new is None:
            words = _("{subject}: {what} {old} is gone.")
        else:
            words = _("{subject}: {what} {old}, now {new}.")
        said = {"old": value_words(old, field), "new": value_words(new, field)}
        return Change(at, words.format(subject=subject, what=what, **said))


def _are_models(value: Any) -> bool:
    return isinstance(value, tuple) and bool(value) and all(isinstance(one, BaseModel) for one in value)


def _by_name(steps: Any) -> Any:
    """Steps by their names, as long as these tell them apart."""
    named = {step.name: step for step in steps}
    return named if len(named) == len(steps) else steps


def _renamed(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, str]:
    """Old name -> new name of entries that are alike, each new name used once."""
    free = {name: one for name, one in new.items() if name not in old}
    found: dict[str, str] = {}
    for name, was in old.items():
        if name not in new:
            match = next((other for other, one in free.items() if _alike(was, one)), "")
            if match:
                found[name] = match
                del free[match]
    return found


def _alike(old: Any, new: Any) -> bool:
    if isinstance(old, Position) and isinstance(new, Position):
        same_pin = old.pin is not None and new.pin is not None and old.pin.label == new.pin.label
        return old.kind == new.kind and (same_pin or old.name.casefold() == new.name.casefold())
    if isinstance(old, Step) and isinstance(new, Step):
        return old.title == new.title or (old.moves, old.driven_by) == (new.moves, new.driven_by)
    if isinstance(old, Axis) and isinstance(new, Axis):
        return old.title.casefold() == new.title.casefold()
    return False


def _renaming(value: Any, names: Mapping[str, str]) -> Any:
    """`value` with every code by its new name, as key or as value."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, BaseModel):
        fields = {name: _renaming(getattr(value, name), names) for name in type(value).model_fields}
        return value.model_copy(update=fields)
    if isinstance(value, Mapping):
        return {names.get(key, key): _renaming(one, names) for key, one in value.items()}
    return tuple(_renaming(one, names) for one in value) if isinstance(value, tuple) else value
