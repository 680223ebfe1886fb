"""English as it is spelt in America: made by rule from the words as they are written here, in British English.

Only the spelling changes, never a word: whoever signs a text in one spelling signs exactly what is read there.
"""

from __future__ import annotations

import re

AMERICAN = {
    "haemo": "hemo",
    "calcaemia": "calcemia",
    "dialyser": "dialyzer",
    "fibre": "fiber",
    "centre": "center",
    "colour": "color",
    "dialled": "dialed",
    "judgement": "judgment",
    "litre": "liter",
    "modelled": "modeled",
    "practise": "practice",
    "practising": "practicing",
    "programme": "program",
    "towards": "toward",
}
"""Stems that differ, as they stand in our own words; anything else is spelt alike (from memory)."""
_STEM = re.compile("|".join(sorted(AMERICAN, key=len, reverse=True)), re.IGNORECASE)
_APART = re.compile(r"%\(\w+\)\w|\{\w*\}|</?\w[^>]*>")
"""Placeholders and tags, which are names of a program."""


def american(words: str) -> str:
    """A text of ours in American spelling, capitals and placeholders as they are.

    >>> american("Haemoglobin, litres of %(colour)s")
    'Hemoglobin, liters of %(colour)s'
    """
    kept = _APART.findall(words)
    spelt = [_STEM.sub(_in_american, part) for part in _APART.split(words)]
    return "".join(part + name for part, name in zip(spelt, [*kept, ""], strict=True))


def _in_american(found: re.Match[str]) -> str:
    spelt = AMERICAN[found[0].lower()]
    return spelt.capitalize() if found[0][0].isupper() else spelt
