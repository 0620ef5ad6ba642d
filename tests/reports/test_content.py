"""What a certificate says: composed from checks, decided by rule, stored and read back."""

import json
from dataclasses import fields, replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.results import Fault, Suspect
from reports.document.compose import Worked
from reports.document.content import Certificate, ContentError, NotTested, Person, fingerprint, from_json, to_json
from reports.document.numbers import ALPHABET, check_character, number_holds, number_new
from tests.reports import sample


def subjects(content: tuple[NotTested, ...]) -> set[str]:
    return {one.what for one in content}


def test_json_gives_the_same_content_back() -> None:
    content = sample.certificate(sample.results(sample.repaired()))
    assert from_json(to_json(content)) == content
    assert set(json.loads(to_json(content))) == {field.name for field in fields(Certificate)}


@pytest.mark.parametrize(
    ("broken", "where"),
    [('{"number": 3}', "number"), ("[]", "the certificate"), ("{}", "number"), ("nonsense", "the certificate")],
)
def test_stored_nonsense_is_named(broken: str, where: str) -> None:
    with pytest.raises(ContentError, match=f"^{where}"):
        from_json(broken)


def test_fingerprint_follows_what_is_certified_only() -> None:
    content = sample.certificate(sample.results(sample.repaired()))
    same = replace(
        content, number="TW-2026-00000000-0", issued_at=content.issued_at + timedelta(1), approved_by=Person("X", "Y")
    )
    assert fingerprint(same, "") == fingerprint(content, "")
    assert fingerprint(content, "TW-2026-00000000-0") != fingerprint(content, "")
    assert fingerprint(replace(content, client="Somebody else"), "") != fingerprint(content, "")


def test_a_sound_top_passes() -> None:
    found = sample.results(sample.evidence_of(sample.sound_checks(sample.system())))
    assert found.findings == ()
    assert all(row.made and row.released for row in found.proof)
    assert sample.certificate(found).overall.statement == "pass"


@pytest.mark.parametrize("slug", ["rht-trio", "softbow-hydro", "softline-electro"])
def test_every_shipped_system_can_pass(slug: str) -> None:
    top = sample.system(slug)
    found = sample.results(sample.evidence_of(sample.sound_checks(top), top=top))
    assert sample.certificate(found, top).overall.statement == "pass", found.findings


def test_nothing_is_stated_of_what_was_not_covered() -> None:
    """Leave out any one sensor or motion: no statement of conformity, and the thing stands in the list."""
    top = sample.system()
    for left_out in (*top.sensors(), "open", "close"):
        checks = [
            one
            for one in sample.sound_checks(top)
            if left_out not in (one.position, getattr(one.observation, "motion", ""))
        ]
        found = sample.results(sample.evidence_of(checks))
        assert sample.certificate(found).overall.statement == "none"
        title = top.motions[left_out].title if left_out in top.motions else f"{left_out} {top.positions[left_out].name}"  # type: ignore[index]
        assert title in subjects(found.not_tested)


def test_what_was_not_tested_is_complete() -> None:
    """With nothing but one reading, everything that the system has is in the list, each position once."""
    top = sample.system()
    found = sample.results(sample.evidence_of([sample.pin(top, 0, "BG3", "closed")]))
    listed = [one.what.split(" ")[0] for one in found.not_tested]
    for code in top.positions:
        assert listed.count(code) == 1, code
    whats = subjects(found.not_tested)
    assert {motion.title for motion in top.motions.values()} <= whats
    assert "Pose open" in whats
    assert "Pose closed" not in whats
    assert {"Holding of pressure", "Seals and drains", "Emergency closing", "Battery at rest"} <= whats
    half = next(one for one in found.not_tested if one.what.startswith("BG3"))
    assert half.why == "Seen made only, not released."


def test_hydraulics_are_not_missed_where_there_are_none() -> None:
    top = sample.system("softline-electro")
    found = sample.results(sample.evidence_of([], top=top))
    assert "Holding of pressure" not in subjects(found.not_tested)


def test_a_motion_without_times_is_named() -> None:
    top = sample.system()
    bare = sample.seen(top, 0, check="motion", motion="close", stops_at=None, seconds={})
    missing = next(one for one in sample.results(sample.evidence_of([bare])).not_tested if "times" in one.what)
    assert all(step.title in missing.why for step in top.motions["close"].steps)


def test_findings_have_weight_and_rule() -> None:
    found = sample.results(sample.repaired())
    assert [(one.weight, one.subject) for one in found.findings] == [
        ("critical", "MM3 Stack cylinder, left"),
        ("put-right", "Closing"),
        ("put-right", "BG8 Shells stacked"),
    ]
    assert all(one.rule for one in found.findings)
    assert sample.certificate(found).overall.statement == "fail"


def test_found_worked_on_and_not_seen_again_stays_open() -> None:
    evidence = sample.repaired()
    early = [one for one in evidence.seen if one.at < evidence.work[0].at]
    found = sample.results(
        sample.evidence_of(early, evidence.work), unproven={"BG8": "Read its pin made and released."}
    )
    weights = {one.subject: one.weight for one in found.findings if one.position == "BG8"}
    assert weights == {"BG8 Shells stacked": "major"}
    assert found.work[0].evidence == ()


def test_found_once_and_not_again_without_work_is_minor() -> None:
    top = sample.system()
    checks = [sample.pin(top, 0, "BG8", "open", 0.985), *sample.sound_checks(top, start=10)]
    found = sample.results(sample.evidence_of(checks))
    assert [(one.position, one.weight) for one in found.findings] == [("BG8", "minor")]
    assert sample.certificate(found).overall.statement == "pass"


