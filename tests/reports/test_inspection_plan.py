"""What an inspection must cover, how far it is covered, and what the certificate says of it."""

from datetime import datetime, timedelta

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine.inspection.items import Item
from diagnostics.engine.inspection.plan import left_out, plan_for
from diagnostics.engine.system.inspection import ExtraItem, InspectionRules
from diagnostics.engine.system.model import TopSystem
from reports.document.compose import Evidence, Seen, Worked, overall
from reports.document.compose.coverage import SKIP, Answer, Covered, coverage, open_items, with_plan
from reports.document.content import Results
from reports.document.draw import draw
from tests.reports import sample

SYSTEMS = ["rht-trio", "softbow-hydro", "softline-electro"]
GOOD = {
    "surroundings": "noted", "leaks": "dry", "latches": "hold", "linkage": "none", "seals": "dry", "cover": "sound",
    "gaps": "even", "emergency-closing": "closes", "module-seat": "dry", "water-traces": "none",
    "earlier-repairs": "none",
}  # fmt: skip


def answer(key: str, grade: str, minute: int = 200, words: str = "", measured: float | None = None) -> Answer:
    return Answer(key, grade, words, sample.START + timedelta(minutes=minute), "Ines Okafor", measured)


def all_good(top: TopSystem) -> list[Answer]:
    return [answer(one.key, GOOD.get(one.key, "sound")) for one in plan_for(top) if not one.measured]


def whole(system: TopSystem) -> list[Seen]:
    """A sound top with everything that a plan asks of the bench: three trials each, and every hold."""
    checks = sample.sound_checks(system)
    for minute in (10, 20):
        checks += [sample.trial(system, minute, motion) for motion in ("open", "close")]
    held = [one.subject for one in plan_for(system) if one.measured == "hold"]
    bar = system.hydraulics.hold.test_bar if system.hydraulics else 0.0
    checks += [
        sample.seen(system, 30, check="pressure-hold", position=code, bar_start=bar, bar_end=bar - 1, seconds=60)
        for code in held
    ]
    return checks


def covered(evidence: Evidence, answers: list[Answer], top: TopSystem | None = None) -> dict[str, Covered]:
    rows = coverage(plan_for(evidence.system), evidence, answers)
    return {row.item.key: row for row in rows}


@pytest.mark.parametrize("slug", SYSTEMS)
def test_a_plan_asks_for_every_sensor_both_motions_and_all_that_no_pin_shows(slug: str) -> None:
    system = sample.system(slug)
    keys = [one.key for one in plan_for(system)]
    assert len(keys) == len(set(keys))
    assert {f"sensor:{code}" for code in system.wired()} <= set(keys)
    assert {"motion:open", "motion:close", "battery", "supply", "seals", "latches", "linkage"} <= set(keys)
    assert {"emergency-closing", "module-seat", "water-traces", "earlier-repairs", "surroundings"} <= set(keys)
    hydraulic = {code for code, one in system.positions.items() if one.kind in ("cylinder", "pump")}
    assert {key for key in keys if key.startswith("hold:")} == {f"hold:{code}" for code in hydraulic}
    assert ("leaks" in keys) == (system.hydraulics is not None)
    assert ("cover" in keys) != ("gaps" in keys)  # cloth or panels


@pytest.mark.parametrize("slug", SYSTEMS)
def test_a_sound_top_that_was_asked_everything_is_complete_and_passes(slug: str) -> None:
    top = sample.system(slug)
    evidence = sample.evidence_of(whole(top), top=top)
    rows = covered(evidence, all_good(top))
    assert {row.state for row in rows.values()} == {"done"}, {k: r for k, r in rows.items() if r.state != "done"}
    found = with_plan(sample.results(evidence, planned=True), [*rows.values()])
    assert overall(found, motions=len(top.motions)).statement == "pass"
    assert not [row for row in found.not_tested if row.what in ("Seals and drains", "Emergency closing")]


def test_two_trials_of_a_motion_are_not_three() -> None:
    top = sample.system()
    checks = [one for one in whole(top) if one.at < sample.START + timedelta(minutes=20)]
    row = covered(sample.evidence_of(checks), [])["motion:open"]
    assert (row.state, row.words) == ("missing", "2 of 3 whole trials with the seconds of every step.")


def test_a_trial_without_a_time_does_not_count() -> None:
    top = sample.system()
    steps = [step.name for step in top.motions["open"].steps]
    untimed = sample.seen(top, 40, check="motion", motion="open", stops_at=None, seconds={steps[0]: 2.0})
    assert covered(sample.evidence_of([untimed] * 3), [])["motion:open"].state == "missing"


def test_a_motion_that_stops_answers_its_item_with_a_finding() -> None:
    top = sample.system()
    row = covered(sample.evidence_of([sample.trial(top, 0, "close", stops_at="raise-stack")]), [])["motion:close"]
    assert row.state == "finding"


