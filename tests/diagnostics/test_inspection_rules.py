"""The `inspection` block of a system file: what it may say, what is refused, and how a change of it reads."""

import pytest

from diagnostics.engine.inspection.plan import plan_for
from diagnostics.engine.system.diff import diff
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.problems import SystemFileError
from tests.diagnostics.systems import SLUGS, shipped, text_of


def with_block(block: str, slug: str = "rht-trio") -> str:
    return text_of(slug).replace("\nmodule:\n", f"\n{block}\nmodule:\n", 1)


def problem(block: str) -> tuple[str, str]:
    with pytest.raises(SystemFileError) as caught:
        load_system(with_block(block), "own.yaml")
    (only,) = caught.value.problems
    return only.path, only.words


def test_a_system_leaves_items_out_and_adds_some() -> None:
    system = load_system(
        with_block(
            "inspection:\n  trials: 2\n  without: {gaps: Panels are under a cover}\n"
            "  extra:\n    spoiler: {area: mechanism, title: Spoiler, wants: Rises with the lid}\n"
        ),
        "own.yaml",
    )
    keys = {one.key: one for one in plan_for(system)}
    assert "gaps" not in keys
    assert keys["spoiler"].title == "Spoiler"
    assert keys["motion:close"].times == 2


@pytest.mark.parametrize(
    ("block", "path", "words"),
    [
        ("inspection:\n  without: {cover: None here}\n", "inspection.without.cover", "There is no item “cover”"),
        ("inspection:\n  without: {surroundings: No}\n", "inspection.without.surroundings", "There is no item"),
        (
            "inspection:\n  extra:\n    seals: {area: seals, title: Seals, wants: All}\n",
            "inspection.extra.seals",
            "“seals” is an item of every plan",
        ),
        (
            "inspection:\n  extra:\n    battery: {area: electrical, title: B, wants: All}\n",
            "inspection.extra.battery",
            "is answered by the bench sheet",
        ),
        ("inspection:\n  trials: 0\n", "inspection.trials", "1"),
        ("inspection:\n  water_minutes: .inf\n", "inspection.water_minutes", ""),
    ],
)
def test_a_mistake_is_named_with_its_place(block: str, path: str, words: str) -> None:
    at, said = problem(block)
    assert at == path
    assert words in said


def test_a_change_of_the_inspection_reads_as_sentences() -> None:
    old = shipped("rht-trio")
    new = load_system(with_block("inspection:\n  trials: 5\n"), "own.yaml")
    newer = load_system(with_block("inspection:\n  trials: 4\n  without: {gaps: Under a cover}\n"), "own.yaml")
    assert [change.at[0] for change in diff(old, new)] == ["inspection"]
    said = " ".join(change.words for change in diff(new, newer))
    assert "trials of each motion" in said
    assert "Under a cover" in said


@pytest.mark.parametrize("slug", SLUGS)
def test_names_of_items_are_said_once_and_carry_what_they_want(slug: str) -> None:
    for one in plan_for(shipped(slug)):
        assert one.title
        assert one.wants.endswith((".", ": ")), one.wants
        assert bool(one.grades) != bool(one.measured)
        codes = [grade.code for grade in one.grades]
        assert len(codes) == len(set(codes))
        assert all((grade.weight is None) == (not grade.rule) for grade in one.grades)
