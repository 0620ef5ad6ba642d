"""The questions of the symptom interview in plain words, and what their answers come to.

What an answer becomes: `fails`, `tried`, `stops`, `lamp`, `sound`, `when`, `battery` the complaint, `recent` the
recent work. Kept as words only: cold or hot weather, and a top that works but is slow or noisy, for which the case has
no place. A thing moved by hand that stands in the way (`hand`) explains the stop without a fault: then the answers are
no complaint, and putting it in its place is the first thing to do.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from diagnostics.engine.case import Case, CaseCar, Complaint
from diagnostics.engine.errors import CaseError
from diagnostics.engine.motion import fault_free, reports
from diagnostics.engine.poses import place_words
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _

UNKNOWN, NO, YES, BOTH, WORKS, NONE_IN_THE_WAY = "unknown", "no", "yes", "both", "works", "as-it-should"
Answers = Mapping[str, str]
"""Question -> value of the choice; of `recent` several values, with commas."""


@dataclass(frozen=True, slots=True)
class Choice:
    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """`many`: more than one choice can be taken."""

    name: str
    words: str
    help: str
    choices: tuple[Choice, ...]
    many: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What the answers come to. `first`: what to put right before anything else, '' for nothing; then `complaint` is
    None."""

    complaint: Complaint | None
    recent_work: tuple[str, ...]
    first: str = ""


NAMES = ("fails", "tried", "stops", "hand", "lamp", "sound", "when", "battery", "recent")


def motion_of(answers: Answers) -> str:
    """The motion that the answers speak of: open | close | ''."""
    fails = answers.get("fails", "")
    if fails == BOTH:
        tried = answers.get("tried", UNKNOWN)
        return "close" if tried == UNKNOWN else tried
    return fails if fails in ("open", "close") else ""


def question(system: TopSystem, name: str, answers: Answers) -> Question:
    """A question of NAMES in words; `stops` and `hand` need to know the motion (`motion_of`)."""
    words, help_words = _asked()[name]
    unknown = Choice(UNKNOWN, _("I do not know"))
    choices = (*_choices(system, name, motion_of(answers) or "close"), unknown)
    return Question(name, words, help_words, choices, many=name == "recent")


def _asked() -> dict[str, tuple[str, str]]:
    return {
        "fails": (_("What does the top not do?"), _("Do not try it again for this: what you remember is enough.")),
        "tried": (_("Which way did you move it last?"), ""),
        "stops": (
            _("How far does it get?"),
            _("These things happen one after the other. Choose the first one that does not happen, or stops half way."),
        ),
        "hand": (
            _("Is everything in its place that you move by hand?"),
            _("Look only if you can do so without reaching under the top or a lid that it holds up."),
        ),
        "lamp": (_("What does the lamp of the top do when it stops?"), _("In the switch or in the dashboard.")),
        "sound": (_("What did you hear while you held the switch and nothing moved any more?"), ""),
        "when": (_("Is it so every time?"), ""),
        "battery": (_("Is the battery weak, or did the car stand for weeks?"), ""),
        "recent": (
            _("Was anything worked on, taken out or unplugged shortly before?"),
            _("A repair, a new radio, body work, a washed trunk: things are left unplugged or shifted."),
        ),
    }


def _choices(system: TopSystem, name: str, motion: str) -> Iterator[Choice]:
    match name:
        case "fails":
            yield Choice("close", _("It does not close"))
            yield Choice("open", _("It does not open"))
            yield Choice(BOTH, _("It goes neither way"))
            yield Choice(WORKS, _("It opens and closes, but something is odd: slow, noisy, crooked"))
        case "tried":
            yield Choice("close", _("I was closing it"))
            yield Choice("open", _("I was opening it"))
        case "stops":
            yield from _steps(system, motion)
        case "hand":
            yield Choice(NONE_IN_THE_WAY, _("Yes, all of it"))
            for value in in_the_way(system, motion):
                axis, _dot, place = value.partition(".")
                words = _("No. {thing}: {place}").format(thing=system.axes[axis].title, place=place_words(place))
                yield Choice(value, words)
        case "recent":
            yield Choice(NO, _("No"))
            for area, codes in areas_of(system).items():
                yield Choice(codes[0], area)
        case _:
            yield from _plain_choices()[name]


def _steps(system: TopSystem, motion: str) -> Iterator[Choice]:
    steps = system.motions[motion].steps  # type: ignore[index]
    words = _("Nothing moves at all. First should come: {step}")
    yield Choice(steps[0].name, words.format(step=steps[0].title))
    for number, step in enumerate(steps[1:], start=2):
        yield Choice(step.name, _("{number}. {step}").format(number=number, step=step.title))


def _plain_choices() -> dict[str, tuple[Choice, ...]]:
    return {
        "lamp": (
            Choice("flashing", _("It flashes")),
            Choice("steady", _("It stays on")),
            Choice("off", _("It stays dark")),
        ),
        "sound": (
            Choice("runs", _("A pump or motor hums or runs")),
            Choice("silent", _("Nothing, or only a click")),
        ),
        "when": (
            Choice("always", _("Every time")),
            Choice("sometimes", _("It comes and goes")),
            Choice("cold", _("Only when it is cold")),
            Choice("hot", _("Only when it is hot")),
        ),
        "battery": (Choice(YES, _("Yes")), Choice(NO, _("No"))),
    }


