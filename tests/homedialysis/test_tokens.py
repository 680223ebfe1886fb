"""Tokens of phone and desk: each name once, each colour in three lights, and words that can be read in all of them."""

from __future__ import annotations

import re
from collections import Counter
from itertools import product
from pathlib import Path

import pytest
from django.conf import settings

FOLDERS = ("alerts", "dosing", "homedialysis", "sessions")
SHARED, DESK = "sessions/static/bedside/css/tokens.css", "homedialysis/static/homedialysis/css/unit_tokens.css"
LIGHTS = ("light", "dark", "night")
DECLARED = re.compile(r"^\s+--([\w-]+):\s*([^;]*);", re.MULTILINE)
COLOUR = re.compile(r"var\(--if-(\w+), (#[0-9a-f]{6})\)")


def _text(path: str) -> str:
    return Path(settings.BASE_DIR, path).read_text(encoding="utf-8")


def _colours() -> dict[str, dict[str, str]]:
    """{name: {light: "#rrggbb"}} of both files."""
    named = DECLARED.findall(_text(SHARED)) + DECLARED.findall(_text(DESK))
    return {name: dict(COLOUR.findall(value)) for name, value in named if COLOUR.search(value)}


def _contrast(one: str, other: str) -> float:
    """[1] WCAG 2.2, "contrast ratio" and "relative luminance" of its glossary."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    lower, higher = sorted((luminance(one), luminance(other)))
    return (higher + 0.05) / (lower + 0.05)


def test_black_on_white_is_the_most_there_is() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_each_token_is_declared_once() -> None:
    names = [name for path in (SHARED, DESK) for name, _ in DECLARED.findall(_text(path))]
    again = {name for name, times in Counter(names).items() if times > 1}
    assert {name for name in again if not name.startswith("if-")} == set()


def test_each_colour_has_a_value_for_each_light() -> None:
    colours = _colours()
    assert len(colours) > 30
    assert {name: set(values) for name, values in colours.items() if set(values) != set(LIGHTS)} == {}


def test_what_a_style_takes_is_declared() -> None:
    paths = [path for folder in FOLDERS for path in Path(settings.BASE_DIR, folder).rglob("*.css")]
    texts = [path.read_text(encoding="utf-8") for path in paths]
    declared = {name for text in texts for name, _ in DECLARED.findall(text)}
    assert {name for text in texts for name in re.findall(r"var\(--([\w-]+)", text)} - declared == set()


WORDS = ("ink", "ink-soft", "link", "act", "danger", "care-ink", "good-ink", "call-ink", "review-ink", "unknown-ink")
EDGES = ("edge", "focus", "act", "danger", "care-edge", "good-edge", "call-edge", "review-edge", "unknown-edge")
ON_ITS_OWN = [(f"{name}-ink", f"{name}-wash") for name in ("care", "good", "call", "review", "unknown")] + [
    ("act-ink", "act"),
    ("danger-ink", "danger"),
    ("ink", "danger-wash"),
    ("ink", "act-wash"),
    ("ink", "care-wash"),
    ("ink", "good-wash"),
]


@pytest.mark.parametrize("light", LIGHTS)
def test_words_and_edges_can_be_seen_in_each_light(light: str) -> None:
    """WCAG 2.2 AA: 4.5 for words (1.4.3), 3 for what shows where to touch (1.4.11)."""
    colours = {name: values[light] for name, values in _colours().items()}
    pairs = [*product(WORDS, ("paper", "card", "well")), *ON_ITS_OWN]
    seen = {f"{one} on {other}": _contrast(colours[one], colours[other]) for one, other in pairs}
    edges = {
        f"{one} on {other}": _contrast(colours[one], colours[other]) for one, other in product(EDGES, ("paper", "card"))
    }
    assert {pair: ratio for pair, ratio in seen.items() if ratio < 4.5} == {}
    assert {pair: ratio for pair, ratio in edges.items() if ratio < 3} == {}
