"""A connector seen from where it is probed: cavities in their physical order, each with its wire and what it should
say.

Cavities stand in blocks of eight columns, one below the other, so that a long connector fits a phone and a sheet of
paper. Only rows that carry a pin are known of; cavities between the pins are drawn empty, and a block without any pin
is left out.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from diagnostics.engine.drawing.marks import Label, Mark, fitted, mark
from diagnostics.engine.system.model import Pin, Position, TopSystem
from diagnostics.engine.system.series import path_of
from diagnostics.engine.words import _

COLUMNS = 8
CELL = 44.0
EDGE = 3.0
WIDTH = COLUMNS * CELL + 2 * EDGE
_BARE, _SAYING = 72.0, 124.0
_BLOCK_GAP = 10.0
_ROOM = CELL - 5
VERDICT_SIGNS = {"ok": "agrees", "finding": "differs", "refused": "refused", "note": "noted"}


@dataclass(frozen=True, slots=True)
class PinSays:
    """What a sheet knows of a pin: the state that it should give (made | released | place; `gives` in words), the
    verdict of the last reading (ok | finding | refused | note, '' without one; `verdict_words`), whether it is next."""

    state: str
    gives: str
    verdict: str = ""
    verdict_words: str = ""
    is_next: bool = False


@dataclass(frozen=True, slots=True)
class Stripe:
    """One colour of a wire, as a rectangle."""

    colour: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Cell:
    """One cavity at (x, y). Without a `code` it is empty. `others`: positions in series on the same pin."""

    x: float
    y: float
    height: float
    label: str
    code: str = ""
    name: str = ""
    others: tuple[str, ...] = ()
    stripes: tuple[Stripe, ...] = ()
    texts: tuple[Label, ...] = ()
    marks: tuple[Mark, ...] = ()
    is_next: bool = False
    words: str = ""
    width: float = CELL


@dataclass(frozen=True, slots=True)
class ConnectorPicture:
    """`rows` and `columns` in words of the pins, `left_out` the column numbers of blocks without a pin."""

    name: str
    width: float
    height: float
    cells: tuple[Cell, ...]
    pins: int
    left_out: tuple[tuple[int, int], ...]
    words: str


def connectors(system: TopSystem, says: Mapping[str, PinSays] | None = None) -> tuple[ConnectorPicture, ...]:
    """Every connector of the system by its name. `says`: sensor -> what a sheet knows of its pin."""
    by_name: dict[str, list[tuple[str, Position, Pin]]] = {}
    for code, position in system.sensors().items():
        if position.pin is not None:
            by_name.setdefault(position.pin.connector, []).append((code, position, position.pin))
    return tuple(_connector(system, name, pins, says or {}) for name, pins in sorted(by_name.items()))


def _connector(
    system: TopSystem, name: str, pins: list[tuple[str, Position, Pin]], says: Mapping[str, PinSays]
) -> ConnectorPicture:
    at = {(pin.row, pin.number): (code, position, pin) for code, position, pin in pins}
    rows = sorted({row for row, _number in at})
    last = max(number for _row, number in at)
    height = _SAYING if says else _BARE
    cells: list[Cell] = []
    left_out: list[tuple[int, int]] = []
    top = EDGE
    for first in range(1, last + 1, COLUMNS):
        numbers = range(first, min(first + COLUMNS, last + 1))
        if not any((row, number) in at for row in rows for number in numbers):
            left_out.append((numbers[0], numbers[-1]))
            continue
        for row in rows:
            for column, number in enumerate(numbers):
                x, label = EDGE + column * CELL, f"{row}{number}"
                found = at.get((row, number))
                cell = Cell(x, top, height, label, texts=(_number(x, top, label),))
                cells.append(_pin_cell(system, cell, *found, says) if found else cell)
            top += height
        top += _BLOCK_GAP
    words = _("{pins} pins of the top on {rows}.").format(pins=len(pins), rows=", ".join(rows))
    return ConnectorPicture(name, WIDTH, top - _BLOCK_GAP + EDGE, tuple(cells), len(pins), tuple(left_out), words)


def _number(x: float, y: float, label: str) -> Label:
    return Label(x + CELL / 2, y + 16, label, "pin-number", "middle")


def _pin_cell(
    system: TopSystem, cell: Cell, code: str, position: Position, pin: Pin, says: Mapping[str, PinSays]
) -> Cell:
    said, path = says.get(code), path_of(system, code)
    middle, colours = cell.x + CELL / 2, "/".join(pin.colours)
    is_next = said is not None and said.is_next
    texts = [
        fitted(cell.x + 4, cell.y + 16, cell.label, 17, 15, look="pin-number") if is_next else cell.texts[0],
        fitted(middle, cell.y + 47, colours, _ROOM, 10.5, look="colours", anchor="middle"),
        fitted(middle, cell.y + 63, " ".join(path), _ROOM, 12, look="code", anchor="middle"),
    ]
    marks: list[Mark] = []
    words = [f"{pin.label} {code} {position.name}", colours]
    words += [_("in series with {code}").format(code=one) for one in path[1:]]
    if said is not None:
        texts += _said_texts(cell, said)
        marks.append(mark(said.state, middle, cell.y + 75, 4.2, said.gives))
        words.append(_("should be {state}").format(state=said.gives))
        if said.verdict:
            marks.append(mark(VERDICT_SIGNS[said.verdict], middle, cell.y + 101, 4.6, said.verdict_words))
            words.append(said.verdict_words)
    if is_next:
        texts.append(fitted(cell.x + 33, cell.y + 14, _("next"), 16, 10, look="next", anchor="middle"))
        words.append(_("check next"))
    return Cell(
        cell.x, cell.y, cell.height, cell.label, code, position.name, path[1:], tuple(_stripes(cell, pin)),
        tuple(texts), tuple(marks), is_next, ", ".join(words),
    )  # fmt: skip


def _said_texts(cell: Cell, said: PinSays) -> Iterable[Label]:
    middle = cell.x + CELL / 2
    yield fitted(middle, cell.y + 90, said.gives, _ROOM, 10, look="gives", anchor="middle")
    if said.verdict_words:
        yield fitted(middle, cell.y + 116, said.verdict_words, _ROOM, 10, look="verdict", anchor="middle")


def _stripes(cell: Cell, pin: Pin) -> Iterable[Stripe]:
    """Base colour, stripe along the middle, third colour as a ring: as on the sheet's wires."""
    x, y, width, height = cell.x + 5, cell.y + 22, CELL - 10, 13.0
    boxes = ((x, y, width, height), (x, y + 4.3, width, 4.4), (x + width / 2 - 4, y, 8.0, height))
    for colour, box in zip(pin.colours, boxes, strict=False):
        yield Stripe(colour, *box)
