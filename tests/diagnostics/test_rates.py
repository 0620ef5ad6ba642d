"""False alarms and misses: the numbers are those by which the suspects are weighed, each with its reason."""

from typing import Any

import pytest
from django.test import Client

from diagnostics.engine import observe
from diagnostics.engine.case import parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.evidence import factors_of
from diagnostics.engine.faults import MODES
from diagnostics.engine.rate_reasons import SOUND, reasons
from diagnostics.engine.rates import Rate, rates
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from tests.diagnostics.small_system import case_data, pin, small_system
from tests.diagnostics.systems import SLUGS, shipped

SMALL = small_system()


def row(check: str, what: str) -> Rate:
    (one,) = [rate for part in rates(SMALL) for rate in part.rates if rate.check == check and what in rate.what]
    return one


def likelihoods(fault: Fault, observation: dict[str, Any]) -> tuple[float, float]:
    """Chance of this entry where nothing is wrong, and with the fault, as the suspects are weighed."""
    model = compiled(SMALL, 1)
    case = parse_case(case_data(observations=[observation]))
    (factor,) = factors_of(model, case, tuple(judge(SMALL, one) for one in case.observations))
    found = factor.likelihood(model)
    return float(found[0]), float(found[1 + model.faults.index(fault)])


@pytest.mark.parametrize(
    ("check", "what", "fault", "observation"),
    [
        ("pin", "is unplugged (read where it should be made)", Fault("BG2", "unplugged"), pin("BG2", 0.01)),
        ("pin", "stays made (read where it should be released)", Fault("BG3", "stays-made"), pin("BG3", 0.99)),
        ("pin", "angle sensor: is dead", Fault("BG6", "dead"), pin("BG6", 0.20)),
        (
            "pin-by-hand",
            "comes and goes",
            Fault("BG2", "comes-and-goes"),
            {"check": "pin-by-hand", "pressed_volts": 0.1, "released_volts": 12.4, "supply_volts": 12.5},
        ),
        ("click", "never makes", Fault("BG2", "never-makes"), {"check": "click", "heard": True}),
        ("wiggle", "wire is open", Fault("BG2", "open"), {"check": "wiggle", "steady": True}),
        ("continuity", "wire is open", Fault("BG2", "open"), {"check": "continuity", "ohms": 0.3}),
        ("look", "cylinder: leaks", Fault("MM1", "leaks"), {"check": "look", "found": "nothing"}),
        ("battery", "supply: is low", Fault("GB1", "low"), {"check": "battery", "volts": 12.75}),
        ("motion", "valve: is stuck", Fault("QM1", "stuck"), None),
    ],
)
def test_the_numbers_are_those_of_the_likelihood(
    check: str, what: str, fault: Fault, observation: dict[str, Any] | None
) -> None:
    rate = row(check, what)
    shows_nothing = observation or {"check": "motion", "motion": "close", "stops_at": None}
    if "position" not in shows_nothing and check not in ("motion", "battery"):
        shows_nothing = {**shows_nothing, "position": fault.position}
    sound, faulty = likelihoods(fault, shows_nothing)
    assert rate.false_positive == pytest.approx(1.0 - sound, abs=6e-4)
    assert rate.false_negative is not None
    # A trial that slips can name any stop, the end too: the table gives the chance that the step gets there.
    slip = observe.TRIAL_SLIP / 4 if check == "motion" else 0.0
    known = rate.false_negative * (1.0 - observe.TRIAL_SLIP) + slip if check == "motion" else rate.false_negative
    assert known == pytest.approx(faulty, abs=6e-4)


@pytest.mark.parametrize("slug", SLUGS)
def test_every_check_of_a_system_has_its_rates(slug: str) -> None:
    found = {part.check for part in rates(shipped(slug))}
    every = {"pin", "pin-by-hand", "click", "wiggle", "continuity", "look", "battery", "motion", "step-time"}
    assert found >= every | {"stands", "lamp", "complaint"}
    assert ("pressure-hold" in found) == (shipped(slug).hydraulics is not None)
    for part in rates(shipped(slug)):
        assert part.reason
        assert part.rates
        for rate in part.rates:
            assert rate.reason
            assert rate.what
            assert 0.0 < rate.false_positive < 0.25
            assert rate.false_negative is None or 0.0 < rate.false_negative < 1.0


def test_no_number_is_without_a_reason() -> None:
    """Of the tables themselves, whether or not a shipped system shows the fault."""
    known = reasons()
    modes = {mode.name for kinds in MODES.values() for mode in kinds}
    for mode in {*observe.CONTACT_SHOWS, *observe.ANGLE_SHOWS, "shorted-to-ground"}:
        assert known["pin", mode]
        assert known["pin-by-hand", mode]
    for check, table in (("click", observe.CLICK_HEARD), ("wiggle", observe.WIGGLE_STEADY)):
        assert {mode for one, mode in known if one == check} - {SOUND} == set(table)
    assert {mode for one, mode in known if one == "continuity"} - {SOUND} == dict(observe.CONTINUITY_SHOWS).keys()
    looks = {mode if kind == "*" else f"{kind} {mode}" for kind, mode in observe.LOOK_SEES}
    assert {mode for one, mode in known if one == "look"} - {SOUND} == looks
    for check, by_kind in (
        ("motion", observe.MOVES),
        ("step-time", observe.SLOW),
        ("pressure-hold", observe.HOLD_SHOWS),
    ):
        assert {mode for one, mode in known if one == check} - {SOUND} == {f"{kind} {mode}" for kind, mode in by_kind}
    assert {mode.rpartition(" ")[2] for _check, mode in known} - {SOUND, "stops"} <= modes


@pytest.mark.django_db
def test_the_page_says_how_often_and_why(client: Client, tech, revision) -> None:
    client.force_login(tech)
    page = client.get("/systems/rht-trio/rates/").content.decode()
    assert "How sure each check is" in page
    assert "A sound switch is missed in a noisy shop." in page
    assert "4.0 %" in page
    assert "4.4 %" in page, "0.044, rounded and not cut off"
    assert client.get("/systems/nowhere/rates/").status_code == 404
