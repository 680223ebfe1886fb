"""Half a year of one quantity as a small drawing: points with their intervals, limits, and what was changed when.

Plain geometry for a template to draw as SVG: no colour and no style here. Series are told apart by mark and dash.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _

from dosing.services.month.svg import ticks_of
from homedialysis.accounts.services.dates import told_day
from sessions.facts.local_number import decimals

LEFT, RIGHT, TOP, BOTTOM = 34.0, 8.0, 12.0, 16.0
APART = timedelta(days=45)
"""Points further apart are not joined: nothing is known of what lies between."""


@dataclass(frozen=True, slots=True)
class DayPoint:
    """A value of a day, with the ends of its interval where it has one."""

    day: date
    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class DayLevel:
    """A limit over some days, both counted."""

    first: date
    last: date
    value: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a template draws of a series: path joins, dots are (x, y), bars (x, y of the low end, y of the high end)."""

    kind: str
    path: str
    dots: Sequence[tuple[float, float]]
    bars: Sequence[tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class SmallChart:
    """Everything a template needs; words say what it shows to whoever does not see it. marks: x and sign."""

    title: str
    words: str
    width: float
    height: float
    series: Sequence[Drawn]
    levels: Sequence[tuple[float, float, float]]
    marks: Sequence[tuple[float, str]]
    ticks: Sequence[tuple[float, str]]
    months: Sequence[tuple[float, str]]

    @property
    def left(self) -> float:
        return LEFT

    @property
    def right(self) -> float:
        return self.width - RIGHT

    @property
    def floor(self) -> float:
        return self.height - BOTTOM


@dataclass(frozen=True, slots=True)
class Frame:
    """Which days a chart spans, and how large it is."""

    first: date
    last: date
    width: float = 440.0
    height: float = 78.0

    def x(self, day: date) -> float:
        share = (day - self.first).days / max(1, (self.last - self.first).days)
        return round(LEFT + min(1.0, max(0.0, share)) * (self.width - LEFT - RIGHT), 1)


def small_chart(
    title: str,
    frame: Frame,
    series: Sequence[tuple[str, Sequence[DayPoint]]],
    *,
    levels: Sequence[DayLevel] = (),
    marks: Sequence[tuple[date, str]] = (),
    places: int = 1,
) -> SmallChart | None:
    """The drawing of series of (kind, points, oldest first); None where nothing is known. places: in the words."""
    points = [point for _kind, own in series for point in own]
    if not points:
        return None
    ticks = ticks_of([*_reach(points), *(level.value for level in levels)])
    scale = _ChartScale(frame, ticks[0], ticks[-1])
    finest = max(len(f"{tick:g}".partition(".")[2]) for tick in ticks)
    return SmallChart(
        title=title,
        words=_words(title, points, places),
        width=frame.width,
        height=frame.height,
        series=[_drawn(scale, kind, own) for kind, own in series if own],
        levels=[(frame.x(level.first), frame.x(level.last), scale.y(level.value)) for level in levels],
        marks=[(frame.x(day), sign) for day, sign in marks],
        ticks=[(scale.y(tick), decimals(tick, finest)) for tick in (ticks[0], ticks[-1])],
        months=_months(frame),
    )


def _reach(points: Sequence[DayPoint]) -> list[float]:
    ends = [end for point in points for end in (point.low, point.high) if end is not None]
    return [*ends, *(point.value for point in points)]


@dataclass(frozen=True, slots=True)
class _ChartScale:
    frame: Frame
    low: float
    high: float

    def y(self, value: float) -> float:
        share = (self.high - value) / (self.high - self.low)
        return round(TOP + share * (self.frame.height - TOP - BOTTOM), 1)


def _drawn(scale: _ChartScale, kind: str, points: Sequence[DayPoint]) -> Drawn:
    at = [(scale.frame.x(point.day), scale.y(point.value)) for point in points]
    path = f"M{at[0][0]:g} {at[0][1]:g}"
    for (before, point), (x, y) in zip(pairwise(points), at[1:], strict=True):
        path += f"{'L' if point.day - before.day <= APART else 'M'}{x:g} {y:g}"
    bars = [
        (scale.frame.x(point.day), scale.y(point.low), scale.y(point.high))
        for point in points
        if point.low is not None and point.high is not None
    ]
    return Drawn(kind, path, at, bars)


def _months(frame: Frame) -> list[tuple[float, str]]:
    """The first of each month in the frame, with its short name."""
    firsts = [day for day in _days(frame) if day.day == 1]
    return [(frame.x(day), told_day(day, "M")) for day in firsts]


def _days(frame: Frame) -> list[date]:
    return [frame.first + timedelta(days=count) for count in range((frame.last - frame.first).days - 12)]


def _words(title: str, points: Sequence[DayPoint], places: int) -> str:
    values = [point.value for point in points]
    return _("%(title)s: %(count)d values from %(least)s to %(most)s, the last %(newest)s.") % {
        "title": title,
        "count": len(values),
        "least": decimals(min(values), places),
        "most": decimals(max(values), places),
        "newest": decimals(values[-1], places),
    }
