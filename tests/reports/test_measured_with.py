"""What a certificate says of the instruments: which calibration counts, and what the limits are decided with."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.document import compose
from reports.document.compose import Calibrated, Used, decision_rule_words, meter_of, named, overall
from reports.document.compose.instruments import remarks, uncertainty_words, untraced
from reports.document.content import Instrument, Results, fingerprint
from reports.document.decide import ORDER, Meter, decide, meter_uncertainty
from reports.document.draw import draw
from reports.document.draw.instruments import instrument_words
from reports.gather import certificate_content
from reports.instruments import services
from reports.services import certificate_freeze
from shop.models import Job, User
from tests.reports import sample
from tests.reports.measuring import calibration, instrument
from tests.reports.test_draw import pages_of

D = date(2026, 11, 20)


def on(offset: int) -> date:
    return D + timedelta(days=offset)


def calibrated(first: int, last: int, expanded: float | None = None, certificate: str = "K") -> Calibrated:
    return Calibrated(on(first), on(last), certificate, "Messdienst", expanded)


def meter(*calibrations: Calibrated, **more: Any) -> Used:
    return Used("multimeter", "Bench meter", "LM-1", calibrations, percent=0.3, volts=0.02, **more)


class TestWhichCalibrationCounts:
    @pytest.mark.parametrize(
        ("spans", "days", "begun", "without", "earlier"),
        [
            ([], [0], None, [], False),
            ([(-100, 265)], [0, 3], -100, [], False),
            ([(-100, 0)], [0], -100, [], False),  # its last day counts
            ([(0, 9)], [0], 0, [], False),  # and its first
            ([(-100, -1)], [0], -100, [0], False),
            ([(-100, 1)], [0, 1, 2], -100, [2], False),
            ([(1, 99)], [0], None, [], False),  # made after the inspection: none was claimed then
            ([(1, 99)], [0, 2], 1, [0], False),
            ([(-100, 5), (1, 99)], [0, 6], 1, [], True),
            ([(-100, 50), (1, 99)], [0, 6], -100, [], False),  # one alone covers every day
            ([(-300, 50), (-100, 50)], [0], -100, [], False),  # the later of two
        ],
    )
    def test_the_one_that_is_named_and_the_days_without(
        self,
        spans: Sequence[tuple[int, int]],
        days: Sequence[int],
        begun: int | None,
        without: list[int],
        earlier: bool,
    ) -> None:
        found = named(meter(*(calibrated(*span) for span in spans)), [on(day) for day in days])
        assert found.calibrated_on == (None if begun is None else on(begun))
        assert found.not_valid_on == tuple(on(day) for day in without)
        assert found.earlier is earlier
        assert found.valid is (begun is not None and not without)

    def test_of_several_that_counted_the_largest_uncertainty(self) -> None:
        row = meter(calibrated(-100, 5, 0.02), calibrated(1, 99, 0.004), calibrated(200, 300, 9.0))
        assert meter_of([row], [on(0), on(6)]) == Meter(0.3, 0.02, 0.02, True, "Bench meter (LM-1)")

    def test_only_a_multimeter_reads_voltages(self) -> None:
        assert meter_of([Used("stopwatch", "Watch", "S-1")], [D]) is None


class TestWords:
    @pytest.mark.parametrize(
        ("spans", "days", "words"),
        [
            ([], [0], "Bench meter (LM-1); no calibration is claimed"),
            (
                [(-100, 265)], [0],
                "Bench meter (LM-1); calibrated on 12 Aug 2026, certificate K of Messdienst, valid until 12 Aug 2027",
            ),
            (
                [(-100, -1)], [0],
                "Bench meter (LM-1); calibrated on 12 Aug 2026, certificate K of Messdienst. Its calibration expired "
                "on 19 Nov 2026.",
            ),
            (
                [(1, 99)], [0, 2],
                "Bench meter (LM-1); calibrated on 21 Nov 2026, certificate K of Messdienst. No calibration of it was "
                "valid on 20 Nov 2026.",
            ),
        ],
    )  # fmt: skip
    def test_what_is_printed_of_one(self, spans: Sequence[tuple[int, int]], days: Sequence[int], words: str) -> None:
        found = named(meter(*(calibrated(*span) for span in spans)), [on(day) for day in days])
        assert instrument_words(found) == words

    def test_the_rule_is_the_old_one_where_no_meter_is_named(self) -> None:
        assert "the meter is taken to be the shop's usual one, no calibration is claimed" in decision_rule_words()

    def test_the_rule_says_where_u_comes_from(self) -> None:
        words = decision_rule_words(Meter(0.3, 0.02, 0.004, True, "Bench meter (LM-1)"))
        assert "Bench meter (LM-1): the accuracy that its maker states, ±(0.3 % of reading + 0.02 V)" in words
        assert "the U of its calibration, 0.004 V" in words
        assert "usual" not in words
        assert "never smaller than the usual meter’s" in decision_rule_words(Meter(0.3, 0.02, words="M"))

    def test_an_expired_watch_is_named_only_where_times_were_taken(self) -> None:
        watch = Instrument("Watch", "S-1", on(-400), "stopwatch", on(-35), not_valid_on=(D,))
        timed = sample.results(sample.evidence_of(sample.sound_checks(sample.system())))
        assert [row.what for row in untraced(timed, [watch])] == ["Calibration of Watch (S-1)"]
        assert list(remarks(timed, [watch])) == [
            "Step times were decided with Watch (S-1). Its calibration expired on 16 Oct 2026."
        ]
        assert list(untraced(Results(), [watch])) == []
        assert list(remarks(Results(), [watch])) == []


METERS = st.builds(
    Meter,
    percent=st.none() | st.floats(0, 5),
    volts=st.floats(0, 1),
    expanded_volts=st.none() | st.floats(1e-4, 1),
    valid=st.booleans(),
)


class TestWhatMoreUncertaintyDoes:
    """More uncertainty moves a decision towards the limit and never over it: a pass may become conditional, and so may
    a fail. What it never does is change the side, or make anything surer."""

    @given(st.floats(0, 1), st.floats(0, 1), st.lists(st.floats(0, 1), min_size=2, max_size=5))
    def test_the_side_stays_and_nothing_becomes_surer(self, value: float, limit: float, doubts: list[float]) -> None:
        outcomes = [decide(value, limit, u) for u in sorted(doubts)]
        sides = {ORDER.index(one) >= ORDER.index("conditional fail") for one in outcomes}
        assert sides == {value > limit}
        sure = [one in ("pass", "fail") for one in outcomes]
        assert all(before or not after for before, after in pairwise(sure))

    @given(METERS, st.floats(-20, 20), st.floats(0, 1), st.floats(0, 1))
    def test_a_worse_meter_is_never_less_uncertain(self, one: Meter, volts: float, more: float, u: float) -> None:
        here = meter_uncertainty(volts, one)
        if one.percent is not None:
            assert meter_uncertainty(volts, replace(one, percent=one.percent + more)) >= here
            assert meter_uncertainty(volts, replace(one, volts=one.volts + more)) >= here
        assert meter_uncertainty(volts, replace(one, expanded_volts=(one.expanded_volts or 0) + u)) >= here

    @given(METERS, st.floats(-20, 20))
    def test_without_a_valid_calibration_nothing_is_surer(self, one: Meter, volts: float) -> None:
        lapsed = meter_uncertainty(volts, replace(one, valid=False))
        assert lapsed >= meter_uncertainty(volts)
        assert lapsed >= meter_uncertainty(volts, replace(one, valid=True))


class TestLimitsDecidedWithANamedMeter:
    """BG3 made leaves 1.21 V of 12.40 V: 9.8 %, limit 10 %."""

    def decided(self, named_one: Meter | None) -> Any:
        check = sample.pin(sample.system(), 0, "BG3", "closed", 1.21 / 12.4)
        found = sample.results(replace(sample.evidence_of([check]), meter=named_one))
        (row,) = [row for row in found.limits if row.position == "BG3"]
        return row

    def test_a_good_meter_makes_it_a_plain_pass(self) -> None:
        assert self.decided(None).outcome == "conditional pass"
        assert self.decided(None).uncertainty_from == ""
        good = self.decided(Meter(0.05, 0.003, 0.002, True, "M (1)"))
        assert good.outcome == "pass"
        assert good.uncertainty_from.startswith("M (1): the accuracy that its maker states")

    def test_the_same_one_expired_does_not(self) -> None:
        row = self.decided(Meter(0.05, 0.003, 0.002, False, "M (1)"))
        assert row.outcome == "conditional pass"
        assert row.uncertainty == pytest.approx(self.decided(None).uncertainty)

    def test_a_poor_one_is_as_uncertain_as_it_is(self) -> None:
        assert self.decided(Meter(2.0, 0.2, None, True)).uncertainty > 3 * self.decided(None).uncertainty

    def test_without_a_stated_accuracy_the_usual_allowance_stands(self) -> None:
        row = self.decided(Meter(valid=True, words="M (1)"))
        assert row.uncertainty == pytest.approx(self.decided(None).uncertainty)
        assert uncertainty_words(Meter(valid=True, words="M (1)")) == (
            "M (1): the usual meter’s allowance, taken as rectangular"
        )


def content(job: Job, by: User) -> Any:
    return certificate_content(job=job, number="", by=by, issued_at=job.opened_at)


@pytest.mark.django_db
class TestOnTheCertificate:
    def test_without_a_choice_it_says_what_it_said(self, checked: Job, tech: User) -> None:
        before = content(checked, tech)
        row = instrument(tech)  # one in the book is nothing that was used
        calibration(row, tech)
        use = services.instrument_choose(job=checked, instrument=row, by=tech)
        services.instrument_unchoose(job=checked, use=use, by=tech)
        after = content(checked, tech)
        assert after.instruments == (
            Instrument("Digital multimeter and stopwatch of the shop; which ones was not recorded"),
        )
        assert after.decision_rule == decision_rule_words()
        assert after.overall == overall(after.results, motions=2)
        assert fingerprint(after, "") == fingerprint(before, "")

    def test_what_was_chosen_is_named_and_decides(self, checked: Job, tech: User) -> None:
        row = instrument(tech)
        calibration(row, tech, expanded_volts=Decimal("0.004"), number="K-7")
        services.instrument_choose(job=checked, instrument=row, by=tech)
        found = content(checked, tech)
        meter_said, watch_said = found.instruments
        assert (meter_said.serial, meter_said.certificate, meter_said.valid) == ("LM-20417", "K-7", True)
        assert watch_said == Instrument("Stopwatch of the shop; which one was not recorded")
        assert "±(0.3 % of reading + 0.02 V)" in found.decision_rule
        assert all("LM-20417" in one.uncertainty_from for one in found.results.limits if one.unit != "s")
        assert found.results.not_tested == content(checked, tech).results.not_tested

    def test_an_expired_one_is_said_in_the_statement_and_among_what_was_not_tested(
        self, checked: Job, tech: User
    ) -> None:
        row = instrument(tech)
        calibration(row, tech, ago=500, lasts=365)
        services.instrument_choose(job=checked, instrument=row, by=tech)
        found = content(checked, tech)
        assert "Voltages were decided with Bench meter 1 (LM-20417). Its calibration expired on" in found.overall.words
        (said,) = [one for one in found.results.not_tested if one.what == "Calibration of Bench meter 1 (LM-20417)"]
        assert "rests on no valid calibration" in said.why
        assert found.results.limits

    def test_a_struck_calibration_is_none(self, checked: Job, tech: User) -> None:
        row = instrument(tech)
        wrong = calibration(row, tech)
        services.calibration_strike(calibration=wrong, reason="of another meter", by=tech)
        services.instrument_choose(job=checked, instrument=row, by=tech)
        assert content(checked, tech).instruments[0].calibrated_on is None

    def test_another_choice_is_another_certificate(
        self, checked: Job, tech: User, owner: User, issued_at_once: Any
    ) -> None:
        first, _run = certificate_freeze(job=checked, by=owner)
        assert certificate_freeze(job=checked, by=owner)[0] == first
        services.instrument_choose(job=checked, instrument=instrument(tech), by=tech)
        prints = [fingerprint(content(checked, tech), "")]
        calibration(checked.instrument_uses.get().instrument, tech)
        prints.append(fingerprint(content(checked, tech), ""))
        assert len({first.fingerprint, *prints}) == 3


def test_the_paper_prints_serial_calibration_and_expiry() -> None:
    expired = named(meter(calibrated(-400, -35)), [D])
    evidence = replace(sample.evidence_of(sample.sound_checks(sample.system())), meter=meter_of([meter()], [D]))
    found = sample.results(evidence)
    found = replace(found, not_tested=(*found.not_tested, *compose.untraced(found, [expired])))
    said = " ".join(pages_of(draw(sample.certificate(found, instruments=(expired,))).pdf))
    assert "Bench meter (LM-1); calibrated on 16 Oct 2025" in said
    assert "Its calibration expired on 16 Oct 2026." in said
    assert "Every one read with: Bench meter (LM-1)" in said
    assert "U from Bench meter (LM-1): the accuracy that its maker states" in said
    assert "Calibration of Bench meter (LM-1)" in said


@pytest.mark.parametrize("name", ["<b>& {x} %s</para>", "\u202eретем", "x" * 60])
def test_any_name_is_printed_as_it_is_written(name: str) -> None:
    one = replace(named(meter(calibrated(-400, -35)), [D]), name=name)
    evidence = replace(sample.evidence_of(sample.sound_checks(sample.system())), meter=Meter(words=name))
    found = sample.results(evidence)
    found = replace(found, not_tested=(*found.not_tested, *untraced(found, [one])))
    content = sample.certificate(found, instruments=(one,), decision_rule=decision_rule_words(Meter(words=name)))
    said = " ".join(pages_of(draw(content).pdf))
    assert "Its calibration expired on 16 Oct 2026." in said
    if name.startswith("<b>"):
        assert name in said
