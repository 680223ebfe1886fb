"""The course of some numbers over the last treatments, drawn small: weight against its target, pressures.

Plain geometry for a template to draw as SVG: no colour and no style here. Lines are told apart by dash, mark and name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dosing.services.month.svg import ticks_of
from dosing.services.night.treatments import ComputedNight
from sessions.facts.fields import WEIGHT
from sessions.facts.local_number import decimals

WIDTH, HEIGHT = 460.0, 128.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 82.0, 10.0, 18.0
LEVEL = "course-level"
FEWEST = 2
"""Treatments below which nothing of a course is seen."""
LEAST_APART = 12.0
"""So far apart stand the names at the right, to be read."""

Values = Sequence[float | None]


@dataclass(frozen=True, slots=True)
class Line:
    """kind: the class that draws it, `LEVEL` for what the others are held against; path: broken
    where a value is unknown; name_y: where its name stands, at the right.
    """

    kind: str
    name: str
    path: str
    dots: Sequence[tuple[float, float]]
    name_y: float


@dataclass(frozen=True, slots=True)
class CourseChart:
    """Everything a template needs; words say what it shows to whoever does not see it."""

    title: str
    lines: Sequence[Line]
    ticks: Sequence[tuple[float, str]]
    first: date
    last: date
    words: str
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    base: float = HEIGHT - 5


@dataclass(frozen=True, slots=True)
class _Series:
    kind: str
    name: str
    values: Values


def charts_of(nights: Sequence[ComputedNight]) -> list[CourseChart]:
    """Weight and pressures of treatments, oldest first; a chart that would show nothing is left out."""
    nights = [night for night in nights if night.record.ended_at]
    days = [night.record.night for night in nights]
    told = WEIGHT.told.of
    orders = [night.record.prescription for night in nights]
    weights = [
        _Series("course-second", _("before"), _of(nights, "pre_weight_kg")),
        _Series("course-first", _("after"), _of(nights, "post_weight_kg")),
        _Series(LEVEL, _("target"), [order.target_weight_kg if order else None for order in orders]),
    ]
    in_unit = [
        _Series(each.kind, each.name, [None if value is None else told(value) for value in each.values])
        for each in weights
    ]
    pressures = [
        _Series("course-second", _("before"), _of(nights, "pre_systolic")),
        _Series("course-first", _("after"), _of(nights, "post_systolic")),
        _Series("course-third", _("lowest"), [night.value("lowest_systolic") for night in nights]),
    ]
    drawn = (
        _chart(_("Weight and target, %(unit)s") % {"unit": WEIGHT.unit_told}, days, in_unit, places=1),
        _chart(_("Systolic pressure, mmHg"), days, pressures, places=0),
    )
    return [chart for chart in drawn if chart is not None]


def _of(nights: Sequence[ComputedNight], name: str) -> Values:
    return [getattr(night.record, name) for night in nights]


def _chart(title: str, days: Sequence[date], series: Sequence[_Series], *, places: int) -> CourseChart | None:
    measured = [value for each in series if each.kind != LEVEL for value in each.values if value is not None]
    if len(days) < FEWEST or not measured:
        return None
    shown = [each for each in series if any(value is not None for value in each.values)]
    ticks = ticks_of([value for each in shown for value in each.values if value is not None])
    scale = _Axes(ticks[0], ticks[-1], days[0], max(1, (days[-1] - days[0]).days))
    finest = max(len(f"{tick:g}".partition(".")[2]) for tick in ticks)
    return CourseChart(
        title=title,
        lines=_lines(scale, days, shown),
        ticks=[(scale.y(tick), decimals(tick, finest)) for tick in (ticks[0], ticks[-1])],
        first=days[0],
        last=days[-1],
        words=_in_words(title, days, shown, places),
    )


@dataclass(frozen=True, slots=True)
class _Axes:
    low: float
    high: float
    first: date
    days: int

    def x(self, day: date) -> float:
        return round(LEFT + (day - self.first).days / self.days * (WIDTH - LEFT - RIGHT), 1)

    def y(self, value: float) -> float:
        return round(TOP + (self.high - value) / (self.high - self.low) * (HEIGHT - TOP - BOTTOM), 1)


def _lines(scale: _Axes, days: Sequence[date], series: Sequence[_Series]) -> list[Line]:
    points = [
        [
            None if value is None else (scale.x(day), scale.y(value))
            for day, value in zip(days, each.values, strict=True)
        ]
        for each in series
    ]
    ends = [next(point[1] for point in reversed(own) if point) for own in points]
    return [
        Line(
            each.kind,
            each.name,
            _path(own, steps=each.kind == LEVEL),
            [] if each.kind == LEVEL else [point for point in own if point],
            name_y,
        )
        for each, own, name_y in zip(series, points, _apart(ends), strict=True)
    ]


def _path(points: Sequence[tuple[float, float] | None], *, steps: bool) -> str:
    """As SVG has it. steps: a level holds until another one does."""
    path, pen_down = "", False
    for point in points:
        if point is not None:
            x, y = point
            path += f"H{x:g}V{y:g}" if pen_down and steps else f"{'L' if pen_down else 'M'}{x:g} {y:g}"
        pen_down = point is not None
    return path


def _apart(ends: Sequence[float]) -> list[float]:
    """Where names stand that each belong to an end: in the order of the ends, never over each other, inside."""
    order = sorted(range(len(ends)), key=lambda index: ends[index])
    placed: dict[int, float] = {}
    floor = TOP
    for index in order:
        placed[index] = max(ends[index], floor)
        floor = placed[index] + LEAST_APART
    over = max(0.0, floor - LEAST_APART - (HEIGHT - BOTTOM))
    return [round(placed[index] - over + 3.5, 1) for index in range(len(ends))]


def _in_words(title: str, days: Sequence[date], series: Sequence[_Series], places: int) -> str:
    words = ngettext(
        "%(title)s: %(count)s treatment from %(first)s to %(last)s.",
        "%(title)s: %(count)s treatments from %(first)s to %(last)s.",
        len(days),
    )
    head = {"title": title, "count": len(days), "first": _day(days[0]), "last": _day(days[-1])}
    return " ".join([words % head, *(_line_in_words(each, places) for each in series)])


def _line_in_words(series: _Series, places: int) -> str:
    known = [value for value in series.values if value is not None]
    told = {"name": series.name, "newest": decimals(known[-1], places)}
    if min(known) == max(known):
        return _("%(name)s %(newest)s.") % told
    told |= {"least": decimals(min(known), places), "most": decimals(max(known), places)}
    return _("%(name)s from %(least)s to %(most)s, the last %(newest)s.") % told


def _day(day: date) -> str:
    return date_format(day, "j M")
