"""A small line chart as SVG text, for paper: months along, values up, the range as dashed lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from dosing.services.numbers.axes import MOST_STEPS, least_span
from sessions.facts.local_number import decimals as shown_number

WIDTH, HEIGHT = 260, 110
LEFT, RIGHT, TOP, BOTTOM = 34, 6, 16, 18
MARKS = ("circle", "square")


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One series over the months; None where it is unknown, which leaves a gap."""

    name: str
    values: Sequence[float | None]


def line_chart(
    months: Sequence[str], lines: Sequence[ChartLine], *, low: float | None, high: float | None, unit: str = ""
) -> str:
    """The chart as SVG, 260 by 110 units, black on white: told apart by mark and dash, not by colour.

    unit: of the values, written over the axis.
    """
    known = [value for line in lines for value in line.values if value is not None]
    ends = [end for end in (low, high) if end is not None]
    ticks = ticks_of(known + ends)
    least, most = ticks[0], ticks[-1]
    parts = [_axis(months, ticks, unit)]
    parts += [_rule(end, least, most) for end in ends]
    parts += [_series(line, at, least, most) for at, line in enumerate(lines)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' font-size="8" fill="none" stroke="black">{"".join(parts)}</svg>'
    )


def ticks_of(values: Sequence[float]) -> list[float]:
    """Round numbers from below the least value to above the greatest, at most five steps of 1, 2 or 5 tens apart.

    >>> ticks_of([71.2, 72.6]), ticks_of([-0.5, 0.3, 0.5]), ticks_of([5.0])
    ([70.0, 72.0, 74.0], [-0.5, 0.0, 0.5], [4.5, 5.0, 5.5])
    """
    least, most = min(values, default=0.0), max(values, default=1.0)
    if least == most:
        room = abs(most) * 0.1 or 1.0
        least, most = least - room, most + room
    step = _round_step(max(most - least, least_span([least, most])) / MOST_STEPS)
    first, last = math.floor(least / step + 1e-9), math.ceil(most / step - 1e-9)
    decimals = max(0, -math.floor(math.log10(step)))
    return [round(at * step, decimals) for at in range(first, last + 1)]


def _round_step(least: float) -> float:
    """The smallest of 1, 2 and 5 times a power of ten that is not smaller."""
    ten: float = 10.0 ** math.floor(math.log10(least))
    return next(times * ten for times in (1, 2, 5, 10) if times * ten >= least * (1 - 1e-9))


def _x(at: int, count: int) -> float:
    width = WIDTH - LEFT - RIGHT
    return LEFT + width * (at + 0.5) / max(count, 1)


def _y(value: float, least: float, most: float) -> float:
    return TOP + (HEIGHT - TOP - BOTTOM) * (most - value) / (most - least)


def _axis(months: Sequence[str], ticks: Sequence[float], unit: str) -> str:
    bottom = HEIGHT - BOTTOM
    labels = "".join(_text(_x(at, len(months)), HEIGHT - 6, month, "middle") for at, month in enumerate(months))
    decimals = max(len(f"{tick:g}".partition(".")[2]) for tick in ticks)
    scale = "".join(
        _text(LEFT - 4, _y(tick, ticks[0], ticks[-1]) + 3, shown_number(tick, decimals).replace("-", "−"), "end")
        for tick in ticks
    )
    lines = "".join(f"M{LEFT - 2} {_y(tick, ticks[0], ticks[-1]):.1f}h2" for tick in ticks)
    frame = f'<path d="M{LEFT} {TOP}V{bottom}H{WIDTH - RIGHT}{lines}" stroke-width="0.6"/>'
    return frame + labels + scale + (_text(LEFT + 4, TOP - 5, unit, "start") if unit else "")


def _text(x: float, y: float, words: str, anchor: str) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} fill="black" stroke="none">{escape(words)}</text>'


def _rule(end: float, least: float, most: float) -> str:
    y = _y(end, least, most)
    return f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke-width="0.6" stroke-dasharray="4 3"/>'


def _series(line: ChartLine, number: int, least: float, most: float) -> str:
    points = [
        None if value is None else (_x(at, len(line.values)), _y(value, least, most))
        for at, value in enumerate(line.values)
    ]
    path, pen_down = "", False
    for point in points:
        if point is None:
            pen_down = False
            continue
        path += f"{'L' if pen_down else 'M'}{point[0]:.1f} {point[1]:.1f}"
        pen_down = True
    dash = ' stroke-dasharray="1.5 2"' if number else ""
    marks = "".join(_mark(number, *point) for point in points if point)
    return f'<path d="{path}" stroke-width="1.1"{dash}/>{marks}' if path else ""


def _mark(number: int, x: float, y: float) -> str:
    if MARKS[number % 2] == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.2" fill="black" stroke="none"/>'
    return f'<rect x="{x - 2:.1f}" y="{y - 2:.1f}" width="4" height="4" fill="white" stroke-width="1"/>'
