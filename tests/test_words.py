"""Every word that people see goes through gettext: no bare words in templates, none in what is raised at people."""

import ast
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings
from django.template.base import Lexer, TokenType

APPS = [Path(settings.BASE_DIR) / app for app in ("shop", "diagnostics", "parts", "reports")]
TEMPLATES = sorted(path for app in APPS for path in app.glob("templates/**/*.html"))
SEEN = {"aria-label", "placeholder", "title", "alt", "label", "data-label"}
# The product's name, symbols of units, and the class of the page (a block of its own in base.html).
SAME = re.compile(r"\bpage-(?:narrow|wide)\b|Topwright|YYYY-MM|PDF|SHA-256|mm²|\b(?:V|Ω|km|min|m|s|500)\b|&\w+;")
SAID = {
    "ShopError", "TooMany", "Conflict", "Refused", "NotDone", "SheetAlreadyOpen", "ValidationError", "success", "info",
}  # fmt: skip


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.bare: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in SEEN:
                self.handle_data(value or "")

    def handle_data(self, data: str) -> None:
        if re.search(r"[^\W\d_]", SAME.sub("", data)):
            self.bare.append(" ".join(data.split()))


def bare_words(source: str) -> list[str]:
    """The words of a template outside of translate and blocktranslate tags, in text and in attributes that are read."""
    kept, inside = [], False
    for token in Lexer(source).tokenize():
        if token.token_type == TokenType.BLOCK and re.match(r"(end)?blocktrans", token.contents):
            inside = not token.contents.startswith("end")
        elif token.token_type == TokenType.TEXT and not inside:
            kept.append(token.contents)
    words = _Words()
    words.feed("".join(kept))
    words.close()
    return words.bare


def test_bare_words_are_found() -> None:
    page = '<p title="Tip {{ x }}">{% translate "a" %} 3 V <b>Bare</b>{% blocktranslate %}b{% endblocktranslate %}</p>'
    assert bare_words(page) == ["Tip", "Bare"]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_no_bare_words_in_templates(path: Path) -> None:
    assert bare_words(path.read_text()) == []


@pytest.mark.parametrize("app", APPS, ids=lambda path: path.name)
def test_what_is_said_to_people_is_never_a_bare_string(app: Path) -> None:
    bare = [
        f"{path.name}:{call.lineno}"
        for path in app.rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text()))
        if isinstance(call, ast.Call) and getattr(call.func, "id", getattr(call.func, "attr", "")) in SAID
        for argument in call.args
        if isinstance(argument, ast.JoinedStr)
        or (isinstance(argument, ast.Constant) and isinstance(argument.value, str))
    ]
    assert bare == []
