"""A figure as SVG for a page, whose CSP forbids inline style, and for paper. Text stays text in both."""

import re
from io import StringIO
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

from diagnostics.charts.colours import CLASSES, PAPER

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SVG: Final = "http://www.w3.org/2000/svg"
_LINK: Final = "{http://www.w3.org/1999/xlink}href"
_POINTS: Final = re.compile(r"(-?\d+\.\d{2})\d+")
_REFERENCE: Final = re.compile(r"url\(#([^)]+)\)")
_FONT_SIZE: Final = re.compile(r"([\d.]+)px")
_LEFT_OUT: Final = ("metadata", "style", "title", "desc")


def svg_for_page(figure: "Figure", *, prefix: str, title: str, description: str) -> str:
    """The figure as an <svg> to stand in a page: no inline style, colours as the classes of charts.colours, ids that
    begin with `prefix` (unique on the page), title and description for screen readers. The same bytes each time."""
    root = _drawn(figure)
    for element in root.iter():
        _plain(element, prefix)
        _classes(element)
        element.attrib.pop("font-family", None)
    root.attrib = {
        "class": "chart",
        "viewBox": root.get("viewBox", ""),
        "role": "img",
        "aria-labelledby": f"{prefix}-title {prefix}-desc",
        "stroke-linejoin": "round",
    }
    _say(root, f"{prefix}-desc", "desc", description)
    _say(root, f"{prefix}-title", "title", title)
    return _text(root)


def svg_for_paper(figure: "Figure", *, family: str = "") -> str:
    """The figure as a whole SVG document in the colours of paper, for svglib; `family`: the name of a registered
    typeface (else the one that it was measured with)."""
    root = _drawn(figure)
    for element in root.iter():
        _plain(element, "f")
        for name in ("fill", "stroke"):
            element.attrib.update({name: PAPER[element.attrib[name]]} if element.get(name) in PAPER else {})
        if element.tag == _tag("text") and family:
            element.set("font-family", family)
    root.set("stroke-linejoin", "round")
    return _text(root)


def _drawn(figure: "Figure") -> ET.Element:
    out = StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    # Made by matplotlib just now: nothing of it comes from outside.
    root = ET.fromstring(out.getvalue())  # noqa: S314
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in {_tag(name) for name in _LEFT_OUT}:
                parent.remove(child)
    return root


def _plain(element: ET.Element, prefix: str) -> None:
    """Style as attributes, ids with the prefix, coordinates to a hundredth."""
    attributes: dict[str, str] = {}
    for name, value in element.attrib.items():
        if name == "style":
            continue
        attributes["href" if name == _LINK else name] = value
    attributes.update(_declared(element.get("style", "")))
    if "id" in attributes:
        attributes["id"] = f"{prefix}-{attributes['id']}"
    if attributes.get("href", "").startswith("#"):
        attributes["href"] = f"#{prefix}-{attributes['href'][1:]}"
    for name, value in attributes.items():
        value = _REFERENCE.sub(rf"url(#{prefix}-\1)", value)
        attributes[name] = value if name in ("id", "href", "clip-path") else _POINTS.sub(r"\1", value)
    element.attrib = attributes


def _declared(style: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for part in style.split(";"):
        name, _colon, value = part.partition(":")
        name, value = name.strip(), value.strip()
        if name == "font":
            size = _FONT_SIZE.search(value)
            found.update({"font-size": size[1]} if size else {})
        elif name:
            found[name] = value
    return found


def _classes(element: ET.Element) -> None:
    names = [
        f"c{name[0]}-{CLASSES[element.attrib.pop(name)]}" for name in ("fill", "stroke") if element.get(name) in CLASSES
    ]
    if names:
        element.set("class", " ".join(names))
    if element.tag == _tag("g") and not names:
        element.attrib.pop("id", None)


def _say(root: ET.Element, key: str, name: str, words: str) -> None:
    element = ET.Element(_tag(name), {"id": key})
    element.text = words
    root.insert(0, element)


def _text(root: ET.Element) -> str:
    ET.register_namespace("", _SVG)
    for element in root.iter():
        element.tail = None
        element.text = (element.text or "").strip("\n ") or None
    return ET.tostring(root, encoding="unicode")


def _tag(name: str) -> str:
    return f"{{{_SVG}}}{name}"