def values_of(name: str) -> tuple[str, ...]:
    """The answers of a question that are told apart as evidence."""
    if name == "when":
        return ("always", "sometimes")
    return tuple(choice.value for choice in _plain_choices()[name])


def areas_of(system: TopSystem) -> dict[str, tuple[str, ...]]:
    """The places of the car as a layman knows them (up to the first comma) -> positions there."""
    areas: dict[str, list[str]] = {}
    for code, position in system.positions.items():
        areas.setdefault(area_of(position.place), []).append(code)
    return {area: tuple(codes) for area, codes in areas.items()}


def area_of(place: str) -> str:
    return place.partition(",")[0].strip()


def in_the_way(system: TopSystem, motion: str) -> dict[str, str]:
    """`axis.place` -> step at which a sound top stops because that axis, moved by hand, stands there."""
    traces = fault_free(system, motion)
    command = system.motions[motion].command  # type: ignore[index]
    found = {}
    for axis, declared in system.axes.items():
        for place in declared.places if declared.moved == "by_hand" else ():
            for trace in traces:
                before, after = ({**pose, axis: place} for pose in (trace.before, trace.after))
                if _unmet(system, trace.step.starts_when, before, command) or _unmet(
                    system, trace.step.ends_when, after, command
                ):
                    found[f"{axis}.{place}"] = trace.step.name
                    break
    return found


def _unmet(system: TopSystem, wanted: Mapping[str, str], pose: Mapping[str, str], command: str) -> bool:
    told = reports(system, pose, held=command)
    return any(told[code] != state for code, state in wanted.items())


def checked(system: TopSystem, given: Mapping[str, str]) -> dict[str, str]:
    """The answers, in the order of NAMES; '' counts as not answered. CaseError with a sentence for one that cannot
    be."""
    found: dict[str, str] = {}
    for name in NAMES:
        value = given.get(name, "")
        if not value:
            continue
        asked = question(system, name, found)
        known = {choice.value for choice in asked.choices}
        values = value.split(",") if asked.many else [value]
        if not set(values) <= known:
            words = _("“{value}” is no answer to “{question}”; expected one of those offered.")
            raise CaseError(words.format(value=value[:40], question=asked.words))
        if asked.many:  # a place beside "no" is a yes
            places = [one for one in dict.fromkeys(values) if one not in (NO, UNKNOWN)]
            values = places or [NO if NO in values else UNKNOWN]
        found[name] = ",".join(values)
    return found


def told_of(system: TopSystem, answers: Answers) -> Told:
    """What the answers (`checked`) come to."""
    recent = _recent_work(system, answers)
    motion, stops = motion_of(answers), answers.get("stops", UNKNOWN)
    hand = answers.get("hand", UNKNOWN)
    if hand in in_the_way(system, motion or "close"):
        axis, _dot, place = hand.partition(".")
        words = _(
            "The top does not move on purpose while this is so. {thing}: {place}. If the top and its lids stand at "
            "rest, put it in its place and try once more. If they do not, leave it alone and tell us."
        )
        return Told(None, recent, words.format(thing=system.axes[axis].title, place=place_words(place)))
    if not motion or stops == UNKNOWN:
        return Told(None, recent)
    data: dict[str, Any] = {"motion": motion, "stops_at": stops, "neither_way": answers["fails"] == BOTH}
    for name, field in (("lamp", "lamp"), ("sound", "sound")):
        data[field] = None if answers.get(name, UNKNOWN) == UNKNOWN else answers[name]
    data["comes_and_goes"] = {"always": False, "sometimes": True}.get(answers.get("when", ""))
    data["battery_weak"] = {YES: True, NO: False}.get(answers.get("battery", ""))
    return Told(Complaint.model_validate(data), recent)


def _recent_work(system: TopSystem, answers: Answers) -> tuple[str, ...]:
    """Every position of the places told: a layman knows the place, not the plug."""
    named = set(answers.get("recent", "").split(","))
    return tuple(code for codes in areas_of(system).values() if codes[0] in named for code in codes)


def sentences_of(system: TopSystem, answers: Answers) -> tuple[tuple[str, str], ...]:
    """(question, answer) in words, in the order of the answers."""
    found = []
    for name, value in answers.items():
        asked = question(system, name, answers)
        words = {choice.value: choice.words for choice in asked.choices}
        found.append((asked.words, ", ".join(words[one] for one in value.split(",") if one in words)))
    return tuple(found)


def case_of(system: TopSystem, answers: Answers, *, made_on: str, climate: str, seen_on: str) -> Case:
    """The answers as a case; `made_on` YYYY-MM, `seen_on` YYYY-MM-DD."""
    told = told_of(system, answers)
    car = CaseCar.model_validate({"made_on": made_on, "climate": climate})
    return Case(system=system.system, car=car, seen_on=seen_on, complaint=told.complaint, recent_work=told.recent_work)
