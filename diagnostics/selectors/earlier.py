"""What this car's pins read on its earlier sheets, for the marks beside the pins."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import F
from django.utils.translation import gettext as _

from diagnostics.engine.case import observation_of
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, SystemRevision
from diagnostics.selectors.systems import system_of
from diagnostics.selectors.words import state_word
from shop.words import day_words

MOST_EARLIER = 400
"""Earlier readings looked at: some ten sheets of a car."""


@dataclass(frozen=True, slots=True)
class Earlier:
    """What an earlier sheet of the car read at a pin, in a pose that shows the sensor the same."""

    reads: str
    at: datetime
    sheet_pk: int

    @property
    def words(self) -> str:
        return _("was {state} on {day}").format(state=state_word(self.reads), day=day_words(self.at))


def earlier_reads(sheet: BenchSheet, system: TopSystem) -> dict[tuple[str, str], Earlier]:
    """(position, what a sound sensor shows) -> the newest reading of the car's earlier sheets. One query, and one
    more where another revision judged some of them."""
    rows = Check.objects.filter(
        sheet__car_id=sheet.car_id,
        sheet__opened_at__lt=sheet.opened_at,
        sheet__revision__isnull=False,
        kind=CheckKind.PIN,
        struck_at__isnull=True,
    ).exclude(verdict="refused")
    checks = list(rows.annotate(revision_id=F("sheet__revision_id")).order_by("-at", "-pk")[:MOST_EARLIER])
    systems = _systems(sheet, system, {check.revision_id for check in checks})
    found: dict[tuple[str, str], Earlier] = {}
    for check in checks:
        by = systems[check.revision_id]
        key = check.position, pin_state(by, check.position, pose_of(by, check.observation["pose"]))
        if key not in found and check.position in system.positions:
            reads = judge(by, observation_of(check.observation)).reads
            found[key] = Earlier(reads, check.at, check.sheet_id)
    return found


def _systems(sheet: BenchSheet, system: TopSystem, revisions: set[int]) -> dict[int | None, TopSystem]:
    others = revisions - {sheet.revision_id}
    known: dict[int | None, TopSystem] = {sheet.revision_id: system}
    if others:
        known |= {one.pk: system_of(one) for one in SystemRevision.objects.filter(pk__in=others)}
    return known
