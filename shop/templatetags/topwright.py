"""Template tags that every page may use (a builtin library)."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django import template
from django.template import Context
from django.urls import NoReverseMatch, reverse
from django.utils import formats, timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy

from shop.agents import agent_words
from shop.estimates import money_words, priced
from shop.models import EstimateLine, Job, RunState, Stage, TaskRun
from shop.permissions import may as _may
from shop.planning.money import line_total
from shop.words import clock_words, day_words, made_words, month_words, stretch_words

register = template.Library()
register.filter("clock", clock_words)
register.filter("day", day_words)
register.filter("month", month_words)
register.filter("made", made_words)
register.filter("browser", agent_words)
register.filter("stretch", stretch_words)
register.simple_tag(money_words, name="money")

_NAV = (
    ("shop:floor", gettext_lazy("Floor"), ()),
    ("shop:cars", gettext_lazy("Cars"), ()),
    ("diagnostics:ranges", gettext_lazy("Ranges"), ()),
    ("parts:shelf", gettext_lazy("Shelf"), ("parts:orders", "parts:suppliers")),
    ("reports:certificates", gettext_lazy("Certificates"), ("reports:commissions", "reports:instruments")),
    ("diagnostics:systems", gettext_lazy("Systems"), ()),
)
"""The page, its word, and the lists that lie under it without its address saying so."""

# Shapes of the tags (see topwright.css); the word beside each comes from the model.
_STAGE_TAGS = {
    Stage.BOOKED: "open",
    Stage.HERE: "half",
    Stage.TRACING: "go",
    Stage.MENDING: "go",
    Stage.PROVING: "go",
    Stage.DONE: "ok",
    Stage.GONE: "gone",
}
_RUN_TAGS = {
    RunState.QUEUED: "wait",
    RunState.RUNNING: "go",
    RunState.DONE: "ok",
    RunState.FAILED: "finding",
    RunState.CANCELLED: "gone",
}


@dataclass(frozen=True, slots=True)
class NavItem:
    """`current` is the value of aria-current: '' | 'page' | 'true' (on a page below it)."""

    url: str
    label: Any
    current: str


@register.filter
def may(user: Any, what: str) -> bool:
    """`{% if user|may:"bench.write" %}`: offer only what the server will accept."""
    return _may(user, what)


@register.simple_tag(takes_context=True)
def nav_items(context: Context) -> list[NavItem]:
    """The ways that exist: an app above that brings no such page brings no item either."""
    path = context["request"].path if "request" in context else ""
    items = []
    for name, label, under in _NAV:
        url = _reverse(name)
        if url:
            below = any(path.startswith(one) for one in (url, *map(_reverse, under)) if one not in ("", "/"))
            items.append(NavItem(url, label, "page" if path == url else "true" if below else ""))
    return items


@register.inclusion_tag("shop/bits/fragment.html")
def fragment(label: str, name: str, *args: Any) -> dict[str, Any]:
    """A place for another app's fragment, by URL name: loaded by htmx, else a plain link, nothing where there is none.

    `{% fragment _("Units") "diagnostics:car-units" car.pk %}`
    """
    return {"url": _reverse(name, *args), "label": label}


@register.simple_tag
def stage_tag(job: Job) -> SafeString:
    return _tag(_STAGE_TAGS[Stage(job.stage)], Stage(job.stage).label)


@register.simple_tag
def run_tag(run: TaskRun) -> SafeString:
    return _tag(_RUN_TAGS[RunState(run.state)], RunState(run.state).label)


@register.simple_tag
def when(at: dt.datetime) -> SafeString:
    """A time in the shop's zone, to the minute."""
    here = timezone.localtime(at)
    return format_html('<time datetime="{}">{}</time>', here.isoformat(), formats.date_format(here, "j M Y, H:i"))


@register.simple_tag
def line_sum(line: EstimateLine) -> str:
    return money_words(line_total(priced(line)), line.version.currency)


def _tag(shape: str, word: Any) -> SafeString:
    return format_html('<span class="tag tag-{}">{}</span>', shape, word)


def _reverse(name: str, *args: Any) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
