"""The one table of how observations can mislead: what each fault shows to each kind of check, and how often a check
errs.

Every number here is **common practice, no source**: an estimate of how often it happens at the car, with its reason
beside it. Distributions over tokens sum to 1. A *slip* is the share of entries that say nothing about the thing
checked (wrong pin probed, pose not fully reached, sign misread); it keeps every answer possible, so that one wrong
entry never rules out the truth.
"""

from collections.abc import Mapping

Shares = tuple[float, ...]

# --- the pin of a contact (switch, Hall sensor, control switch)
CONTACT_TOKENS = ("made", "weak", "between", "released")
CONTACT_SOUND: Mapping[str, Shares] = {"made": (1.0, 0.0, 0.0, 0.0), "released": (0.0, 0.0, 0.0, 1.0)}
CONTACT_SHOWS: Mapping[str, tuple[Shares, Shares]] = {
    # mode: (where it should be made, where it should be released)
    # closed for good; a film can still make it weak
    "stays-made": ((0.97, 0.02, 0.01, 0.0), (0.97, 0.02, 0.01, 0.0)),
    # no contact any more; a leakage path rarely pulls the pin part of the way
    "never-makes": ((0.0, 0.0, 0.02, 0.98), (0.0, 0.0, 0.0, 1.0)),
    # caught in its bad moment in about half of the readings, almost always as a lost contact
    "comes-and-goes": ((0.45, 0.07, 0.10, 0.38), (0.04, 0.01, 0.02, 0.93)),
    # a film of tens to thousands of ohms behind the usual pull-up of about a kilo-ohm
    "high-resistance": ((0.04, 0.46, 0.40, 0.10), (0.0, 0.0, 0.0, 1.0)),
    # the broken ends touch now and then
    "open": ((0.03, 0.0, 0.02, 0.95), (0.0, 0.0, 0.0, 1.0)),
    "unplugged": ((0.0, 0.0, 0.0, 1.0), (0.0, 0.0, 0.0, 1.0)),
    # mostly not reached; the cam set the other way keeps it pressed
    "out-of-adjustment": ((0.25, 0.0, 0.05, 0.70), (0.15, 0.0, 0.02, 0.83)),
}
SHORTED_LOW: Shares = (0.98, 0.02, 0.0, 0.0)
"""A wire at ground reads made where made pulls the pin down, and released where made feeds it."""
SHORTED_HIGH: Shares = (0.0, 0.0, 0.0, 1.0)

# --- two contacts in series on one pin
IN_SERIES: Mapping[tuple[str, str], Shares] = {
    # Their resistances add, so the worse of the two rules the pin; two poor ones together are poorer still. The shares
    # follow from readings that lie evenly between 13 and 27 % of the supply (weak) and 36 and 62 % (between).
    ("weak", "weak"): (0.0, 0.213, 0.787, 0.0),
    ("between", "between"): (0.0, 0.0, 0.772, 0.228),
}
"""What the pin shows where both contacts show the same poor state; else it shows the later one of CONTACT_TOKENS."""

# --- the pin of an angle sensor
ANGLE_TOKENS = ("right", "wrong", "between", "rail-low", "rail-high")
ANGLE_SOUND: Shares = (1.0, 0.0, 0.0, 0.0, 0.0)
ANGLE_SHOWS: Mapping[str, Shares] = {
    # one value wherever it stands: sometimes the right one by chance
    "dead": (0.25, 0.35, 0.20, 0.10, 0.10),
    # lifts off a worn track for moments
    "comes-and-goes": (0.55, 0.10, 0.20, 0.05, 0.10),
    # floats to the rail that the module's own resistor pulls to; either kind of circuit exists
    "open": (0.0, 0.0, 0.02, 0.49, 0.49),
    "unplugged": (0.0, 0.0, 0.02, 0.49, 0.49),
    "shorted-to-ground": (0.0, 0.0, 0.0, 1.0, 0.0),
    # shifted by some degrees: mostly out of its band, seldom into the next one
    "out-of-adjustment": (0.35, 0.15, 0.50, 0.0, 0.0),
}

PRECEDENCE = (
    # Which fault rules the pin when one position has several: nearest to the module first, then the lasting ones.
    "shorted-to-ground",
    "unplugged",
    "open",
    "stays-made",
    "never-makes",
    "dead",
    "out-of-adjustment",
    "comes-and-goes",
    "high-resistance",
)

PIN_SLIP = 0.02
"""One reading in fifty at the wrong pin or with the top not quite in its pose."""
BY_HAND_SLIP = 0.02
"""The same, and now and then the wrong lever pressed."""

