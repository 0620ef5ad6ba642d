"""What is wrong with the drawing of a system file is said with its path, its line and what was expected."""

import pytest

from diagnostics.engine.system.drawn_rules import MOST_POINTS
from diagnostics.engine.system.load import Problem, SystemFileError, load_system
from tests.diagnostics.broken_systems import BOW, LINE, TRIO, Broken
from tests.diagnostics.systems import text_of

AFTER = "\ndrawing:"

BROKEN = {
    "unknown axis": Broken(
        TRIO, "axis: shelf", "axis: shelve", "drawing.parts.shelf.axis",
        "The axis “shelve” is not declared; expected one of: header-latch,", after=AFTER,
    ),
    "missing place": Broken(
        BOW, "upright: {turn: 46}, ", "", "drawing.parts.main-link.places",
        "Every place of the axis top needs an entry here; missing: upright.", after=AFTER,
    ),
    "unknown place": Broken(
        TRIO, "stowed: {turn: 139}", "stowed: {turn: 139}, sunk: {}", "drawing.parts.rear-shell.places.sunk",
        "The axis stack has no place “sunk”; expected one of: up, stowed.", after=AFTER,
    ),
    "turn without pivot": Broken(
        TRIO, "      pivot: [4150, 560]\n", "", "drawing.parts.divider",
        "A place turns this part, but there is no pivot to turn it about.", after=AFTER, seen="    divider:",
    ),
    "on no part": Broken(
        TRIO, "hangs_on: lid-frame\n", "hangs_on: lid-fame\n", "drawing.parts.lid-skin.hangs_on",
        "The drawing has no part “lid-fame”; expected one of: rear-shell,", after=AFTER,
    ),
    "on itself": Broken(
        TRIO, "hangs_on: lid-frame\n", "hangs_on: lid-skin\n", "drawing.parts.lid-skin.hangs_on",
        "The part “lid-skin” hangs on itself.", after=AFTER,
    ),
    "cloth on no part": Broken(
        LINE, "{hangs_on: front-panel, at: [2540, 1254]}", "{hangs_on: panel, at: [2540, 1254]}",
        "drawing.cloth.0.holds.0.hangs_on", "The drawing has no part “panel”;", after=AFTER,
    ),
    "unknown position": Broken(
        TRIO, "BG3: {at: [3480, 960]}", "BG33: {at: [3480, 960]}", "drawing.spots.BG33",
        "The position BG33 is not declared.", after=AFTER,
    ),
    "rod without end": Broken(
        TRIO, "to: [4130, 985], to_hangs_on", "to_hangs_on", "drawing.spots.MM1.to", "“to” is missing.", after=AFTER,
        seen="    MM1:",
    ),
    "axis not drawn": Broken(
        TRIO, "axis: shelf", "axis: divider", "drawing.parts",
        "No part draws the axis shelf; a picture without it would mislead.", after=AFTER, seen="  parts:",
    ),
    "two places alike": Broken(
        TRIO, "clear: {turn: 75}", "clear: {}", "drawing.parts",
        "The axis shelf is drawn the same in flat and in clear.", after=AFTER, seen="  parts:",
    ),
    "unknown field": Broken(
        TRIO, "smooth: true", "smoth: true", "drawing.body.0.smoth", "did you mean “smooth”?", after=AFTER,
    ),
    "unknown field of a place": Broken(
        TRIO, "{turn: 139}", "{turns: 139}", "drawing.parts.rear-shell.places.stowed.turns", "did you mean “turn”?",
        after=AFTER,
    ),
    "unknown look": Broken(
        TRIO, "look: glass", "look: chrome", "drawing.parts.rear-shell.shapes.1.look",
        "“chrome” is not known here; expected one of: body, shell,", after=AFTER,
    ),
    "beyond the car": Broken(
        TRIO, "at: [3480, 960]", "at: [34800, 960]", "drawing.spots.BG3.at.0",
        "“34800” was found; expected at most 10000.", after=AFTER,
    ),
}  # fmt: skip


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(SystemFileError) as caught:
        load_system(text, "broken.yaml")
    return caught.value.problems


@pytest.mark.parametrize("name", BROKEN)
def test_rule_names_path_line_and_what_was_expected(name: str) -> None:
    broken = BROKEN[name]
    text = broken.text()
    problems = problems_of(text)
    hits = [one for one in problems if one.path == broken.path and broken.words in one.words]
    assert hits, "\n".join(str(one) for one in problems)
    assert broken.path.rpartition(".")[2].isdigit() or hits[0].line == broken.line()
    assert len(problems) <= 5


def test_too_many_points_are_refused_by_their_count() -> None:
    line = "        - {look: inside, points: [" + ", ".join(f"[{n}, 100]" for n in range(60)) + "]}\n"
    part = "      axis: lid\n      places: {shut: {}, open: {shift: [0, 9]}}\n      shapes:\n" + 12 * line
    parts = "".join(f"    more-{n}:\n{part}" for n in range(3))
    text = text_of(TRIO).replace("  parts:\n    rear-shell:", f"  parts:\n{parts}    rear-shell:")
    (problem,) = problems_of(text)
    assert problem.path == "drawing"
    assert f"expected at most {MOST_POINTS} in all" in problem.words


def test_a_system_without_a_drawing_is_as_good_as_any() -> None:
    text = text_of(TRIO)
    system = load_system(text[: text.index(AFTER) + 1], "plain.yaml")
    assert system.drawing is None
