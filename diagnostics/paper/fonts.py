"""The typeface of our papers, embedded in every file: Source Sans Pro (SIL Open Font License), from a Python package.

It covers Latin with its extensions, Greek and Cyrillic. A letter that it lacks (Hebrew, Arabic, Han, …) is printed as a
filled square and said so in the document: nothing is left out in silence.
"""

import unicodedata
from functools import cache
from importlib.resources import as_file, files
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "TopwrightSans", "TopwrightSans-Bold"
MISSING = "■"
_FILES = {REGULAR: "SourceSansPro-Regular.ttf", BOLD: "SourceSansPro-Semibold.ttf"}


@cache
def _letters() -> frozenset[int]:
    """Register both weights, once a process, and say which code points both have."""
    known: list[frozenset[int]] = []
    for name, file in _FILES.items():
        with as_file(files("font_source_sans_pro").joinpath("files", file)) as path:
            font = TTFont(name, str(path))
        pdfmetrics.registerFont(font)
        known.append(frozenset(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return known[0] & known[1]


def fonts_ready() -> None:
    _letters()


@cache
def chart_font() -> str:
    """The name under which svglib measures the words of a chart in our typeface; known to it once a process."""
    from svglib.fonts import register_font  # only a paper with charts needs it

    fonts_ready()
    name = f"{REGULAR}-Chart"
    with as_file(files("font_source_sans_pro").joinpath("files", _FILES[REGULAR])) as path:
        register_font(name, str(path), rlgFontName=name)
    return name


def plain(text: str) -> str:
    """`text` with only letters that the typeface has: composed, control characters out, missing letters as MISSING."""
    if text.isascii() and text.isprintable():
        return text
    if unicodedata.is_normalized("NFC", text) and _letters().issuperset(map(ord, text)):
        return text
    return "".join(_printable(letter) for letter in unicodedata.normalize("NFC", text))


def _printable(letter: str) -> str:
    if letter == "\n" or ord(letter) in _letters():
        return letter
    category = unicodedata.category(letter)
    if category in ("Zs", "Zl", "Zp") or letter in "\t\r":
        return " "
    if category in ("Cc", "Cf", "Mn", "Me", "Cs"):
        return ""  # invisible by themselves: joiners, direction marks, marks without a composed letter
    base = unicodedata.normalize("NFKD", letter)
    shown = "".join(one for one in base if ord(one) in _letters())
    return shown or MISSING


def lacks_letters(text: str) -> bool:
    """Whether a letter of `text` will be printed as MISSING."""
    return MISSING in plain(text) and MISSING not in text


def markup(text: str) -> str:
    """`text` for a reportlab paragraph: plain, with `<`, `>` and `&` escaped and line ends kept."""
    return escape(plain(text)).replace("\n", "<br/>")
