"""Template filters of the enquiry pages: coarse numbers, as coarse as what they rest on."""

from django import template
from django.http import QueryDict
from django.utils.translation import gettext as _

register = template.Library()


@register.filter
def fives(probability: float) -> int:
    """Percent, to the next five; at least five, at most 95: nothing is certain before somebody has looked."""
    return min(95, max(5, 5 * round(20 * probability)))


@register.filter
def hours(minutes: int) -> str:
    """Minutes as people say them: 45 min, 2 h, 2 h 30 min."""
    whole, rest = divmod(int(minutes), 60)
    if not whole:
        return _("{rest} min").format(rest=rest)
    return _("{whole} h {rest} min").format(whole=whole, rest=rest) if rest else _("{whole} h").format(whole=whole)


@register.filter
def list_of(data: QueryDict, name: str) -> list[str]:
    """Every value of a field that can have several."""
    return data.getlist(name)
