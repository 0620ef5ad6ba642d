"""Template tags that every page may use (a builtin library)."""

from dataclasses import dataclass
from typing import Any

from django import template
from django.template import Context
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy

from shop.permissions import may as _may

register = template.Library()

_NAV = (
    ("shop:floor", gettext_lazy("Floor")),
    ("shop:cars", gettext_lazy("Cars")),
    ("parts:shelf", gettext_lazy("Shelf")),
    ("reports:certificates", gettext_lazy("Certificates")),
    ("diagnostics:systems", gettext_lazy("Systems")),
)


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
    for name, label in _NAV:
        url = _reverse(name)
        if url:
            below = path.startswith(url) and url != "/"
            items.append(NavItem(url, label, "page" if path == url else "true" if below else ""))
    return items


@register.inclusion_tag("shop/bits/fragment.html")
def fragment(label: str, name: str, *args: Any) -> dict[str, Any]:
    """A place for another app's fragment, by URL name: loaded by htmx, a plain link without it, nothing where there is none.

    `{% fragment _("Units") "diagnostics:car-units" car.pk %}`
    """
    return {"url": _reverse(name, *args), "label": label}


def _reverse(name: str, *args: Any) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
