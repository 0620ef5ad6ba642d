"""The connector view: pins in their physical order, wires drawn and written, room for many."""

from typing import Any

from diagnostics.engine.drawing.connector import CELL, COLUMNS, Cell, PinSays, connectors
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import DATA, POSITIONS, small_system
from tests.diagnostics.systems import shipped


def with_pins(*pins: tuple[str, int], colours: tuple[str, ...] = ("BN", "WH")) -> TopSystem:
    """The small top with its sensors at these pins, further switches beside them."""
    sensors = [code for code in POSITIONS if code[:2] in ("BG", "SF")]
    positions: dict[str, Any] = dict(POSITIONS)
    for index, (row, place) in enumerate(pins):
        code = sensors[index] if index < len(sensors) else f"BG{index + 10}"
        base = POSITIONS[code] if index < len(sensors) else POSITIONS["BG2"]
        pin = {**base["pin"], "row": row, "number": place, "colours": list(colours)}
        positions[code] = {**base, "pin": pin}
    return TopSystem.model_validate(DATA | {"positions": positions})


def grid(cells: tuple[Cell, ...]) -> list[list[str]]:
    """Labels line by line, as they stand on the page."""
    lines: dict[float, list[Cell]] = {}
    for cell in cells:
        lines.setdefault(cell.y, []).append(cell)
    return [[cell.label for cell in sorted(line, key=lambda one: one.x)] for _y, line in sorted(lines.items())]


def test_pins_stand_in_physical_order_with_empty_cavities_between() -> None:
    first, second = connectors(shipped("rht-trio"))
    assert (first.name, second.name) == ("XG1", "XG2")
    assert grid(first.cells) == [[f"A{n}" for n in range(1, 9)], [f"B{n}" for n in range(1, 9)]]
    assert [cell.label for cell in first.cells if not cell.code] == ["A5", "A8", "B5"]
    assert {cell.label: cell.code for cell in first.cells}["B4"] == "BG10"
    assert grid(second.cells) == [["A1", "A2"]]


def test_a_wire_is_drawn_and_written_base_colour_first() -> None:
    cells = {cell.code: cell for cell in connectors(shipped("rht-trio"))[0].cells}
    lid = cells["BG3"]
    assert [stripe.colour for stripe in lid.stripes] == ["BU", "BK"]
    assert lid.stripes[0].height > lid.stripes[1].height
    assert "BU/BK" in [label.text for label in lid.texts]
    assert lid.words == "XG1/A3 BG3 Lid shut, BU/BK"


def test_thirty_pins_wrap_into_blocks_of_eight_columns() -> None:
    pins = [(row, n) for row in "AB" for n in range(1, 16)]
    (picture,) = connectors(with_pins(*pins))
    assert picture.pins == 30
    assert grid(picture.cells) == [
        [f"{row}{n}" for n in numbers] for numbers in (range(1, 9), range(9, 16)) for row in "AB"
    ]
    assert picture.width == COLUMNS * CELL + 6
    assert all(cell.x >= 0 and cell.x + CELL <= picture.width for cell in picture.cells)
    assert all(cell.y + cell.height <= picture.height for cell in picture.cells)


def test_a_block_without_a_pin_is_left_out_and_said() -> None:
    (picture,) = connectors(with_pins(*[("A", n) for n in (1, 2, 3, 4, 5, 6, 7, 33)]))
    assert picture.left_out == ((9, 16), (17, 24), (25, 32))
    assert grid(picture.cells) == [[f"A{n}" for n in range(1, 9)], ["A33"]]


def test_a_sheet_s_words_stand_in_the_cell_and_the_next_one_is_flagged() -> None:
    says = {code: PinSays("made", "made", "finding", "finding", code == "BG2") for code in small_system().sensors()}
    cells = {cell.code: cell for cell in connectors(small_system(), says)[0].cells}
    assert [mark.sign for mark in cells["BG1"].marks] == ["made", "differs"]
    assert cells["BG2"].is_next
    assert "next" in [label.text for label in cells["BG2"].texts]
    assert cells["BG2"].words == "XG1/A4 BG2 lid down, BN/WH, should be made, finding, check next"
    assert not cells["BG1"].is_next


def test_long_words_are_squeezed_into_their_cell() -> None:
    says = {code: PinSays("released", "released", "refused", "no evidence") for code in small_system().sensors()}
    cell = connectors(small_system(), says)[0].cells[0]
    fits = {label.text: label.fit for label in cell.texts}
    assert 0 < fits["no evidence"] < CELL
    assert fits["A1"] == 0


def test_two_switches_in_series_share_their_cell() -> None:
    cells = {cell.code: cell for cell in connectors(shipped("softbow-hydro"))[0].cells}
    assert cells["BG6"].others == ("BG7",)
    assert "in series with BG7" in cells["BG6"].words
    assert "BG7" not in cells
