"""What a text that should become a revision says: its mistakes by line, what it changes, what it leaves behind."""

from dataclasses import dataclass
from functools import lru_cache

from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diagnostics.engine.system.diff import Change, diff, grouped, renamed_positions
from diagnostics.engine.system.load import Problem, SystemFileError, load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.revising import wrong_name
from diagnostics.models import Check, SystemDraft, SystemRevision, Unit
from diagnostics.selectors.systems import system_of

LINE_SHOWN = 160
Groups = tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Mistake:
    """A mistake with the line that it stands in; `text` is that line, cut."""

    line: int
    path: str
    words: str
    text: str


@dataclass(frozen=True, slots=True)
class Reading:
    """`system` is None where there are `mistakes`. `changes` by part of the file against the newest revision;
    `only_number`: nothing but the number of the revision changed. `left`: sentences about what the shop has at
    positions that are gone. `next_number`: what the revision has to be, 0 where any will do; `numbered`: it is."""

    system: TopSystem | None
    mistakes: tuple[Mistake, ...]
    changes: Groups
    only_number: bool
    left: tuple[str, ...]
    next_number: int
    numbered: bool

    @property
    def sound(self) -> bool:
        return self.system is not None and self.numbered and not self.only_number


def drafts() -> QuerySet[SystemDraft]:
    return SystemDraft.objects.select_related("by", "base").defer("text", "base__text").order_by("slug")


def read_draft(slug: str, text: str, newest: SystemRevision | None) -> Reading:
    """What `text` would be as the next revision of `slug`."""
    system, problems = _loaded(text, slug)
    wrong = wrong_name(text, slug, slug)
    if wrong is not None:
        system, problems = None, tuple(sorted((wrong, *problems), key=lambda one: one.line))
    next_number = newest.revision + 1 if newest is not None else 0
    changes: tuple[Change, ...] = ()
    left: tuple[str, ...] = ()
    if system is not None and newest is not None:
        before = system_of(newest)
        changes, left = diff(before, system), _left_behind(slug, before, system)
    return Reading(
        system=system,
        mistakes=mistakes_of(text, problems),
        changes=grouped(changes),
        only_number=newest is not None and system is not None and all(one.at == ("revision",) for one in changes),
        left=left,
        next_number=next_number,
        numbered=system is not None and next_number in (0, system.revision),
    )


def mistakes_of(text: str, problems: tuple[Problem, ...]) -> tuple[Mistake, ...]:
    lines = text.split("\n")
    return tuple(
        Mistake(one.line, one.path, one.words, lines[one.line - 1][:LINE_SHOWN] if one.line <= len(lines) else "")
        for one in problems
    )


@lru_cache(maxsize=16)
def _loaded(text: str, slug: str) -> tuple[TopSystem | None, tuple[Problem, ...]]:
    """A page and what is played on it ask for the same text again and again."""
    try:
        return load_system(text, slug), ()
    except SystemFileError as error:
        return None, error.problems


def draft_system(draft: SystemDraft) -> TopSystem | None:
    """The system that a draft declares, or None as long as it has mistakes."""
    return _loaded(draft.text, draft.slug)[0]


def _left_behind(slug: str, before: TopSystem, after: TopSystem) -> tuple[str, ...]:
    """What the shop has at positions that the new revision does not have, one sentence each; two queries for all."""
    gone = [code for code in before.positions if code not in after.positions]
    if not gone:
        return ()
    units = Unit.objects.filter(car__system=slug, position__in=gone).values_list("position")
    cars = dict(units.annotate(cars=Count("car", distinct=True)))
    rows = Check.objects.filter(sheet__revision__slug=slug, position__in=gone).values_list("position")
    checks = dict(rows.annotate(checks=Count("pk")))
    renamed = renamed_positions(before, after)
    return tuple(
        _left_words(code, cars.get(code, 0), checks.get(code, 0), renamed.get(code, ""))
        for code in gone
        if code in cars or code in checks
    )


def _left_words(code: str, cars: int, checks: int, now: str) -> str:
    said = []
    if cars:
        words = ngettext(
            "{count} car has a unit at {code}, which this revision does not have.",
            "{count} cars have a unit at {code}, which this revision does not have.",
            cars,
        )
        said.append(words.format(count=cars, code=code))
    if checks:
        words = ngettext("{count} check was made at {code}.", "{count} checks were made at {code}.", checks)
        said.append(words.format(count=checks, code=code))
    if now:
        said.append(_("They stay under {code}; what is likely the same is called {now}.").format(code=code, now=now))
    return " ".join(said)


@dataclass(frozen=True, slots=True)
class Published:
    """A revision and what it changed against the one before it; `changes` empty for the first one shown."""

    revision: SystemRevision
    changes: Groups
    before: int


MOST_SHOWN = 12


def history_of(slug: str) -> tuple[tuple[Published, ...], int]:
    """The newest MOST_SHOWN revisions of a system, newest first, each with its changes; how many older there are."""
    rows = list(SystemRevision.objects.filter(slug=slug).select_related("published_by")[: MOST_SHOWN + 1])
    older = SystemRevision.objects.filter(slug=slug).count() - MOST_SHOWN
    shown: list[Published] = []
    for number, row in enumerate(rows[:MOST_SHOWN], start=1):
        before = rows[number] if number < len(rows) else None
        shown.append(Published(row, _changes(row, before), before.revision if before is not None else 0))
    return tuple(shown), max(older, 0)


def _changes(row: SystemRevision, before: SystemRevision | None) -> Groups:
    return grouped(diff(system_of(before), system_of(row))) if before is not None else ()