def test_work_takes_back_what_was_seen_before_it() -> None:
    top = sample.system()
    work = Worked("BG8", "Replaced", "", sample.START + timedelta(minutes=100), "Ines Okafor")
    rows = covered(sample.evidence_of(whole(top), [work]), all_good(top))
    assert {key for key, row in rows.items() if row.state == "missing"} == {"sensor:BG8", "motion:open", "motion:close"}


def test_a_state_seen_before_the_work_proves_nothing_after_it() -> None:
    top = sample.system()
    work = Worked("BG10", "Replaced", "", sample.START + timedelta(minutes=100), "Ines Okafor")
    checks = [*whole(top), sample.pin(top, 110, "BG10", "closed")]
    assert covered(sample.evidence_of(checks, [work]), [])["sensor:BG10"].state == "missing"


def test_half_a_sensor_says_which_half_is_missing() -> None:
    top = sample.system()
    row = covered(sample.evidence_of([sample.pin(top, 0, "BG10", "closed")]), [])["sensor:BG10"]
    assert row.state == "missing"
    assert row.words in ("Seen made only, not released.", "Seen released only, not made.")


def test_what_was_measured_counts_before_a_skip() -> None:
    top = sample.system()
    skipped = answer("battery", SKIP, words="no time")
    assert covered(sample.evidence_of([]), [skipped])["battery"].state == "skipped"
    measured = sample.evidence_of([sample.seen(top, 0, check="battery", volts=12.6)])
    assert covered(measured, [skipped])["battery"].state == "done"


def _findings(answers: list[Answer], work: list[Worked] | None = None) -> list[tuple[str, str]]:
    top = sample.system()
    rows = covered(sample.evidence_of(whole(top), work or []), [*all_good(top), *answers])
    return [(one.weight, one.words) for row in rows.values() for one in row.findings]


def test_an_answer_weighs_by_its_rule() -> None:
    assert _findings([answer("latches", "loose", 210, "Left one opens at a pull")]) == [
        ("critical", "One does not hold; Left one opens at a pull.")
    ]
    assert _findings([answer("seals", "damp", 210, "A corner", 15)]) == [
        ("minor", "Damp at a seal; Water ran for 15 min; A corner.")
    ]


def test_what_was_found_and_is_better_after_work_is_put_right_and_without_work_is_minor() -> None:
    leak, dry = answer("leaks", "drops", 210, "Union of MM3"), answer("leaks", "dry", 240)
    work = Worked("MM3", "Sealed", "", sample.START + timedelta(minutes=220), "Ines Okafor")
    assert [weight for weight, _words in _findings([leak, dry])] == ["minor"]
    assert ("put-right", "Drops or runs; Union of MM3.") in _findings([leak, dry], [work])


def test_work_after_the_better_answer_put_nothing_right() -> None:
    leak, dry = answer("leaks", "drops", 210, "Union of MM3"), answer("leaks", "dry", 240)
    late = Worked("MM3", "Sealed", "", sample.START + timedelta(minutes=250), "Ines Okafor")
    assert [weight for weight, words in _findings([leak, dry], [late]) if "Union" in words] == ["minor"]


def test_the_last_answer_counts() -> None:
    top = sample.system()
    answers = [*all_good(top), answer("latches", "stiff", 210, "Right"), answer("latches", "hold", 220)]
    assert covered(sample.evidence_of(whole(top)), answers)["latches"].state == "done"
    assert covered(sample.evidence_of(whole(top)), answers[:-1])["latches"].state == "finding"


def test_what_was_skipped_stands_once_among_what_was_not_tested_with_its_reason() -> None:
    top = sample.system()
    checks = [one for one in whole(top) if one.position != "BG3"]
    evidence = sample.evidence_of(checks)
    answers = [*all_good(top), answer("sensor:BG3", SKIP, words="Behind the lining")]
    found = with_plan(sample.results(evidence, planned=True), [*covered(evidence, answers).values()])
    told = [row.why for row in found.not_tested if row.what.startswith("BG3")]
    assert told == ["Skipped by Ines Okafor: Behind the lining"]


def test_a_finding_is_not_skipped_away() -> None:
    found = answer("seals", "water", 210, "Rear left")
    skipped = answer("seals", SKIP, 220, "again tomorrow")
    assert _findings([found, skipped]) == [("major", "Water comes in, or a drain is blocked; Rear left.")]


def test_a_skip_of_what_the_statement_depends_on_leaves_no_statement() -> None:
    top = sample.system()
    evidence = sample.evidence_of(whole(top))
    for key, statement in (("emergency-closing", "none"), ("linkage", "pass")):
        answers = [one for one in all_good(top) if one.key != key] + [answer(key, SKIP, words="not allowed")]
        rows = [*covered(evidence, answers).values()]
        found = with_plan(sample.results(evidence, planned=True), rows)
        assert overall(found, motions=2).statement == statement
        title = next(row.item.title for row in rows if row.item.key == key)
        told = [row.why for row in found.not_tested if row.what == title]
        assert told == ["Skipped by Ines Okafor: not allowed"]


