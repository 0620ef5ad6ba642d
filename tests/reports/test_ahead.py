"""What a certificate says may fail next: chances with intervals and the cars behind them, or that nothing is said."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from diagnostics.learning.predict import Outlook, PositionOutlook
from diagnostics.learning.records import Estimate
from diagnostics.models import Check
from diagnostics.selectors.failure_model import outlook_of_car
from diagnostics.selectors.systems import system_for_car, system_of
from reports.document import compose
from reports.document.compose.ahead import FEWEST_CARS
from reports.document.content import Ahead, AheadRow, Certificate, Expected, Finding, fingerprint, from_json
from reports.document.draw import draw
from reports.document.draw.curves import LEFT, TALL, ChanceCurves
from shop.models import Job, User
from tests.diagnostics.learned import a_model, keep
from tests.reports import sample
from tests.reports.test_draw import pages_of
from tests.reports.test_services import ask_and_issue

DAY = date(2026, 11, 20)
NAMES = {"BG1": "Header latch locked", "BG2": "Header latch open", "MM3": "Stack cylinder, left"}


def at(position: str, chance: float, cars: int) -> PositionOutlook:
    both = (Estimate(chance, chance / 2, chance * 2), Estimate(2 * chance, chance, 3 * chance))
    return PositionOutlook(position, both, cars)


def ahead(*positions: PositionOutlook, findings: tuple[Finding, ...] = (), made: dict[str, str] | None = None) -> Ahead:
    told = Outlook((12, 24), positions, ())
    return compose.ahead_of(told, findings, names=NAMES, made=made or {}, as_of=DAY, learned_on=date(2026, 11, 1))


def finding(position: str, weight: str) -> Finding:
    return Finding(weight, position, NAMES[position], "leaks", "rule")  # type: ignore[arg-type]


def test_the_first_page_names_the_likeliest_with_interval_and_months() -> None:
    words = compose.ahead_words(ahead(at("BG1", 0.06, 200), at("BG2", 0.01, 200), at("MM3", 0.005, 200)))
    assert "BG1 Header latch locked, 12 % (6 % to 18 %) within 24 months; BG2 Header latch open, 2 %" in words
    assert "MM3" not in words


def test_nothing_is_said_where_too_few_cars_were_seen_and_that_is_said() -> None:
    few, enough = ahead(at("BG1", 0.06, FEWEST_CARS - 1), at("BG2", 0.01, FEWEST_CARS)).rows
    assert (few.expected, few.cars) == ((), FEWEST_CARS - 1)
    assert enough.expected == (Expected(12, 0.01, 0.005, 0.02), Expected(24, 0.02, 0.01, 0.03))
    assert "too few cars" in compose.ahead_words(ahead(at("BG1", 0.06, 3)))
    assert "nothing has been learned here" in compose.ahead_words(None)


def test_what_was_found_faulty_has_failed_already_unless_it_was_put_right() -> None:
    found = ahead(at("BG1", 0.06, 90), at("MM3", 0.02, 90), findings=(finding("MM3", "critical"),))
    assert [row.position for row in found.rows] == ["BG1"]
    mended = ahead(at("BG1", 0.06, 90), at("MM3", 0.02, 90), findings=(finding("MM3", "put-right"),))
    assert [row.position for row in mended.rows] == ["BG1", "MM3"]


def _sample() -> Certificate:
    return sample.certificate(sample.results(sample.evidence_of(sample.sound_checks(sample.system()))), sample.system())


@pytest.fixture(scope="module")
def certificate() -> Certificate:
    made = {"BG2": "Made up to March 2004: fails 4.1 times as often here (2.6 to 6.3)."}
    told = ahead(at("BG1", 0.06, 214), at("BG2", 0.011, 214), at("MM3", 0.02, 7), made=made)
    return replace(_sample(), ahead=told, outlook=compose.ahead_words(told))


def test_the_paper_has_the_numbers_of_the_content(certificate: Certificate) -> None:
    words = " ".join(pages_of(draw(certificate).pdf))
    assert "What may fail next" in words
    assert "BG1 Header latch locked 6 % (3 % to 12 %) 12 % (6 % to 18 %) 214" in words
    assert "fails 4.1 times as often here (2.6 to 6.3)" in words
    assert "from 20 Nov 2026" in words
    assert "Learned on 1 Nov 2026" in words
    assert f"(under {FEWEST_CARS}) to say anything of: MM3 Stack cylinder, left" in words
    assert certificate.outlook in words
    assert "What may fail next" not in " ".join(pages_of(draw(replace(certificate, ahead=None, outlook="None.")).pdf))


def test_it_is_no_part_of_what_is_certified(certificate: Certificate) -> None:
    """It changes from day to day, and a certificate that stands is not replaced for that."""
    assert fingerprint(certificate, "") == fingerprint(replace(certificate, ahead=None, outlook="other"), "")
    assert fingerprint(certificate, "") != fingerprint(replace(certificate, place="elsewhere"), "")


@pytest.mark.django_db
def test_an_issued_certificate_tells_what_the_failure_model_says_of_the_car(
    checked: Job, enter: Callable[..., Check], tech: User
) -> None:
    assert from_json(json.dumps(ask_and_issue(checked, tech).content)).ahead is None
    keep([a_model()])
    enter(check="battery", volts=12.6)
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    revision = system_for_car(checked.car)
    assert revision is not None
    told = outlook_of_car(system_of(revision), checked.car, content.issued_at.date())
    assert told is not None
    assert content.ahead is not None
    assert [(row.position, row.cars) for row in content.ahead.rows] == [
        (one.position, one.cars) for one in told.outlook.positions
    ]
    (first, *_rest), (row, *_others) = told.outlook.positions, content.ahead.rows
    assert [one.chance for one in row.expected] == [pytest.approx(one.estimate, abs=1e-4) for one in first.chances]
    assert row.position in content.outlook


def curved(chance: float, cars: int = 200) -> PositionOutlook:
    spans = compose.CURVE
    points = [Estimate(chance * at / 24, chance * at / 48, min(1.0, chance * at / 12)) for at in spans]
    return PositionOutlook("BG1", tuple(points), cars)


def test_a_curve_says_what_the_table_says_at_twelve_and_twenty_four_months() -> None:
    positions = tuple(replace(curved(0.1 / n), position=name) for n, name in enumerate(("BG1", "BG2", "MM3"), 1))
    found = compose.ahead_of(Outlook(compose.CURVE, positions, ()), (), names=NAMES, made={}, as_of=DAY, learned_on=DAY)
    for row in found.rows:
        assert [one.months for one in row.expected] == [12, 24]
        assert set(row.expected) <= set(row.curve)
        assert [one.months for one in row.curve] == [*compose.CURVE]


def test_curves_are_drawn_of_the_likeliest_of_which_enough_is_known() -> None:
    names = {f"BG{n}": "Switch" for n in range(6)}
    positions = tuple(replace(curved(0.5 - n / 20, cars=3 if n == 1 else 90), position=f"BG{n}") for n in range(6))
    found = compose.ahead_of(Outlook(compose.CURVE, positions, ()), (), names=names, made={}, as_of=DAY, learned_on=DAY)
    assert [row.position for row in found.rows if row.curve] == ["BG0", "BG2", "BG3"]


def test_curves_share_one_scale_and_their_band_holds_the_line() -> None:
    rows = ahead_rows(0.04, 0.3)
    chart = ChanceCurves(rows)
    assert chart.top == 0.75  # the highest end of an interval is 0.6
    assert chart.y(chart.top) == TALL
    assert chart.x(0) == LEFT
    assert chart.x(24) == pytest.approx(chart.room)
    for row in chart.rows:
        for one in row.curve:
            assert chart.y(one.low) <= chart.y(one.chance) <= chart.y(one.high) <= TALL


def test_the_paper_says_in_words_what_is_drawn() -> None:
    content = replace(
        sample.certificate(sample.results(sample.repaired())), ahead=Ahead(DAY, DAY, ahead_rows(0.04, 0.3))
    )
    text = " ".join(" ".join(page.split()) for page in pages_of(draw(content).pdf))
    assert "The same over the months, for BG1, BG2: the line is the chance, the band the interval." in text
    assert "24 months" in text
    bare = replace(content, ahead=Ahead(DAY, DAY, tuple(replace(row, curve=()) for row in ahead_rows(0.04, 0.3))))
    assert "The same over the months" not in " ".join(pages_of(draw(bare).pdf))


def ahead_rows(*chances: float) -> tuple[AheadRow, ...]:
    positions = tuple(replace(curved(chance), position=f"BG{n}") for n, chance in enumerate(chances, 1))
    found = compose.ahead_of(Outlook(compose.CURVE, positions, ()), (), names=NAMES, made={}, as_of=DAY, learned_on=DAY)
    return found.rows
