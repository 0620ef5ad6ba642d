"""What one entry says by itself: the state at the pin, judged against what the pose should give.

A judgement speaks of the reading only. What the module decided cannot be read with a meter, so it is never claimed:
its own thresholds are declared per system as shares of the supply and used as such.
"""

from collections.abc import Callable, Mapping

from diagnostics.engine.case import (
    Battery,
    Click,
    Continuity,
    Look,
    MotionTrial,
    Observation,
    PinByHand,
    PinReading,
    PressureHold,
    Wiggle,
)
from diagnostics.engine.electrics import (
    BATTERY_FIT_V,
    CHARGE_FIRST_V,
    CHARGER_RUNNING_V,
    contact_ohm,
    meter_tolerance,
    ohms_u,
    spread,
    state_of_charge,
)
from diagnostics.engine.faults import mode_words, modes_of
from diagnostics.engine.hold import judge_hold
from diagnostics.engine.hydraulics import usual_up_to_s
from diagnostics.engine.levels import TOO_NEAR, WEAK_SHARE, read_pin, share_of, too_near, weak_at, weak_or_not
from diagnostics.engine.motion import MADE, RELEASED, pin_state, pose_of
from diagnostics.engine.poses import level_words, places_words
from diagnostics.engine.results import Judgement
from diagnostics.engine.system.model import BETWEEN, Pin, Position, Step, TopSystem
from diagnostics.engine.system.series import at_pin, partner_of, pin_of, twin_of
from diagnostics.engine.wiring import cable_ohm
from diagnostics.engine.words import _, number

__all__ = ["WEAK_SHARE", "judge", "read_pin", "share_of"]

OK, FINDING, REFUSED, NOTE = "ok", "finding", "refused", "note"
PLAUSIBLE_SUPPLY = (6.0, 18.0)
"""Volts at the module outside which the measurement is wrong: 6 V is the lowest supply of ISO 16750-2 (code A), 18 V
its long-term overvoltage (the latter from memory). Shares of a 12 V supply; scaled by the system's own."""


def judge(system: TopSystem, observation: Observation) -> Judgement:
    """The judgement of one observation that passed `check_case`. Raises CaseError for an unknown pose or position."""
    return _JUDGES[type(observation)](system, observation)


def refusal(system: TopSystem, volts: tuple[float, ...], supply: float | None, ignition: bool) -> str:
    """Why these readings are no evidence, or ''."""
    if not ignition:
        return _(
            "Ignition off: the module does not feed its inputs, so the pin says nothing. Switch it on and read again."
        )
    if supply is None:
        return _("No supply voltage given: measure it at the module first, a reading counts as a share of it.")
    scale = system.supply_v / 12.0
    low, high = (bound * scale for bound in PLAUSIBLE_SUPPLY)
    if not low <= supply <= high:
        words = _(
            "A supply of {supply:.2f} V at the module cannot be: expected {low:.0f} to {high:.0f} V. Measure it again."
        )
        return words.format(supply=supply, low=low, high=high)
    for reading in volts:
        if reading > supply + meter_tolerance(supply):
            words = _("{volts:.2f} V at the pin is more than the supply of {supply:.2f} V: read both again.")
            return words.format(volts=reading, supply=supply)
        if reading < -meter_tolerance(reading):
            return _("{volts:.2f} V is below ground: are the leads crossed?").format(volts=reading)
    return ""


def _charge_first(system: TopSystem, supply: float) -> str:
    if supply >= CHARGE_FIRST_V * system.supply_v / 12.0:
        return ""
    words = " " + _("Supply only {supply:.2f} V: charge first. The state is still judged by its share of the supply.")
    return words.format(supply=supply)


def _contact_ohm(system: TopSystem, pin: Pin, share: float) -> float | None:
    """Contact resistance, for a pulled-up contact only. None where next to nothing flows and the figure would be
    noise."""
    if pin.bands is not None or pin.made_reads != "low" or share >= 0.9:
        return None
    return contact_ohm(share, 1.0, system.module.pull_up_ohm)


