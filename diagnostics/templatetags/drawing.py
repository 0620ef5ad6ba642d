"""How the values of our own diagrams become SVG: numbers with a point in every language, labels, signs."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from diagnostics.engine.drawing.marks import Label, Line, Mark, number
from diagnostics.selectors.drawings import system_drawings

register = template.Library()
register.filter("n", number)
# What a system looks like by its file: {% system_drawings system as drawings %}
register.simple_tag(system_drawings)


@register.filter
def plus(value: float, amount: float) -> str:
    """The sum as a coordinate; `add` would cut both to whole numbers."""
    return number(value + amount)


@register.filter
def svg_text(label: Label) -> SafeString:
    fit = ""
    if label.fit:
        fit = format_html(' textLength="{}" lengthAdjust="spacingAndGlyphs"', number(label.fit))
    anchor = format_html(' text-anchor="{}"', label.anchor) if label.anchor != "start" else ""
    look = format_html(' class="d-{}"', label.look) if label.look else ""
    return format_html(
        '<text x="{}" y="{}"{}{}{}>{}</text>', number(label.x), number(label.y), look, anchor, fit, label.text
    )


@register.filter
def svg_mark(mark: Mark) -> SafeString:
    return format_html('<path class="d-{}" d="{}"><title>{}</title></path>', mark.sign, mark.d, mark.words)


@register.filter
def svg_line(line: Line) -> SafeString:
    look = f"d-{line.look}{' d-area' if line.closed else ''}{' d-dashed' if line.dashed else ''}"
    return format_html('<path class="{}" d="{}"/>', look, line.d)
