"""Why each check errs as often as it is taken to: one sentence for each number of the table of rates.

All of it is common practice without a source; the numbers stand in `observe.py`.
"""

from collections.abc import Mapping

from diagnostics.engine.words import _

Reasons = Mapping[tuple[str, str], str]
SOUND = "sound"
"""Stands for a mode where the reason is that of a false alarm."""


def reasons() -> Reasons:
    """(check, mode or SOUND) -> sentence; of a look, a motion or a pressure hold the mode is written `kind mode`."""
    return {**_at_the_pin(), **_by_hand(), **_at_the_position(), **_looks(), **_motions()}


def _at_the_pin() -> Reasons:
    return {
        ("pin", SOUND): _("One reading in fifty is taken at the wrong pin, or with the top not quite in its pose."),
        ("pin", "stays-made"): _("Closed for good; a film can still make it weak."),
        ("pin", "never-makes"): _("No contact any more; a leakage path rarely pulls the pin part of the way."),
        ("pin", "comes-and-goes"): _("Caught in its bad moment in about half of the readings."),
        ("pin", "high-resistance"): _("A film of tens to thousands of ohms behind a pull-up of about a kilo-ohm."),
        ("pin", "open"): _("The broken ends touch now and then."),
        ("pin", "unplugged"): _("Nothing connects; only a reading at the wrong pin hides it."),
        ("pin", "shorted-to-ground"): _("The wire lies at ground, whatever the switch does."),
        ("pin", "out-of-adjustment"): _(
            "A contact is mostly not reached, or the cam set the other way keeps it pressed; an angle is shifted by "
            "some degrees, mostly out of its band."
        ),
        ("pin", "dead"): _("One value wherever it stands, which is sometimes the right one."),
        ("pin", "input-dead"): _("The pin is sound, only the module does not see it."),
    }


def _by_hand() -> Reasons:
    there = _at_the_pin()
    pressed = _("Pressed and let go are both read, so it shows unless it happens to change as it should.")
    both = {("pin-by-hand", mode): pressed for _check, mode in there if mode != SOUND}
    slip = _("One in fifty at the wrong pin, and now and then the wrong lever is pressed.")
    return {**both, ("pin-by-hand", SOUND): slip}


def _at_the_position() -> Reasons:
    return {
        ("click", SOUND): _("A sound switch is missed in a noisy shop."),
        ("click", "stays-made"): _("Mostly stuck, so that nothing snaps."),
        ("click", "never-makes"): _("Burnt contacts still snap, a broken mechanism does not."),
        ("click", "comes-and-goes"): _("Worn, but it snaps."),
        ("click", "high-resistance"): _("The film does not touch the mechanism."),
        ("wiggle", SOUND): _("Probes slip off the pin."),
        ("wiggle", "comes-and-goes"): _("Moves with vibration in two cars of three."),
        ("wiggle", "high-resistance"): _("A bad joint changes when it is moved; a film does not."),
        ("wiggle", "open"): _("Broken ends touch when the harness is moved."),
        ("wiggle", "shorted-to-ground"): _("A chafed spot comes off the metal."),
        ("continuity", SOUND): _("Tips slip, and a plug is measured at the wrong chamber."),
        ("continuity", "open"): _("Broken ends touch while the wire lies still."),
        ("continuity", "high-resistance"): _("Mostly it is the contact, only sometimes a joint of the wire."),
        ("continuity", "comes-and-goes"): _("Mostly it is the contact, only sometimes the wire."),
        ("pressure-hold", SOUND): _("The fluid has not settled, or a fitting of the gauge weeps."),
        ("pressure-hold", "cylinder leaks"): _("A seal that only weeps while the rod moves holds; a torn one drops."),
        ("pressure-hold", "pump weak"): _("Worn gears let back; low level and air, the more common cause, hold."),
        ("battery", SOUND): _("Customers’ cars arrive half charged about one time in five."),
        ("battery", "low"): _("A supply too low under load mostly shows at rest; a bad joint does not."),
    }


def _looks() -> Reasons:
    inside = _("It is inside the housing: at most the outside gives a hint.")
    every = {
        SOUND: _("Something is named that is not there, or what hangs in plain sight is missed."),
        "unplugged": _("The plug hangs there."),
        "out-of-adjustment": _("Marks of the cam, travel that is used up."),
        "open": _("Mostly inside the sleeve."),
        "shorted-to-ground": _("A chafed spot, if it lies open."),
        "stays-made": _("The plunger stays in, the boot is stiff."),
        "never-makes": inside,
        "comes-and-goes": inside,
        "high-resistance": _("Green contacts or water in the housing."),
        "cylinder leaks": _("Fluid at the rod."),
        "cylinder binds": _("A bent rod, marks."),
        "latch binds": _("Rubbing marks, dry hooks."),
        "pump dead": _("Silent when commanded, seldom to be seen."),
        "pump weak": _("Level and foam in the tank."),
        "valve stuck": inside,
        "motor dead": _("Water, a burnt smell."),
        "supply low": _("Dim lamps."),
        "module input-dead": inside,
        "module output-dead": _("Water marks, a burnt smell."),
        "angle-sensor dead": inside,
    }
    return {("look", mode): words for mode, words in every.items()}


def _motions() -> Reasons:
    moves = {
        SOUND: _("The step is named wrongly, or the switch was let go early."),
        "cylinder leaks": _("Most leaks show before they stop a step."),
        "cylinder binds": _("It binds at one place of its way, or only when loaded."),
        "pump dead": _("Nothing moves, but for what springs and weight do."),
        "pump weak": _("Slow, and fails on the heavy steps only."),
        "valve stuck": _("It seldom comes free."),
        "motor dead": _("Nothing moves; a brush may catch once more."),
        "latch binds": _("It comes free when it is warm or pushed."),
        "module output-dead": _("Nothing is commanded; a relay may close once more."),
        "supply low": _("Slow, or the module gives up."),
    }
    slow = {
        SOUND: _(
            "A sound step sticks after a long stand. Where no fluid temperature was noted, cold fluid may also have "
            "slowed all that the pump drives."
        ),
        "cylinder leaks": _("A small leak takes no time that a hand can stop."),
        "cylinder binds": _("It binds at one place of its way."),
        "pump weak": _("A light step still keeps its time."),
        "latch binds": _("It goes over at once, once it is free."),
        "supply low": _("A light step still keeps its time."),
    }
    told = {
        ("stands", SOUND): _("A finger’s breadth from its end is taken for arrived, or the reverse."),
        ("lamp", SOUND): _("The lamp is read while hands are full."),
        ("complaint", SOUND): _("The switch was held too briefly, or a load lay on the divider."),
        ("complaint", "stops"): _("Customers name the right step three times in four, else mostly the one beside."),
    }
    every = (("motion", moves), ("step-time", slow))
    return {**{(check, mode): words for check, one in every for mode, words in one.items()}, **told}
