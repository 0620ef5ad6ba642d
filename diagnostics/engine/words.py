"""Words for people from code that knows no web framework: `_()` marks a sentence; the shell says who translates it."""

from collections.abc import Callable

_speak: Callable[[str], str] = str


def speak_with(translate: Callable[[str], str]) -> None:
    """Translate every sentence from now on with `translate`, called when the sentence is made, for who reads it."""
    global _speak
    _speak = translate


def _(text: str) -> str:
    return _speak(text)
