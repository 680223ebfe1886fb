"""A patient's charts drawn small, for the picture that opens below a line of the list.

Plain geometry for a template to draw as SVG: no colour and no style here. Lines are told apart by dash, mark and name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.showing.patient_charts import FIRST, SECOND, THIRD, ChartLevel, ChartPoint, PatientChart
from dosing.services.month.svg import ticks_of
from homedialysis.accounts.services.dates import told_day
from sessions.facts.local_number import decimals

WIDTH, HEIGHT = 300.0, 112.0
LEFT, RIGHT, TOP, BOTTOM = 30.0, 62.0, 8.0, 18.0
CLASSES = {FIRST: "course-first", SECOND: "course-second", THIRD: "course-third"}
LEVEL = "course-level"
FEWEST = 2
"""Treatments below which nothing of a course is seen."""
LEAST_APART = 12.0
"""So far apart stand the names at the right, to be read."""

MOST_TOLD = 6
"""Points outside that are told in words, the newest."""


@dataclass(frozen=True, slots=True)
class CourseDot:
    """One value. words: for the pointer."""

    x: float
    y: float
    outside: bool
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """kind: the class that draws it, `LEVEL` for what the others are held against; path: broken
    where a value is unknown; name: at the right, of a level its newest figure; name_y: where it stands.
    """

    kind: str
    name: str
    path: str
    dots: Sequence[CourseDot]
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

    @property
    def outside(self) -> bool:
        return any(dot.outside for line in self.lines for dot in line.dots)

    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    base: float = HEIGHT - 5


def charts_of(charts: Sequence[PatientChart]) -> list[CourseChart]:
    """The small ones among a patient's charts; one that would show no course is left out."""
    drawn = (_chart(chart) for chart in charts if chart.small)
    return [chart for chart in drawn if chart is not None]


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A line before it has a place. kind: the class that draws it; beside: what stands beside its end."""

    kind: str
    name: str
    points: Sequence[ChartPoint]
    beside: str = ""

    @property
    def known(self) -> list[float]:
        return [point.value for point in self.points if point.value is not None]


def _chart(chart: PatientChart) -> CourseChart | None:
    series = [_Drawn(CLASSES[each.look], each.name, each.points, each.name) for each in chart.series if each.small]
    days = sorted({point.day for each in series for point in each.points})
    if len(days) < FEWEST or not any(each.known for each in series):
        return None
    levels = [_Drawn(LEVEL, level.name, level.points, _newest(level, chart.places)) for level in chart.levels]
    shown = [each for each in (*series, *levels) if each.known]
    ticks = ticks_of([value for each in shown for value in each.known])
    scale = _Axes(ticks[0], ticks[-1], days[0], max(1, (days[-1] - days[0]).days))
    finest = max(len(f"{tick:g}".partition(".")[2]) for tick in ticks)
    return CourseChart(
        title=chart.head,
        lines=_lines(scale, shown),
        ticks=[(scale.y(tick), decimals(tick, finest)) for tick in (ticks[0], ticks[-1])],
        first=days[0],
        last=days[-1],
        words=_in_words(chart, days, shown),
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


def _newest(level: ChartLevel, places: int) -> str:
    return next((decimals(each.value, places) for each in reversed(level.points) if each.value is not None), "")


def _lines(scale: _Axes, drawn: Sequence[_Drawn]) -> list[Line]:
    points = [
        [None if point.value is None else (scale.x(point.day), scale.y(point.value)) for point in each.points]
        for each in drawn
    ]
    ends = [next(point[1] for point in reversed(own) if point) for own in points]
    return [
        Line(
            each.kind,
            each.beside,
            _path(own, steps=each.kind == LEVEL),
            [] if each.kind == LEVEL else _dots(each, own),
            name_y,
        )
        for each, own, name_y in zip(drawn, points, _apart(ends), strict=True)
    ]


def _dots(drawn: _Drawn, places: Sequence[tuple[float, float] | None]) -> list[CourseDot]:
    """Each with the words for the pointer: day, figure with its unit, and by which limit it is outside."""
    return [
        CourseDot(*place, outside=bool(point.outside), words=_dot_in_words(drawn.name, point))
        for point, place in zip(drawn.points, places, strict=True)
        if place
    ]


def _dot_in_words(name: str, point: ChartPoint) -> str:
    said = f"{_day(point.day)}: {name} {point.words}"
    return f"{said}, {point.outside}" if point.outside else said


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


def _in_words(chart: PatientChart, days: Sequence[date], drawn: Sequence[_Drawn]) -> str:
    words = ngettext(
        "%(title)s: %(count)s day from %(first)s to %(last)s.",
        "%(title)s: %(count)s days from %(first)s to %(last)s.",
        len(days),
    )
    head = {"title": chart.head, "count": len(days), "first": _day(days[0]), "last": _day(days[-1])}
    beyond = [_dot_in_words(each.name, point) + "." for each in drawn for point in each.points if point.outside]
    return " ".join([words % head, *(_line_in_words(each, chart.places) for each in drawn), *beyond[-MOST_TOLD:]])


def _line_in_words(drawn: _Drawn, places: int) -> str:
    known = drawn.known
    told = {"name": drawn.name, "newest": decimals(known[-1], places)}
    if min(known) == max(known):
        return _("%(name)s %(newest)s.") % told
    told |= {"least": decimals(min(known), places), "most": decimals(max(known), places)}
    return _("%(name)s from %(least)s to %(most)s, the last %(newest)s.") % told


def _day(day: date) -> str:
    return told_day(day, "j M")