def _pin(system: TopSystem, observation: PinReading) -> Judgement:
    why = refusal(system, (observation.volts,), observation.supply_volts, observation.ignition)
    if why or observation.supply_volts is None:
        return Judgement(REFUSED, why)
    position, code, supply = system.positions[observation.position], observation.position, observation.supply_volts
    pin = position.pin
    assert pin is not None  # noqa: S101 - check_case lets no other through
    share = share_of(system, pin, observation.volts, supply)
    reads = read_pin(system, position, share)
    due = pin_state(system, code, pose_of(system, observation.pose))
    ohms = _contact_ohm(system, pin, share)
    near = too_near(system, position, code, observation.volts, supply)
    if near and due != BETWEEN:
        return Judgement(NOTE, near + _charge_first(system, supply), "", share, ohms)
    verdict, words = _pin_words(position, code, reads, due, share, ohms)
    if reads == due == MADE:
        words += weak_or_not(system, position, observation.volts, supply)
    words += _both_on_pin(system, code, verdict)
    return Judgement(verdict, words + _charge_first(system, supply), reads, share, ohms)


def _both_on_pin(system: TopSystem, code: str, verdict: str) -> str:
    """What a reading at the pin of two switches in series leaves open, or ''."""
    twin = twin_of(system, code)
    if twin is None:
        return ""
    if verdict == FINDING:
        words = _(
            "{code} and {twin} are in series on this pin, and it does not say which of the two: a click, the ohms of "
            "each wire and by hand, one after the other, part them."
        )
    else:
        words = _("{code} and {twin} are in series on this pin: it is made only while both are made.")
    return " " + words.format(code=code, twin=twin)


def _pin_words(
    position: Position, code: str, reads: str, due: str, share: float, ohms: float | None
) -> tuple[str, str]:
    percent = f"{100 * share:.0f} %"
    contact = _ohms(ohms) if ohms is not None else ""
    if reads == BETWEEN:
        if due == BETWEEN:
            return NOTE, _("{code} reads {percent} of the supply, on its way between two places.").format(
                code=code, percent=percent
            )
        if contact:
            words = _(
                "{code} reads neither made nor released ({percent}, {contact} to ground); this pose should give {due}. "
                "A weak contact, joint or ground."
            )
        else:
            words = _(
                "{code} reads neither one state nor the other ({percent} of the supply); this pose should give {due}."
            )
        return FINDING, words.format(code=code, percent=percent, contact=contact, due=level_words(due))
    if reads != due:
        words = _("{code} reads {reads} ({percent} of the supply); this pose should give {due}.")
        return FINDING, words.format(code=code, reads=level_words(reads), percent=percent, due=level_words(due))
    if reads == MADE and weak_at(position, share):
        words = _(
            "{code} reads made, as it should, but weakly ({percent} of the supply{behind}): contact, joint or ground."
        )
        behind = ", " + contact if contact else ""
        return FINDING, words.format(code=code, percent=percent, behind=behind)
    words = _("{code} reads {reads} ({percent} of the supply), as this pose should give.")
    return OK, words.format(code=code, reads=level_words(reads), percent=percent)


def _ohms(ohms: float) -> str:
    return f"{ohms:.0f} Ω" if ohms < 10_000 else f"{ohms / 1000:.0f} kΩ"


def _by_hand(system: TopSystem, observation: PinByHand) -> Judgement:
    both = (observation.pressed_volts, observation.released_volts)
    why = refusal(system, both, observation.supply_volts, observation.ignition)
    if why or observation.supply_volts is None:
        return Judgement(REFUSED, why)
    code, supply = observation.position, observation.supply_volts
    position, pin = system.positions[at_pin(system, code)], pin_of(system, code)
    pressed, released = (share_of(system, pin, volts, supply) for volts in both)
    seen = read_pin(system, position, pressed), read_pin(system, position, released)
    ohms = _contact_ohm(system, pin, pressed)
    charge = _other_held(system, code) + _charge_first(system, supply)
    near = next(filter(None, (too_near(system, position, code, volts, supply) for volts in both)), "")
    if near:
        return Judgement(NOTE, near + charge, "", pressed, ohms)
    if seen != (MADE, RELEASED):
        words = _(
            "By hand {code} reads {pressed} when pressed and {released} when let go; it should be made, then released."
        )
        words = words.format(code=code, pressed=level_words(seen[0]), released=level_words(seen[1]))
        return Judgement(FINDING, words + charge, seen[0], pressed, ohms)
    charge = weak_or_not(system, position, observation.pressed_volts, supply) + charge
    if weak_at(position, pressed):
        words = _("By hand {code} changes, but makes weakly ({percent:.0f} % of the supply): contact, joint or ground.")
        return Judgement(FINDING, words.format(code=code, percent=100 * pressed) + charge, MADE, pressed, ohms)
    words = _("By hand {code} reads made and released: switch and wire are good. Its trigger is not proven by that.")
    return Judgement(OK, words.format(code=code) + charge, MADE, pressed, ohms)


