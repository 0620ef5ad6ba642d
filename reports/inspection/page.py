"""What the page of an inspection shows: the plan in its areas, each item with how it stands and what can be done."""

from dataclasses import dataclass
from itertools import groupby

from django.utils.translation import gettext as _

from diagnostics.engine.cautions import ORDER, caution_words
from diagnostics.engine.inspection.items import Item
from reports.document.compose.coverage import Covered, answer_words
from reports.document.content import Area
from reports.document.draw.states import WEIGHTS, area_words, weight_words
from reports.inspection.models import Inspection, InspectionAnswer
from reports.inspection.selectors import Standing, answer_of, standing_of
from reports.views import TAGS
from shop.models import Picture, User
from shop.permissions import may


def anchor_of(key: str) -> str:
    """Where an item stands on the page: its name, as an address takes it."""
    return "item-" + key.replace(":", "-")


@dataclass(frozen=True, slots=True)
class Said:
    """An answer of the item's history. `mine`: whoever looks at it gave it."""

    row: InspectionAnswer
    words: str
    mine: bool


@dataclass(frozen=True, slots=True)
class Line:
    item: Item
    covered: Covered
    shape: str
    word: str
    caution: str
    said: tuple[Said, ...]
    may_skip: bool

    @property
    def key(self) -> str:
        return self.item.key

    @property
    def anchor(self) -> str:
        return anchor_of(self.item.key)

    @property
    def last(self) -> Said | None:
        """The answer that counts."""
        return next((one for one in reversed(self.said) if one.row.struck_at is None), None)


@dataclass(frozen=True, slots=True)
class Group:
    """An area. `sensors`: those that are as asked, `unseen`: those that nobody has seen yet, told in one line: the
    bench sheet is where they are seen; `skippable`: open items that can be left out together."""

    words: str
    lines: tuple[Line, ...]
    sensors: tuple[Line, ...]
    unseen: tuple[Line, ...]
    skippable: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Page:
    standing: Standing
    lines: tuple[Line, ...]
    groups: tuple[Group, ...]
    may_write: bool
    only_open: bool
    pictures: tuple[Picture, ...]

    @property
    def counts(self) -> dict[str, int]:
        return {state: self.standing.count(state) for state in ("done", "finding", "skipped", "missing")}

    @property
    def seen(self) -> int:
        return len(self.lines) - self.counts["missing"]


def page_of(inspection: Inspection, user: User, *, only_open: bool) -> Page:
    """`only_open`: items that are still to be seen."""
    standing = standing_of(inspection)
    history: dict[str, list[InspectionAnswer]] = {}
    for row in standing.answers:
        history.setdefault(row.key, []).append(row)
    may_write = may(user, "bench.write") and inspection.is_open and inspection.job.is_open
    lines = tuple(_line(one, history.get(one.item.key, []), user, may_write) for one in standing.rows)
    shown = [one for one in lines if not only_open or one.covered.state == "missing"]
    return Page(
        standing=standing,
        lines=lines,
        groups=tuple(_group(area, tuple(ones)) for area, ones in _by_area(shown)),
        may_write=may_write,
        only_open=only_open,
        pictures=tuple(inspection.job.pictures.all()) if may_write else (),
    )


def _by_area(lines: list[Line]) -> list[tuple[Area, list[Line]]]:
    order = list(dict.fromkeys(one.item.area for one in lines))
    by_area = sorted(lines, key=lambda one: order.index(one.item.area))
    return [(area, list(ones)) for area, ones in groupby(by_area, key=lambda one: one.item.area)]


def _group(area: Area, lines: tuple[Line, ...]) -> Group:
    by_state = {
        state: tuple(one for one in lines if one.item.measured == "sensor" and one.covered.state == state)
        for state in ("done", "missing")
    }
    told = {state: ones if len(ones) > 1 else () for state, ones in by_state.items()}
    skippable = tuple(one for one in lines if one.covered.state == "missing" and one.may_skip)
    return Group(
        words=_("The car as a whole") if area == "whole" else area_words(area),
        lines=tuple(one for one in lines if one not in (*told["done"], *told["missing"])),
        sensors=told["done"],
        unseen=told["missing"],
        skippable=skippable if len(skippable) > 1 else (),
    )


def _line(covered: Covered, rows: list[InspectionAnswer], user: User, may_write: bool) -> Line:
    item = covered.item
    shape, word = _state(covered)
    allowed = item.skip_by == "technician" or may(user, "inspection.skip")
    words = [caution_words(one) for one in ORDER if one in item.cautions]
    if words:
        words.append(_("Local rules and licensed practice come first."))
    return Line(
        item=item,
        covered=covered,
        shape=shape,
        word=word,
        caution=" ".join(words),
        said=tuple(Said(row, _said_words(item, row), row.by_id == user.pk) for row in rows),
        may_skip=may_write and allowed,
    )


def _said_words(item: Item, row: InspectionAnswer) -> str:
    grade = item.grade(row.grade)
    if grade is None:
        return _("skipped: {why}").format(why=row.words)
    return answer_words(item, grade, answer_of(row)).removesuffix(".")


def _state(covered: Covered) -> tuple[str, str]:
    if covered.weight is not None:
        return TAGS[WEIGHTS[covered.weight][0]], weight_words(covered.weight)
    return {
        "done": ("ok", _("in order")),
        "finding": ("finding", _("finding")),
        "skipped": ("gone", _("skipped")),
        "missing": ("open", _("open")),
    }[covered.state]
