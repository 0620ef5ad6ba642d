"""Keeping what was learned: all of it in one transaction, or nothing. What did not change is not written."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib.contenttypes.models import ContentType
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.learning.records import PartModel
from diagnostics.learning.stored import to_json
from diagnostics.models import FailureModel, Learning
from diagnostics.selectors.learning import STALE, Group, Seen, fingerprint_now, newest_learning, seen_now
from diagnostics.services.found import ranges_keep
from shop.models import TaskRun, User
from shop.runs import run_check, run_finish
from shop.services import trail_record

if TYPE_CHECKING:
    from diagnostics.selectors.computed import Computed

Key = tuple[str, str, str, bool, str]
BATCH = 50


class Overtaken(Exception):  # noqa: N818 - read as a word where it is raised
    """Another learning was kept since this one looked at the data: this one may know less, and looks again."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What a learning stands on. `newest`: the learning that was the newest when it began; `marks`: the marks of stale
    models that it makes anew; `whole`: it was to learn everything."""

    newest: int | None
    marks: frozenset[str]
    whole: bool


def learn_alone() -> None:
    """Until the end of the transaction nobody else asks for a learning or keeps one. The row that is locked is there
    in every database, from the first learning on, and nothing else writes it."""
    ContentType.objects.select_for_update().get(app_label="diagnostics", model="learning")


def models_stale(groups: Iterable[Group]) -> None:
    """Mark the models of these parts: the next learning makes them anew. Each mark is one of its own, so that a
    learning which began before it does not take it off."""
    for system, part in groups:
        mark = f"{STALE}{uuid.uuid4().hex}"
        FailureModel.objects.filter(system=system, part=part).update(fingerprint=mark)


@transaction.atomic
def learned_keep(
    *, computed: "Computed", basis: Basis, run: TaskRun | None, by: User | None, result_url: str = ""
) -> Learning | None:
    """Keep the models of the parts that were learned; None where nothing has changed since the last learning.

    A model is written only where it differs from the one that stands, and models of the same parts that were not
    learned any more go. Overtaken, or Cancelled (run_check): nothing is kept.
    """
    learn_alone()
    newest = newest_learning()
    if (newest.pk if newest else None) != basis.newest:
        raise Overtaken
    if run is not None:
        run_check(run, locked=True)
    learning = Learning(learned_at=timezone.now(), by=by, run=run, whole=basis.whole, seed=computed.seed)
    changed = _Change(basis, learning, computed)
    changed.keep()
    seen = seen_now()
    kept = _finish(learning, newest, seen, changed.count)
    if run is not None:
        words = "" if kept else _("Nothing has changed since the last learning.")
        run_finish(run, result_url=result_url, words=words)
    if kept and by is not None:
        words = _("Learned failure patterns from {checks} checks on {cars} cars.")
        trail_record(by=by, kind="learning.done", words=words.format(checks=seen.checks, cars=seen.cars))
    return learning if kept else None


def _key(model: PartModel) -> Key:
    one = model.population
    return one.system, one.part, one.revision, one.original, one.mode


class _Change:
    """The difference between what stands and what was learned, written row by row."""

    def __init__(self, basis: Basis, learning: Learning, computed: "Computed") -> None:
        self.basis, self.learning, self.groups = basis, learning, computed.groups
        self.models = {_key(model): model for model in computed.models}
        self.count = 0

    def keep(self) -> None:
        gone: list[int] = []
        left = dict(self.models)
        for row in self._standing():
            model = left.pop((row.system, row.part, row.revision, row.original, row.mode), None)
            if model is None:
                gone.append(row.pk)
            else:
                self._renew(row, model)
        if gone:
            self._changes(len(gone))
            FailureModel.objects.filter(pk__in=gone).delete()
        if left:
            self._changes(len(left))
            made = (model for _key, model in sorted(left.items()))
            rows = [_filled(FailureModel(learning=self.learning), model, to_json(model)) for model in made]
            FailureModel.objects.bulk_create(rows, BATCH)
        told = ranges_keep(models=self.models.values(), groups=self.groups, learning=self._saved)
        self.count += told

    def _standing(self) -> Iterable[FailureModel]:
        """In batches that are read whole: rows are written while this goes on."""
        there = FailureModel.objects.order_by("pk").values_list("pk", "system", "part")
        groups = self.groups
        pks = [pk for pk, system, part in there if groups is None or (system, part) in groups]
        for start in range(0, len(pks), BATCH):
            yield from FailureModel.objects.filter(pk__in=pks[start : start + BATCH]).order_by("pk")

    def _renew(self, row: FailureModel, model: PartModel) -> None:
        # Marked since the learning began: it did not know of that, so the mark stays for the next one.
        since = row.fingerprint.startswith(STALE) and row.fingerprint not in self.basis.marks
        mark, document = row.fingerprint, to_json(model)
        same = row.document == document
        if same and (since or row.fingerprint == model.fingerprint):
            return
        if not same:
            self._changes(1)
            row.learning = self.learning
        _filled(row, model, document)
        if since:
            row.fingerprint = mark
        row.save()

    def _changes(self, count: int) -> None:
        self._saved()
        self.count += count

    def _saved(self) -> Learning:
        """The learning has a row as soon as something hangs on it."""
        if self.learning.pk is None:
            _fill_seen(self.learning, Seen(0, 0, 0, 0))
            self.learning.save()
        return self.learning


def _filled(row: FailureModel, model: PartModel, document: dict[str, Any]) -> FailureModel:
    row.system, row.part, row.revision, row.original, row.mode = _key(model)
    row.units, row.failed = model.tally.units, model.tally.failed
    row.range_probability, row.fingerprint = model.range_probability, model.fingerprint
    row.document = document
    return row


def _fill_seen(learning: Learning, seen: Seen) -> None:
    learning.cars, learning.units, learning.sheets, learning.checks = seen.cars, seen.units, seen.sheets, seen.checks


def _finish(learning: Learning, newest: Learning | None, seen: Seen, changed: int) -> bool:
    """Whether the learning stands: it does where anything differs, be it only how much was seen."""
    _fill_seen(learning, seen)
    learning.changed, learning.fingerprint = changed, fingerprint_now()
    if newest is not None and learning.pk is None:
        before = Seen(newest.cars, newest.units, newest.sheets, newest.checks)
        if (before, newest.fingerprint) == (seen, learning.fingerprint):
            return False
    learning.save()
    return True