def _other_held(system: TopSystem, code: str) -> str:
    """What a reading by hand of one of two switches in series rests on, or ''."""
    other = partner_of(system, code)
    if other is None:
        return ""
    return " " + _("This holds if {other}, in series with it, was held pressed all the time.").format(other=other)


def _click(system: TopSystem, observation: Click) -> Judgement:
    if observation.heard:
        words = _("{code} clicks: its mechanism moves. That proves neither the contact nor the wire.")
        return Judgement(NOTE, words.format(code=observation.position))
    words = _("{code} does not click: stuck, worn, or not reached.")
    return Judgement(FINDING, words.format(code=observation.position))


def _wiggle(system: TopSystem, observation: Wiggle) -> Judgement:
    if observation.steady:
        words = _("{code} stays steady while the harness is moved.")
        return Judgement(OK, words.format(code=observation.position))
    words = _("{code} jumps while the harness is moved: look for a broken or chafed wire, mostly beside a hinge.")
    return Judgement(FINDING, words.format(code=observation.position))


LEADS_OHM = 0.5
"""Ohms of a meter's own leads at most: 0.2 to 0.5 (published general figure)."""
WIRE_SLACK_OHM = 1.5
"""Ohms above leads and copper that two sound crimps may add: common practice, no source."""


def wire_limit_ohm(pin: Pin) -> float:
    """Ohms up to which the wire from the module's pin to the plug counts as whole. The link wire between two switches
    in series is taken for no longer and no thinner than the wire to the first of them."""
    return LEADS_OHM + WIRE_SLACK_OHM + cable_ohm(pin.area_mm2, pin.length_m)


def _continuity(system: TopSystem, observation: Continuity) -> Judgement:
    code, pin = observation.position, pin_of(system, observation.position)
    if observation.ohms is None:
        return Judgement(FINDING, _("The wire of {code} is open.").format(code=code))
    if TOO_NEAR <= spread(observation.ohms, ohms_u(observation.ohms), [wire_limit_ohm(pin)])[1] <= 1.0 - TOO_NEAR:
        words = _(
            "The wire of {code} has {ohms:.1f} Ω, too near to the limit of {limit:.1f} Ω to call: take off the "
            "resistance of the leads and measure again."
        )
        return Judgement(NOTE, words.format(code=code, ohms=observation.ohms, limit=wire_limit_ohm(pin)))
    if observation.ohms > wire_limit_ohm(pin):
        words = _("The wire of {code} has {ohms}; {length:g} m of {area:g} mm² should have less than {limit:.1f} Ω.")
        ohms = _ohms(observation.ohms) if observation.ohms >= 10 else f"{number(observation.ohms, '.1f')} Ω"
        words = words.format(code=code, ohms=ohms, length=pin.length_m, area=pin.area_mm2, limit=wire_limit_ohm(pin))
        return Judgement(FINDING, words)
    return Judgement(OK, _("The wire of {code} is whole ({ohms:.1f} Ω).").format(code=code, ohms=observation.ohms))


