"""Whoever dialyses by day never reads of a night: every text of the bedside that speaks of one has its other words."""

from __future__ import annotations

import json
import re

import pytest

from homedialysis import words

SCRIPT = words.SCRIPT_WORDS.parent / "js" / "by_day.js"
NIGHT = re.compile(r"night", re.IGNORECASE)
PAIR = re.compile(r'\[\s*("(?:[^"\\]|\\.)*"),\s*wording\(\s*("(?:[^"\\]|\\.)*"),?\s*\),?\s*\]')
JOINED = re.compile(r'" \+\s+"')
"""Where a long text goes on in the next line."""
MEANT = {"Night: dim and warm"}
"""A light of the screen."""


def pairs() -> dict[str, str]:
    script = JOINED.sub("", SCRIPT.read_text(encoding="utf-8"))
    return {json.loads(night): json.loads(day) for night, day in PAIR.findall(script)}


def said() -> set[str]:
    return {str(message.id) for message in words.catalogue("es", "djangojs") if message.id}


def test_every_text_about_a_night_has_words_for_the_day() -> None:
    told = {text for text in said() if NIGHT.search(text.replace("{night}", ""))}
    assert told - set(pairs()) == MEANT


def test_no_words_for_the_day_speak_of_a_night() -> None:
    assert [day for day in pairs().values() if NIGHT.search(day.replace("{night}", ""))] == []
    spanish = {message.id: message.string for message in words.catalogue("es", "djangojs")}
    assert [day for day in pairs().values() if re.search("noche", spanish[day], re.IGNORECASE)] == []


def test_nothing_is_kept_that_the_bedside_does_not_say() -> None:
    assert set(pairs()) <= said()


@pytest.mark.parametrize("night", sorted(pairs()))
def test_both_have_the_same_places(night: str) -> None:
    places = re.compile(r"\{\w+\}")
    assert sorted(places.findall(night)) == sorted(places.findall(pairs()[night]))
