from django import template

from diagnostics.charts.words import percent_words

register = template.Library()


@register.filter
def signed(pieces: int) -> str:
    """A change with its sign: +3, −3."""
    return f"+{pieces}" if pieces > 0 else f"−{-pieces}" if pieces < 0 else "0"


@register.filter
def percent(share: float) -> str:
    return percent_words(share)