def _motion(system: TopSystem, observation: MotionTrial) -> Judgement:
    motion = system.motions[observation.motion]
    steps = {step.name: step for step in motion.steps}
    over = [s for name, s in steps.items() if observation.seconds.get(name, 0.0) > s.seconds[1]]
    slow = [s for s in over if observation.seconds[s.name] > usual_up_to_s(system, s, observation.oil_c)]
    late = " ".join(_too_slow(system, step, observation) for step in over)
    if observation.stops_at is None:
        if slow:
            return Judgement(FINDING, _("{title} ran to its end.").format(title=motion.title) + " " + late)
        return Judgement(OK, (_("{title} ran to its end.").format(title=motion.title) + " " + late).strip())
    words = _("{title} stops: the step “{step}” does not start or does not end.")
    words = words.format(title=motion.title, step=steps[observation.stops_at].title)
    if observation.stands:
        words += " " + _("Seen there: {places}.").format(places=places_words(system, observation.stands))
    return Judgement(FINDING, (words + " " + late).strip())


def _too_slow(system: TopSystem, step: Step, observation: MotionTrial) -> str:
    seconds, (low, high) = observation.seconds[step.name], step.seconds
    words = _("“{title}” took {seconds:.1f} s; {low:g} to {high:g} s are usual.")
    words = words.format(title=step.title, seconds=seconds, low=low, high=high)
    cold = usual_up_to_s(system, step, observation.oil_c)
    if cold <= high or observation.oil_c is None:
        return words
    if seconds <= cold:
        more = _("At {oil:g} °C up to {cold:.1f} s are to be expected by calculation: no sign of a weak pump.")
    else:
        more = _("At {oil:g} °C up to {cold:.1f} s are to be expected by calculation: try again with warm fluid.")
    return words + " " + more.format(oil=observation.oil_c, cold=cold)


def _look(system: TopSystem, observation: Look) -> Judgement:
    code, found = observation.position, observation.found
    if found == "nothing":
        return Judgement(NOTE, _("Nothing to be seen at {code}.").format(code=code))
    if found in modes_of(system, code):
        return Judgement(FINDING, _("Seen at {code}: {what}.").format(code=code, what=mode_words(found)))
    words = _("Noted at {code}: {what}. It is none of the faults known there, so it moves no suspect.")
    return Judgement(NOTE, words.format(code=code, what=found))


def _battery(system: TopSystem, observation: Battery) -> Judgement:
    volts, scale = observation.volts, system.supply_v / 12.0
    if not 0.0 <= volts <= PLAUSIBLE_SUPPLY[1] * scale:
        words = _("A battery of {volts:.2f} V cannot be: expected 0 to {high:.0f} V. Measure it again.")
        return Judgement(REFUSED, words.format(volts=volts, high=PLAUSIBLE_SUPPLY[1] * scale))
    if volts > CHARGER_RUNNING_V * scale:
        words = _("{volts:.2f} V is no battery at rest: a charger or the alternator runs. Measure again at rest.")
        return Judgement(NOTE, words.format(volts=volts))
    percent = state_of_charge(volts / scale)
    if volts >= BATTERY_FIT_V * scale:
        words = _("Battery {volts:.2f} V at rest, about {percent:.0f} % charged: fit for testing.")
        return Judgement(OK, words.format(volts=volts, percent=percent))
    if volts >= CHARGE_FIRST_V * scale:
        words = _("Battery {volts:.2f} V at rest, about {percent:.0f} % charged: use a charger while testing.")
        return Judgement(FINDING, words.format(volts=volts, percent=percent))
    words = _(
        "Battery {volts:.2f} V at rest, about {percent:.0f} % charged: charge first, a module may refuse to move the "
        "top."
    )
    return Judgement(FINDING, words.format(volts=volts, percent=percent))


_JUDGES: Mapping[type, Callable[[TopSystem, object], Judgement]] = {
    PinReading: _pin,  # type: ignore[dict-item]
    PinByHand: _by_hand,  # type: ignore[dict-item]
    Click: _click,  # type: ignore[dict-item]
    Wiggle: _wiggle,  # type: ignore[dict-item]
    Continuity: _continuity,  # type: ignore[dict-item]
    MotionTrial: _motion,  # type: ignore[dict-item]
    Look: _look,  # type: ignore[dict-item]
    PressureHold: judge_hold,  # type: ignore[dict-item]
    Battery: _battery,  # type: ignore[dict-item]
}
