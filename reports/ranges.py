"""The paper of a top system's failure patterns, with the same words and numbers as its page."""

from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.charts.words import (
    caution_sentences,
    chance_sentence,
    ends_sentence,
    estimate_words,
    log_rank_sentence,
    percent_words,
    range_sentence,
    share_interval_words,
    share_words,
)
from diagnostics.engine.faults import mode_words
from diagnostics.models import Learning, RangeState
from diagnostics.selectors.range_tests import RangeTest, log_ranks_of
from diagnostics.selectors.ranges import FoundHere, by_climate, month_rows, system_patterns
from reports.document.draw.ranges import draw_ranges
from reports.document.ranges import RangeOnPaper, RangesPaper
from shop.models import ShopProfile
from shop.words import day_words

QUARTER = 3


def ranges_pdf(slug: str, at: datetime) -> bytes | None:
    """None where nobody declared the system and nothing was learned of it."""
    found = system_patterns(slug, grain=QUARTER)
    if found is None:
        return None
    profile = ShopProfile.objects.first()
    tests = log_ranks_of(found.ranges)
    content = RangesPaper(
        shop=profile.name if profile else "",
        system=found.title,
        slug=slug,
        learned=_learned(found.learning) if found.learning and found.strip.rows else "",
        learned_short=_("learned {day}").format(day=day_words(timezone.localdate(found.learning.learned_at)))
        if found.learning
        else "",
        cautions=caution_sentences(),
        ranges=tuple(_range(one, tests.get(one.row.pk)) for one in found.ranges),
        strip=found.strip,
        printed_at=timezone.localtime(at),
    )
    return draw_ranges(content)


def _learned(learning: Learning) -> str:
    words = _("Learned {day} from {checks} checks of {units} units in {cars} cars.")
    day = day_words(timezone.localdate(learning.learned_at))
    return words.format(day=day, checks=learning.checks, units=learning.units, cars=learning.cars)


def _range(one: FoundHere, test: RangeTest | None) -> RangeOnPaper:
    found, row = one.range, one.row
    state = str(RangeState(row.state).label)
    if row.decided_by is not None and row.decided_at is not None:
        told = _("{state} by {who}, {day}: {note}")
        day = day_words(timezone.localdate(row.decided_at))
        state = told.format(state=state, who=row.decided_by, day=day, note=row.note)
    climates = [f"{climate} {ratio}" for climate, ratio in by_climate(found)]
    if climates:
        differ = _("they differ with a probability of {percent}").format(percent=percent_words(found.interaction))
        climates.append(differ)
    sentences = [range_sentence(one.name, row.mode, found), ends_sentence(found), chance_sentence(found)]
    if test is not None:
        sentences.append(log_rank_sentence(*test))
    return RangeOnPaper(
        title=f"{one.title}: {mode_words(row.mode)}",
        state=state,
        sentences=tuple(sentences),
        facts=(
            (_("Part"), row.part),
            (_("Times as often"), estimate_words(found.ratio)),
            (_("Failed inside"), share_words(found.inside.failed, found.inside.units)),
            (_("Failed outside"), share_words(found.outside.failed, found.outside.units)),
            (_("By climate"), "; ".join(climates)),
        ),
        years=_years(one),
        curves=one.model.curves,
    )


def _years(one: FoundHere) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (
            _("{year}, inside").format(year=year) if inside else str(year),
            str(seen),
            str(failed),
            f"{expected:.1f}",
            share_interval_words(failed, seen),
        )
        for year, seen, failed, expected, inside in month_rows(one)
    )
