"""Load the demo once: the shop, its people, the systems, the catalogue, and the scenario."""

from collections.abc import Callable
from datetime import date
from itertools import takewhile
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.system.model import TopSystem
from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from diagnostics.services import learning_run, system_publish
from parts.models import Fit, Part
from reports.demo import people
from reports.demo.enquiries import write_enquiries
from reports.demo.everyday import write_everyday
from reports.demo.fleet import invent
from reports.demo.inspected import write_commissions, write_inspections
from reports.demo.instruments import write_instruments
from reports.demo.records import JobRecord
from reports.demo.truth import Truth, read_truth
from reports.demo.writer import write
from reports.services import certificate_freeze
from reports.tasks import certificate_issue_task
from shop.errors import Conflict
from shop.models import Car, Job, ShopProfile, User

CERTIFICATES = 3
"""Certificates that are drawn while loading; drawing takes time, and people draw the next ones themselves."""
Say = Callable[[str], None]


def truth_path() -> Path:
    return settings.FIXTURES_DIR / "demo" / "truth.yaml"


def is_loaded() -> bool:
    """Whether this database holds the demo. Raises Conflict where it holds another shop: the two must not mix."""
    profile = ShopProfile.objects.first()
    if profile is not None and profile.name == people.SHOP["name"]:
        return True
    if profile is not None or User.objects.exists() or Car.objects.exists():
        name = profile.name if profile is not None else _("a shop")
        raise Conflict(
            _(
                "The database holds {name} already; the demo wants an empty one. Set TOPWRIGHT_DATA to another folder."
            ).format(name=name)
        )
    return False


def load(*, today: date | None = None, say: Say = lambda _words: None) -> bool:
    """Load the scenario as of `today`, all of it or nothing; False where it is there already. Raises Conflict (see
    is_loaded)."""
    if is_loaded():
        return False
    truth = read_truth(truth_path())
    with transaction.atomic():
        users = _write_people()
        systems = _publish(users["owner"])
        _write_catalogue(systems, truth)
        say(_("Growing the cars old …"))
        zone, day = timezone.get_default_timezone(), today or timezone.localdate()
        parsed = {slug: system for slug, (_revision, system) in systems.items()}
        scenario = invent(truth, parsed, day, zone)
        say(_("Booking {cars} cars and their jobs …").format(cars=len(scenario.cars)))
        jobs = write(scenario, users, systems)
        write_enquiries([job for job, _record in jobs], users, systems)
        say(_("Learning which part fails in which production range …"))
        learning_run()
        certified = _to_certify(jobs)
        write_instruments(jobs, users, certified, day, zone)
        write_inspections(certified, users)
        say(_("Drawing {count} certificates …").format(count=CERTIFICATES))
        _issue_certificates(certified, users["owner"])
        write_commissions(certified)
        say(_("Filling the shop’s day …"))
        write_everyday(jobs, users, systems, day, zone)
    return True


def _write_people() -> dict[str, User]:
    ShopProfile.objects.create(pk=1, **people.SHOP)
    users = {}
    for username, password, first, last, role in people.SIGN_INS:
        users[username] = User.objects.create_user(
            username, password=password, first_name=first, last_name=last, role=role, second_factor_waived=True
        )
    return users


def _publish(owner: User) -> dict[str, tuple[SystemRevision, TopSystem]]:
    systems = {}
    for path in sorted((settings.FIXTURES_DIR / "systems").glob("*.yaml")):
        revision = system_publish(text=path.read_text(encoding="utf-8"), source=path.name, by=owner)
        systems[revision.slug] = (revision, system_of(revision))
    return systems


def _write_catalogue(systems: dict[str, tuple[SystemRevision, TopSystem]], truth: Truth) -> None:
    """A part for every number that a system names, and the successors."""
    parts: dict[str, Part] = {}
    fits: list[tuple[str, str, str]] = []
    for slug, (_revision, system) in systems.items():
        for code, position in system.positions.items():
            parts.setdefault(position.part, Part(number=position.part, name=_part_name(system, position.part)))
            fits.append((position.part, slug, code))
    for one in truth.successions:
        parts[one.new] = Part(number=one.new, name=parts[one.old].name, revision=one.revision)
        fits += [(one.new, slug, code) for part, slug, code in fits if part == one.old]
    Part.objects.bulk_create(parts.values())
    Fit.objects.bulk_create([Fit(part=parts[part], system=slug, position=code) for part, slug, code in fits])
    for one in truth.successions:
        Part.objects.filter(number=one.old).update(superseded_by=parts[one.new])


_SENSORS = {"switch": "Switch", "hall-sensor": "Hall sensor", "angle-sensor": "Angle sensor"}


def _part_name(system: TopSystem, number: str) -> str:
    """What the names of all positions with this part begin with, a sensor's kind before it."""
    positions = [position for position in system.positions.values() if position.part == number]
    first, last = (words.split() for words in (min(p.name for p in positions), max(p.name for p in positions)))
    common = " ".join(a for a, b in takewhile(lambda pair: pair[0] == pair[1], zip(first, last, strict=False)))
    name = common.rstrip(",") or positions[0].name
    kind = _SENSORS.get(positions[0].kind)
    return f"{kind}: {name[0].lower()}{name[1:]}" if kind else name


def _to_certify(jobs: list[tuple[Job, JobRecord]]) -> list[Job]:
    """The latest finished inspections; one of them with something found and put right, the latest of its kind, comes on
    top of the list."""
    inspected = [
        (job, record) for job, record in jobs if record.kind == "inspection" and record.finished_at is not None
    ]
    mended = [job for job, record in inspected if record.sheet is not None and record.sheet.work][-1:]
    others = [job for job, _record in inspected if job not in mended]
    return [*others[len(mended) - CERTIFICATES :], *mended]


def _issue_certificates(jobs: list[Job], owner: User) -> None:
    """By the very services and task that a page uses, without waiting for a worker."""
    for job in jobs:
        certificate, run = certificate_freeze(job=job, by=owner)
        if run is not None:
            certificate_issue_task(str(run.pk), certificate.pk)
