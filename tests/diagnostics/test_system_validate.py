"""Every rule of the validator, each with a broken copy of a shipped file: path, line and sentence."""

import pytest

from diagnostics.engine.system.load import Problem, SystemFileError, load_system
from tests.diagnostics.broken_series import SERIES
from tests.diagnostics.broken_systems import ALL, TRIO, text_broken
from tests.diagnostics.systems import text_of

RULES = ALL | SERIES


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(SystemFileError) as caught:
        load_system(text, "broken.yaml")
    return caught.value.problems


@pytest.mark.parametrize("name", RULES)
def test_rule_names_path_line_and_what_was_expected(name: str) -> None:
    broken = RULES[name]
    problems = problems_of(text_broken(name, broken))
    hits = [one for one in problems if one.path == broken.path and broken.words in one.words]
    assert hits, "\n".join(str(one) for one in problems)
    expected = broken.line() + (1 if name == "not the way back" else 0)
    assert hits[0].line == expected
    assert hits[0].words[0].isupper() or hits[0].words.startswith(("“", "low_share"))
    assert hits[0].words.endswith((".", "?"))


@pytest.mark.parametrize("name", RULES)
def test_one_mistake_raises_few_complaints(name: str) -> None:
    assert len(problems_of(text_broken(name, RULES[name]))) <= 6


def test_every_mistake_is_reported_in_the_order_of_the_file() -> None:
    text = text_of(TRIO)
    for rule in ("pin twice", "seconds inverted", "thresholds", "letters of a connector", "never starts"):
        text = text.replace(ALL[rule].old, ALL[rule].new, 1)
    problems = problems_of(text)
    assert [one.path for one in problems] == [
        "module.low_share",
        "positions.SF1.pin.connector",
        "positions.BG4.pin.number",
        "motions.open.steps.4.seconds",
        "motions.open.steps.6.starts_when.BG9",
    ]
    assert str(problems[0]).startswith("broken.yaml:12: module.low_share: low_share is 0.7")