def test_a_major_answer_fails_the_top() -> None:
    top = sample.system()
    evidence = sample.evidence_of(whole(top))
    answers = [*all_good(top), answer("seals", "water", 210, "Rear left")]
    found = with_plan(sample.results(evidence, planned=True), [*covered(evidence, answers).values()])
    said = overall(found, motions=2)
    assert said.statement == "fail"
    assert "If an item on which the statement depends is skipped" in said.rule


def test_open_items_are_no_result() -> None:
    rows = [*covered(sample.evidence_of([]), []).values()]
    assert len(open_items(rows)) == len(rows)
    with pytest.raises(ValueError, match="open items"):
        with_plan(Results(), rows)


def test_a_job_without_a_plan_is_as_before() -> None:
    evidence = sample.repaired()
    found = sample.results(evidence)
    assert with_plan(found, ()) == found
    assert "plan" not in overall(found, motions=2).rule


def test_a_system_leaves_out_and_adds_items_of_its_own() -> None:
    rules = InspectionRules(
        trials=5,
        water_minutes=20,
        without={"emergency-closing": "There is no way without the drive."},
        extra={"deflector": ExtraItem(area="mechanism", title="Wind deflector", wants="Fits and locks.", weighty=True)},
    )
    top = sample.system().model_copy(update={"inspection": rules})
    items = {one.key: one for one in plan_for(top)}
    assert "emergency-closing" not in items
    assert [(one.key, why) for one, why in left_out(top)] == [
        ("emergency-closing", "There is no way without the drive.")
    ]
    assert items["motion:open"].times == 5
    assert items["seals"].quantity is not None
    assert items["seals"].quantity.least == 20
    assert (items["deflector"].skip_by, items["linkage"].skip_by) == ("owner", "technician")


def test_of_an_undeclared_system_the_plan_asks_what_every_top_has() -> None:
    plan = plan_for(None)
    assert not [one for one in plan if one.measured]
    assert {"leaks", "cover", "gaps", "seals"} <= {one.key for one in plan}


_TOP = sample.system("softline-electro")
_PLAN = plan_for(_TOP)


@st.composite
def _answers(draw_: st.DrawFn) -> list[Answer]:
    made: list[Answer] = []
    for minute in range(draw_(st.integers(0, 12))):
        item: Item = draw_(st.sampled_from(_PLAN))
        grades = [SKIP, *(one.code for one in item.grades)]
        made.append(answer(item.key, draw_(st.sampled_from(grades)), 200 + minute, draw_(st.sampled_from(["", "x."]))))
    return made


@settings(max_examples=60, deadline=None)
@given(_answers())
def test_whatever_was_answered_no_finding_of_an_item_is_lost_and_only_unanswered_items_stay_open(
    answers: list[Answer],
) -> None:
    evidence = sample.evidence_of([], top=_TOP)
    rows = coverage(_PLAN, evidence, answers)
    assert [row.item for row in rows] == [*_PLAN]
    by_key: dict[str, list[Answer]] = {}
    for one in answers:
        by_key.setdefault(one.key, []).append(one)
    for row in rows:
        own = by_key.get(row.item.key, [])
        assert (row.state == "missing") == (not own)
        grades = [row.item.grade(one.grade) for one in own]
        wrong = any(grade is not None and grade.weight is not None for grade in grades)
        assert bool(row.findings) == wrong


def test_the_paper_names_every_item_and_who_skipped_what() -> None:
    top = sample.system()
    evidence = sample.evidence_of(whole(top))
    answers = [one for one in all_good(top) if one.key != "linkage"]
    answers.append(answer("linkage", SKIP, words="The trim may not be taken off"))
    rows = [*covered(evidence, answers).values()]
    content = sample.certificate(with_plan(sample.results(evidence, planned=True), rows))
    text = _text(draw(content).pdf)
    for row in rows:
        assert _squeezed(row.item.title) in text, row.item.title
        if row.item.measured != "sensor":
            assert _squeezed(row.words) in text, row.words
    assert _squeezed("Inspection plan of 36 items: 35 in order, 0 with a finding, 1 skipped.") in text
    assert text.count(_squeezed("The trim may not be taken off")) == 2  # in the plan, and under what was not tested
    assert _squeezed("15 sensors: each as asked; see the proof matrix.") in text


def _text(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return _squeezed("".join(page.get_textpage().get_text_bounded() for page in document))


def _squeezed(words: str) -> str:
    return "".join(words.split()).replace("-", "").replace("\ufffe", "").replace("\u2010", "")


def test_the_answer_carries_its_time() -> None:
    top = sample.system()
    row = covered(sample.evidence_of([], top=top), [answer("latches", "hold", 205)])["latches"]
    assert row.at == datetime.fromisoformat("2026-11-20T12:25:00+00:00")
    assert row.by == "Ines Okafor"
