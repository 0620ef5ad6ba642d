"""The languages that a certificate can be made in: English, and one more for each translation file.

A file lies at `locale/<code>/LC_MESSAGES/certificate.po` beside this module. Its header names the language (its own
name in `X-Name`), its plural rule and its marks of numbers. DEVELOPERS.md: "A language".
"""

from contextlib import AbstractContextManager
from functools import cache
from gettext import c2py
from pathlib import Path
from typing import Final

from diagnostics.engine.words import Tongue, _, speaking
from reports.document.po import entries, header

ENGLISH: Final = "en"
LOCALE: Final = Path(__file__).parent / "locale"


class LanguageError(ValueError):
    """A language that no certificate speaks: one sentence with those that there are."""


@cache
def languages() -> dict[str, str]:
    """Code -> name of the language in itself; English first."""
    files = sorted(LOCALE.glob("*/LC_MESSAGES/certificate.po"))
    named = {path.parts[-3]: header(path.read_text(encoding="utf-8")).get("X-Name", "") for path in files}
    return {ENGLISH: "English", **{code: name or code for code, name in named.items()}}


def catalogue(code: str) -> Path:
    return LOCALE / code / "LC_MESSAGES" / "certificate.po"


@cache
def tongue(code: str) -> Tongue:
    """Raises LanguageError."""
    if code not in languages():
        words = _("There is no certificate in the language “{code}”; expected one of: {known}.")
        raise LanguageError(words.format(code=code, known=", ".join(languages())))
    if code == ENGLISH:
        return Tongue(ENGLISH, {})
    source = catalogue(code).read_text(encoding="utf-8")
    said = header(source)
    rule = said.get("Plural-Forms", "").partition("plural=")[2].rstrip("; ") or "n != 1"
    return Tongue(
        code,
        {entry.text: tuple(entry.forms) for entry in entries(source) if entry.translated},
        c2py(rule),
        decimal=said.get("X-Decimal-Mark", ".").strip("\"'"),
        thousands=said.get("X-Thousands-Mark", ",").strip("\"'"),
    )


def speaking_in(code: str) -> AbstractContextManager[None]:
    """As `speaking`, by the code of the language. Raises LanguageError."""
    return speaking(tongue(code))
