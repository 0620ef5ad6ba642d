"""Template tags that every page may use (a builtin library)."""

from typing import Any

from django import template

from shop.permissions import may as _may

register = template.Library()


@register.filter
def may(user: Any, what: str) -> bool:
    """`{% if user|may:"bench.write" %}`: offer only what the server will accept."""
    return _may(user, what)