# --- checks at the position
CLICK_SOUND = 0.96
"""Heard from a sound switch; the rest are missed in a noisy shop."""
CLICK_HEARD: Mapping[str, float] = {
    "stays-made": 0.30,  # mostly stuck, so that nothing snaps
    "never-makes": 0.60,  # burnt contacts still snap, a broken mechanism does not
    "comes-and-goes": 0.88,  # worn, but snaps
    "high-resistance": 0.94,  # the film does not touch the mechanism
}
WIGGLE_SOUND = 0.97
"""Steady on a sound path; the rest are probes that slip off the pin."""
WIGGLE_STEADY: Mapping[str, float] = {
    "comes-and-goes": 0.35,  # moves with vibration in two cars of three
    "high-resistance": 0.65,  # a bad joint changes when moved
    "open": 0.75,  # broken ends touch
    "shorted-to-ground": 0.80,  # a chafed spot comes off the metal
}
WIGGLE_UNPLUGGED = 0.97
"""With the plug off nothing behind it can be seen moving."""
CONTINUITY_TOKENS = ("whole", "high", "open")
CONTINUITY_SOUND: Shares = (0.97, 0.02, 0.01)
CONTINUITY_SHOWS: tuple[tuple[str, Shares], ...] = (
    # In order of precedence. The wire alone is measured, from the module's pin to the plug at the position.
    ("open", (0.06, 0.06, 0.88)),  # broken ends touch while the wire lies still
    ("high-resistance", (0.70, 0.28, 0.02)),  # mostly the contact, sometimes a joint of the wire
    ("comes-and-goes", (0.85, 0.08, 0.07)),  # mostly the contact, sometimes the wire
)
LOOK_SEES: Mapping[tuple[str, str], float] = {
    # (kind or '*', mode): chance that a look at the place shows it
    ("*", "unplugged"): 0.92,  # the plug hangs there
    ("*", "out-of-adjustment"): 0.60,  # marks of the cam, travel reserve
    ("*", "open"): 0.35,  # mostly inside the sleeve
    ("*", "shorted-to-ground"): 0.35,  # chafed spot, if it lies open
    ("*", "stays-made"): 0.25,  # plunger stays in, boot stiff
    ("*", "never-makes"): 0.10,
    ("*", "comes-and-goes"): 0.06,
    ("*", "high-resistance"): 0.15,  # green contacts or water in the housing
    ("cylinder", "leaks"): 0.80,  # fluid at the rod
    ("cylinder", "binds"): 0.40,  # bent rod, marks
    ("latch", "binds"): 0.55,  # rubbing marks, dry hooks
    ("pump", "dead"): 0.15,  # silent when commanded, seldom visible
    ("pump", "weak"): 0.45,  # level and foam in the reservoir
    ("valve", "stuck"): 0.08,
    ("motor", "dead"): 0.20,  # water, burnt smell
    ("supply", "low"): 0.20,  # dim lamps
    ("module", "input-dead"): 0.08,
    ("module", "output-dead"): 0.12,  # water marks, burnt smell
    ("angle-sensor", "dead"): 0.10,
}
LOOK_SLIP = 0.02
"""A look that names something that is not there, or misses what hangs in plain sight."""
HOLD_TOKENS = ("holds", "sinks", "drops")
HOLD_SOUND: Shares = (0.93, 0.05, 0.02)
"""A sound cylinder or pump sinks when the fluid has not settled, or a fitting of the gauge weeps."""
HOLD_SHOWS: Mapping[tuple[str, str], Shares] = {
    # a seal that leaks sinks within the minute; one that only weeps while the rod moves holds; a torn one drops
    ("cylinder", "leaks"): (0.12, 0.58, 0.30),
    # worn gears and their check valve let back; low level and air, the more common cause, hold once pressed
    ("pump", "weak"): (0.50, 0.38, 0.12),
}
"""What is not here does not touch the sealing: a cylinder that binds holds. A dead pump builds up no pressure, so there
is no hold to enter."""
BATTERY_TOKENS = ("fit", "part", "low")
BATTERY_SOUND: Shares = (0.80, 0.17, 0.03)
"""Customers' cars arrive half charged about one time in five."""
BATTERY_LOW: Shares = (0.05, 0.20, 0.75)
"""A supply too low under load mostly shows at rest; a bad joint or sulphated battery does not."""

