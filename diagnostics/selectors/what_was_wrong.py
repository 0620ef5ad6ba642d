"""What was wrong where somebody worked: what can be said, and what the checks say where nobody does."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from diagnostics.engine.faults import cured_by, mode_words
from diagnostics.engine.seen import meaning_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import Check, CheckKind, Work, WorkKind
from diagnostics.selectors.evidence import evidence_of_sheet
from diagnostics.selectors.history import sheet_of_job
from diagnostics.selectors.suspects import diagnosis_of
from shop.models import Job

LIKELY_ENOUGH = 0.5
"""A suspect from here on is what was wrong, where the work takes it away and nobody says otherwise."""


@dataclass(frozen=True, slots=True)
class Choice:
    mode: str
    words: str


@dataclass(frozen=True, slots=True)
class Wrong:
    """What a person can say was wrong where work was done. `says`: what the checks say, in words; '' where they do not.
    `others`: what other work, or work elsewhere, may have taken away."""

    says: str
    choices: tuple[Choice, ...]
    others: tuple[Choice, ...] = ()


def wrong_at(system: TopSystem, position: str, kind: str, says: str, *, others: bool = False) -> Wrong:
    """The choices for work of this kind at a position; `says`: the mode that the checks speak for, '' for none."""
    modes = cured_by(system, position, kind) if position in system.positions else ()
    elsewhere: tuple[str, ...] = ()
    if others:
        pairs = ((code, one) for code in system.positions for one in WorkKind.values)
        elsewhere = tuple(dict.fromkeys(mode for code, one in pairs for mode in cured_by(system, code, one)))
    return Wrong(
        says=_words(says) if says in (*modes, Work.PRECAUTION) else "",
        choices=tuple(Choice(mode, _words(mode)) for mode in (*modes, Work.PRECAUTION)),
        others=tuple(Choice(mode, _words(mode)) for mode in elsewhere if mode not in modes),
    )


def _words(mode: str) -> str:
    return _("nothing, changed as a precaution") if mode == Work.PRECAUTION else mode_words(mode)


def what_was_wrong_words(mode: str) -> str:
    """What was wrong, to stand behind the work that was done."""
    if mode == Work.PRECAUTION:
        return _("as a precaution")
    return _("what was wrong: {what}").format(what=mode_words(mode))


def proposed_mode(job: Job, system: TopSystem, position: str, kind: str) -> str:
    """What work that is about to be booked takes away, where nobody says it; '' where that is not clear.

    Setting, bleeding or freeing what was fitted in this job belongs to the fitting. Else what this kind of work can
    only mean there, else what a look showed since the last work there, else the likeliest suspect from LIKELY_ENOUGH
    on.
    """
    if kind != WorkKind.REPLACE and _belongs_to_fitting(job, system, position, kind):
        return Work.PRECAUTION
    only = meaning_of(system, position, kind)
    if only:
        return only
    modes = cured_by(system, position, kind)
    return _looked(job, position, modes) or _suspected(job, position, modes)


def _belongs_to_fitting(job: Job, system: TopSystem, position: str, kind: str) -> bool:
    fitted = set(Work.objects.filter(job=job, kind=WorkKind.REPLACE).values_list("position", flat=True))
    if kind == WorkKind.REFILL:  # whatever of the hydraulics was open has to be bled, at the pump
        return any(
            system.positions[code].kind in ("cylinder", "pump", "valve") for code in fitted & {*system.positions}
        )
    return kind in (WorkKind.ADJUST, WorkKind.TRIM, WorkKind.PLUG) and position in fitted


def _looked(job: Job, position: str, modes: tuple[str, ...]) -> str:
    looks = Check.objects.filter(sheet__job=job, kind=CheckKind.LOOK, position=position, struck_at__isnull=True)
    before = Work.objects.filter(job=job, position=position).order_by("-at", "-pk").values_list("at", flat=True).first()
    if before is not None:
        looks = looks.filter(at__gt=before)
    found = [look["found"] for look in looks.order_by("-at", "-pk").values_list("observation", flat=True)]
    return next((mode for mode in found if mode in modes), "")


def _suspected(job: Job, position: str, modes: tuple[str, ...]) -> str:
    sheet = sheet_of_job(job)
    evidence = evidence_of_sheet(sheet) if sheet is not None else None
    if sheet is None or sheet.revision is None or evidence is None or evidence.is_empty:
        return ""
    suspects = diagnosis_of(evidence, sheet.revision.sha256).suspects
    likely = (one for one in suspects if one.fault.position == position and one.fault.mode in modes)
    first = max(likely, key=lambda one: one.probability, default=None)
    return first.fault.mode if first is not None and first.probability >= LIKELY_ENOUGH else ""
