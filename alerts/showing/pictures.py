"""The small chart beside an alert: the last treatments, those it speaks of, the limit and what was usual before.

Plain geometry for a template to draw as SVG: no colour and no style here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from django.utils.translation import gettext, ngettext

from homedialysis.accounts.services.dates import told_day
from sessions.facts.local_number import plain

WIDTH, HEIGHT = 300.0, 92.0
LEFT, RIGHT, TOP, BOTTOM = 6.0, 84.0, 10.0, 18.0
"""Margins; the words for limit and usual stand in the right one, the days below."""
FEWEST = 2
FEWEST_USUAL = 5
"""Earlier treatments needed before anything is called usual (common practice, no source)."""
LEAST_APART = 12.0
"""So far apart must the two words in the right margin stand to be read."""

Course = Sequence[tuple[date, float]]


@dataclass(frozen=True, slots=True)
class Dot:
    """One treatment. told: whether the alert speaks of it; words for the pointer."""

    x: float
    y: float
    told: bool
    words: str


@dataclass(frozen=True, slots=True)
class Level:
    """A level across the chart; text_y: where its words stand."""

    y: float
    text_y: float
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything a template needs; words say what it shows to whoever does not see it."""

    dots: Sequence[Dot]
    path: str
    limit: Level | None
    usual: Level | None
    first: date
    last: date
    words: str
    width: float = WIDTH
    height: float = HEIGHT
    right: float = WIDTH - RIGHT
    base: float = HEIGHT - 5


def picture_of(
    course: Course, told: Mapping[date, float], *, limit: float | None, label: str, unit: str
) -> Picture | None:
    """Draw a course of values by day with those that are told of; None where there are too few to see anything.

    course: oldest first, one a day; told: the values the alert rests on, which win over the course's own.
    """
    values = dict(course) | dict(told)
    days = sorted(values)
    if len(days) < FEWEST:
        return None
    before = [value for day, value in course if told and day < min(told)]
    usual = median(before) if len(before) >= FEWEST_USUAL else None
    scale = _Scale.over([*values.values(), *(one for one in (limit, usual) if one is not None)], days)
    dots = [Dot(scale.x(day), scale.y(values[day]), day in told, _words(day, values[day], unit)) for day in days]
    limit_line, usual_line = _lines(scale, limit, usual)
    return Picture(
        dots=dots,
        path="M" + "L".join(f"{dot.x:.1f} {dot.y:.1f}" for dot in dots),
        limit=limit_line,
        usual=usual_line,
        first=days[0],
        last=days[-1],
        words=_in_words(label, unit, values, limit, usual),
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float
    first: date
    days: int

    @classmethod
    def over(cls, values: Sequence[float], days: Sequence[date]) -> _Scale:
        low, high = min(values), max(values)
        room = (high - low) * 0.08 or 1.0
        return cls(low - room, high + room, days[0], max(1, (days[-1] - days[0]).days))

    def x(self, day: date) -> float:
        return round(LEFT + (day - self.first).days / self.days * (WIDTH - LEFT - RIGHT), 1)

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(HEIGHT - BOTTOM - share * (HEIGHT - BOTTOM - TOP), 1)


def _lines(scale: _Scale, limit: float | None, usual: float | None) -> tuple[Level | None, Level | None]:
    """Both levels, their words moved apart where they would lie over each other."""
    limit_y = None if limit is None else scale.y(limit)
    usual_y = None if usual is None else scale.y(usual)
    limit_text, usual_text = limit_y, usual_y
    if limit_y is not None and usual_y is not None and abs(limit_y - usual_y) < LEAST_APART:
        middle, way = (limit_y + usual_y) / 2, 1 if usual_y >= limit_y else -1
        limit_text, usual_text = middle - way * LEAST_APART / 2, middle + way * LEAST_APART / 2
    return (
        None
        if limit_y is None
        else Level(
            limit_y, round((limit_text or 0) + 3.5, 1), gettext("limit %(limit)s") % {"limit": plain(limit or 0)}
        ),
        None
        if usual_y is None
        else Level(
            usual_y, round((usual_text or 0) + 3.5, 1), gettext("usual %(usual)s") % {"usual": _short(usual or 0)}
        ),
    )


def _short(value: float) -> str:
    """Three figures, with the decimal sign of the language."""
    return plain(float(f"{value:.3g}"))


def _words(day: date, value: float, unit: str) -> str:
    return f"{told_day(day, 'j M')}: {_short(value)} {unit}".strip()


def _in_words(label: str, unit: str, values: Mapping[date, float], limit: float | None, usual: float | None) -> str:
    days = sorted(values)
    told = ngettext(
        "%(label)s, %(count)s treatment from %(first)s to %(last)s, from %(least)s to %(most)s, the last %(newest)s.",
        "%(label)s, %(count)s treatments from %(first)s to %(last)s, from %(least)s to %(most)s, the last %(newest)s.",
        len(days),
    ) % {
        "label": label,
        "count": len(days),
        "first": told_day(days[0], "j M"),
        "last": told_day(days[-1], "j M"),
        "least": _short(min(values.values())),
        "most": f"{_short(max(values.values()))} {unit}".strip(),
        "newest": _short(values[days[-1]]),
    }
    told += "" if limit is None else " " + gettext("Limit %(limit)s.") % {"limit": plain(limit)}
    return told + ("" if usual is None else " " + gettext("Usual before %(usual)s.") % {"usual": _short(usual)})