# --- motion
MOVES: Mapping[tuple[str, str], float] = {
    # chance that a step driven by it still gets there within its limit
    ("cylinder", "leaks"): 0.75,  # most leaks show before they stop a step
    ("cylinder", "binds"): 0.35,
    ("pump", "dead"): 0.01,
    ("pump", "weak"): 0.70,  # slow, and fails on the heavy steps
    ("valve", "stuck"): 0.05,
    ("motor", "dead"): 0.02,
    ("latch", "binds"): 0.35,
    ("module", "output-dead"): 0.02,
    ("supply", "low"): 0.45,  # slow, or the module gives up
}
LEAVES_ITS_PLACE: Mapping[tuple[str, str], float] = {
    # chance that a step which does not get to its end has at least begun to move; every other fault: it has
    ("pump", "dead"): 0.05,  # no pressure, no movement, but for what springs and weight do
    ("motor", "dead"): 0.05,  # the same
    ("valve", "stuck"): 0.10,  # seldom sticks half open
    ("module", "output-dead"): 0.05,  # nothing is commanded
    ("latch", "binds"): 0.60,  # holds at once, or on the way
}
STANDS_WRONG = 0.04
"""An axis said to stand where it does not: a finger's breadth from its end taken for arrived, or the reverse."""
SLOW_SOUND = 0.03
"""A sound step beyond its usual time: it sticks after a long stand, or the stopwatch was late."""
COLD_UNSEEN = 0.01
"""A trial with cold fluid that nobody noted: rare in a heated shop, the car came in from the frost. One cause for all
that the pump drives, so that many slow steps of one trial are no proof of a weak pump."""
SLOW_COLD = 0.80
"""What the pump drives is beyond its usual time with such fluid."""
SLOW: Mapping[tuple[str, str], float] = {
    ("cylinder", "leaks"): 0.50,
    ("cylinder", "binds"): 0.60,
    ("pump", "weak"): 0.85,
    ("latch", "binds"): 0.50,
    ("supply", "low"): 0.70,
}
BETWEEN_SEEN = 0.5
"""How an input takes a voltage between its thresholds: either way, nobody outside can tell."""
TRIAL_SLIP = 0.03
"""A trial whose step is named wrongly, or in which the switch was let go early."""
COMPLAINT_RIGHT = 0.72
"""A customer names the right step about three times in four…"""
COMPLAINT_NEIGHBOUR = 0.09
"""…and else mostly the one before or behind it (each)."""
COMPLAINT_NOTHING = 0.02
"""A complaint about a top that works: held the switch too briefly, load on the divider."""
LAMP_TRIAL = 0.93
"""Lamp read rightly in a trial."""
LAMP_COMPLAINT = 0.80
"""Lamp remembered rightly by a customer."""
HEARD_RIGHT = 0.85
"""A customer who says that the pump or motor ran, or that all was silent, is right this often: the radio is on."""
SILENT: Mapping[tuple[str, str], float] = {
    # chance that nothing is heard of a drive that is commanded
    ("pump", "dead"): 0.85,  # seized, it hums
    ("motor", "dead"): 0.85,  # the same
    ("module", "output-dead"): 0.92,  # at most a relay clicks
    ("supply", "low"): 0.35,  # relays chatter, or it turns slowly
}
SILENT_AFTER_EARLY_END = 0.5
"""A step taken for ended before it moved: the next one is refused, or runs without getting anywhere."""
SILENT_ANYWAY = 0.5
"""A step that neither pump nor motor drives: what is heard of it tells nothing."""
TOLD_COMES_AND_GOES: Mapping[str, float] = {
    # chance that a customer says "not every time" where this fault alone stops the top
    "comes-and-goes": 0.80,  # that is what it does
    "high-resistance": 0.45,  # at the edge of what the module takes for made
    "open": 0.35,  # the broken ends touch
    "shorted-to-ground": 0.25,  # a chafed spot comes off the metal
    "out-of-adjustment": 0.35,  # just reached, or just not
    "stays-made": 0.20,  # a stiff plunger comes free now and then
    "weak": 0.45,  # enough when warm
    "leaks": 0.35,
    "binds": 0.40,
    "low": 0.50,  # after a drive it works
    "stuck": 0.25,
}
TOLD_ALWAYS = 0.08
"""The same for every other fault, which is there all the time: the customer tried in other ways, or misremembers."""
TOLD_OF_NOTHING = 0.50
"""The same where nothing is wrong."""
TOLD_BATTERY_LOW = 0.60
"""A customer with a low supply noticed it, or knows that the car stood for long."""
TOLD_BATTERY_FIT = 0.12
"""The same with a fit one."""
OTHER_MOTION_RIGHT = 0.90
"""A customer who says that it goes neither way has tried both."""

# --- recent work
WORK_HERE = 8.0
"""Odds of an unplugged, broken or shifted path at a position that was worked on, against one that was not."""
WORK_BESIDE = 3.0
"""The same for positions in the same place of the car."""
