"""Words for people from code that knows no web framework: `_()` marks a sentence; the shell says who translates it.

What a screen says follows `speak_with`. A paper has a language of its own, whoever asks for it and wherever it is made:
inside `speaking(tongue)` every sentence and number of this task (thread, coroutine) is said in that tongue.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from decimal import Decimal
from string import Formatter
from typing import Any

_speak: Callable[[str], str] = str


@dataclass(frozen=True, slots=True, eq=False)
class Tongue:
    """A language that papers speak. `words`: English sentence -> its translation, one for each grammatical number;
    `form`: which of them a count takes. What `words` lacks is said in English."""

    code: str
    words: Mapping[str, tuple[str, ...]]
    form: Callable[[int], int] = lambda count: int(count != 1)
    decimal: str = "."
    thousands: str = ","

    @property
    def english_marks(self) -> bool:
        return (self.decimal, self.thousands) == (".", ",")

    def say(self, text: str) -> str:
        return self._phrase(self.words.get(text, (text,))[0])

    def say_many(self, one: str, many: str, count: int) -> str:
        forms = self.words.get(one, (one, many))
        return self._phrase(forms[min(self.form(count), len(forms) - 1)])

    def _phrase(self, text: str) -> str:
        return text if self.english_marks else _Phrase(text)


_spoken: ContextVar[Tongue | None] = ContextVar("spoken", default=None)


@contextmanager
def speaking(tongue: Tongue) -> Iterator[None]:
    """Until the end of the block this task speaks `tongue`; other threads and tasks are not touched."""
    before = _spoken.set(tongue)
    try:
        yield
    finally:
        _spoken.reset(before)


def spoken() -> str:
    """The code of the language of the paper that is being made, or '' where none is: a screen's."""
    tongue = _spoken.get()
    return tongue.code if tongue else ""


def speak_with(translate: Callable[[str], str]) -> None:
    """Translate every sentence from now on with `translate`, called when the sentence is made, for who reads it."""
    global _speak
    _speak = translate


def _(text: str) -> str:
    tongue = _spoken.get()
    return _speak(text) if tongue is None else tongue.say(text)


def _n(one: str, many: str, count: int) -> str:
    """The sentence for so many. A screen that is not English shows `one` and `many` by the English rule."""
    tongue = _spoken.get()
    return _speak(one if count == 1 else many) if tongue is None else tongue.say_many(one, many, count)


def marked(text: str) -> str:
    """`text` as it is: a sentence of a table, for those who look for sentences to translate; said with `_` later."""
    return text


def number(value: float | Decimal, spec: str) -> str:
    """`value` after the format `spec`, with the marks of the language that is spoken: 1,234.5 or 1.234,5."""
    return _with_marks(format(value, spec))


def _with_marks(figures: str) -> str:
    tongue = _spoken.get()
    if tongue is None or tongue.english_marks:
        return figures
    return figures.translate({ord("."): tongue.decimal, ord(","): tongue.thousands})


class _Formatter(Formatter):
    def format_field(self, value: Any, format_spec: str) -> Any:
        said = super().format_field(value, format_spec)
        return _with_marks(said) if isinstance(value, int | float | Decimal) else said


class _Phrase(str):
    """A sentence of a tongue: the numbers that `format` puts into it get that language's marks."""

    __slots__ = ()

    def __add__(self, other: str) -> "_Phrase":
        return _Phrase(super().__add__(other))

    def __radd__(self, other: str) -> "_Phrase":
        return _Phrase(other.__add__(self))

    def format(self, *args: object, **named: object) -> str:
        return _Formatter().format(self, *args, **named)
