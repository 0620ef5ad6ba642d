"""The look as far as it can be computed: contrast of the tokens, and nothing that the content policy would block."""

import re
from pathlib import Path

import pytest
from django.conf import settings

CSS = (Path(settings.BASE_DIR) / "shop/static/shop/topwright.css").read_text()
TEMPLATES = sorted(Path(settings.BASE_DIR).glob("*/templates/**/*.html"))
GROUNDS = ("ground", "panel", "sunk")
# (ink, ground, least contrast): 4.5 for text (WCAG 2.2, 1.4.3), 3 for edges of controls and focus (1.4.11).
PAIRS = [
    (ink, ground, 4.5)
    for ink in ("ink", "ink-soft", "thread", "thread-deep", "ok", "finding", "note")
    for ground in GROUNDS
]
PAIRS += [(ink, ground, 3.0) for ink in ("edge", "focus") for ground in GROUNDS]
PAIRS += [
    ("on-thread", "thread", 4.5),
    ("on-thread", "thread-deep", 4.5),
    ("panel", "ok", 4.5),
    ("on-caution", "caution", 4.5),
]
PAIRS += [("strip-ink", "strip", 4.5), ("strip-thread", "strip", 4.5)]


def _tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


def _schemes() -> dict[str, dict[str, str]]:
    light, dark = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)[:2]
    return {"light": _tokens(light), "dark": _tokens(light) | _tokens(dark)}


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_on_its_fixed_points() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # the grey that just fails on white


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground", "least"), PAIRS)
def test_tokens_have_contrast(scheme: str, ink: str, ground: str, least: float) -> None:
    tokens = _schemes()[scheme]
    assert contrast(tokens[ink], tokens[ground]) >= least


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: "/".join(path.parts[-3:]))
def test_nothing_inline_that_the_content_policy_blocks(template: Path) -> None:
    text = template.read_text()
    assert not re.search(r"\sstyle=[\"']", text)
    assert not re.search(r"\son[a-z]+=[\"']", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert "<style" not in text