@pytest.mark.parametrize(
    ("pressed", "statement", "weights"),
    [
        (0.05, "pass", []),
        (1.235, "conditional pass", []),
        (1.245, "conditional fail", ["minor"]),
        (2.5, "fail", ["major"]),
    ],
)
def test_a_weak_contact_is_decided_with_its_uncertainty(pressed: float, statement: str, weights: list[str]) -> None:
    """Limit 10 % of 12.4 V = 1.24 V; the meter's ±(0.5 % + 2 × 0.01 V) makes U about 0.03 V there."""
    top = sample.system()
    checks = [*sample.sound_checks(top), sample.by_hand(top, 30, "BG5", pressed=pressed)]
    found = sample.results(sample.evidence_of(checks))
    assert [one.weight for one in found.findings] == weights
    assert sample.certificate(found).overall.statement == statement


@pytest.mark.parametrize(("slow", "weight"), [(1.0, None), (1.5, "minor"), (2.9, "minor"), (4.0, "major")])
def test_step_times_against_usual_and_limit(slow: float, weight: str | None) -> None:
    """The last step of closing: usual 1.5 to 2.5 s, measured 2.0 s times `slow`, limit 6 s ± 0.5 s."""
    top = sample.system()
    checks = [*sample.sound_checks(top), sample.trial(top, 30, "close", slow=slow)]
    found = sample.results(sample.evidence_of(checks))
    assert [one.weight for one in found.findings] == ([weight] if weight else [])


def test_suspects_are_findings_by_their_probability() -> None:
    top = sample.system()
    suspects = [
        Suspect(Fault("BG8", "never-makes"), 0.87, "Shells stacked never makes."),
        Suspect(Fault("BG8", "unplugged"), 0.2, "Shells stacked is unplugged."),
        Suspect(Fault("MM5", "binds"), 0.09, "Shell cylinder binds."),
    ]
    found = sample.results(sample.evidence_of(sample.sound_checks(top)), suspects=suspects)
    assert [(one.position, one.weight) for one in found.findings] == [("BG8", "major"), ("MM5", "minor")]
    assert found.findings[0].words == (
        "Probable fault: Shells stacked never makes (87 % by the checks made). "
        "Also possible: Shells stacked is unplugged (20 % by the checks made)."
    )


def test_work_overtakes_trials_made_before_it() -> None:
    evidence = sample.repaired()
    checks = [one for one in evidence.seen if one.at < evidence.work[0].at or one.observation.check != "motion"]
    found = sample.results(sample.evidence_of(checks, evidence.work))
    assert {"Opening", "Closing"} <= subjects(found.not_tested)
    assert not any(row.unit == "s" for row in found.limits)


@given(st.integers(2000, 2999), st.integers(0, 2**40))
def test_numbers_hold_and_mistyped_ones_do_not(year: int, seed: int) -> None:
    """Every single wrong character is found, and every exchange of two unlike neighbours in the random part."""
    picks = iter(range(8))
    number = number_new(year, choose=lambda letters: letters[(seed >> (5 * next(picks))) % len(letters)])
    assert number_holds(number)
    body = number.split("-")[2]
    for at in range(8):
        wrong = ALPHABET[(ALPHABET.index(body[at]) + 1 + seed % 28) % 29]
        assert not number_holds(number.replace(body, body[:at] + wrong + body[at + 1 :]))
    for at, digit in enumerate(f"{year:04d}"):
        other = f"{year:04d}"[:at] + str((int(digit) + 1 + seed % 9) % 10) + f"{year:04d}"[at + 1 :]
        assert not number_holds(number.replace(f"-{year:04d}-", f"-{other}-"))
    for at in range(7):
        if body[at] != body[at + 1]:
            swapped = body[:at] + body[at + 1] + body[at] + body[at + 2 :]
            assert check_character(year, swapped) != check_character(year, body)


@pytest.mark.parametrize(
    "wrong", ["", "TW-2026", "XX-2026-00000000-0", "TW-²026-00000000-0", "TW-2026-0000000A-0", "TW-2026-0-0"]
)
def test_what_is_no_number(wrong: str) -> None:
    assert not number_holds(wrong)


def test_what_was_in_order_only_before_the_last_work_is_not_put_right() -> None:
    """Read wrong, then right, then worked on: nobody has seen what the work did."""
    top = sample.system()
    before = [sample.pin(top, 0, "BG8", "open", 0.985), sample.pin(top, 5, "BG8", "open")]
    work = [_work("BG8", 10)]
    found = sample.results(sample.evidence_of(before, work), unproven={"BG8": "Read its pin made and released."})
    assert {one.weight for one in found.findings if one.subject.startswith("BG8")} == {"major"}
    assert all("proven" not in words for row in found.work for words in row.evidence)
    after = [*before, sample.pin(top, 15, "BG8", "open")]
    found = sample.results(sample.evidence_of(after, work))
    assert [one.weight for one in found.findings if one.subject.startswith("BG8")] == ["put-right"]
    again = [*work, _work("BG8", 20)]
    found = sample.results(sample.evidence_of(after, again))
    assert "put-right" not in {one.weight for one in found.findings if one.subject.startswith("BG8")}


def test_a_path_whose_trigger_is_unproven_is_not_called_proven() -> None:
    top = sample.system()
    evidence = sample.evidence_of([sample.by_hand(top, 15, "BG8")], [_work("BG8", 10)])
    found = sample.results(evidence, unproven={"BG8": "By hand its trigger is not proven."})
    (row,) = found.work
    assert not any(words.endswith("proven.") and "afterwards" in words for words in row.evidence)
    assert sample.results(evidence).work[0].evidence[-1].endswith("afterwards: proven.")


def _work(position: str, minute: int) -> Worked:
    return Worked(position, "Adjusted the trigger", "", sample.START + timedelta(minutes=minute), "Ines Okafor")
