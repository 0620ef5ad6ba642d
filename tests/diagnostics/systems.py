"""The shipped systems for tests, as text and loaded."""

from functools import cache

from diagnostics.engine.system import TopSystem
from diagnostics.engine.system.load import load_system
from shop.settings import FIXTURES_DIR

SLUGS = ("rht-trio", "softbow-hydro", "softline-electro")


@cache
def text_of(slug: str) -> str:
    return (FIXTURES_DIR / "systems" / f"{slug}.yaml").read_text(encoding="utf-8")


@cache
def shipped(slug: str) -> TopSystem:
    return load_system(text_of(slug), f"{slug}.yaml")
