"""A small line chart as SVG text, for paper: months along, values up, the range as dashed lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

WIDTH, HEIGHT = 260, 110
LEFT, RIGHT, TOP, BOTTOM = 34, 6, 8, 18
MARKS = ("circle", "square")


@dataclass(frozen=True, slots=True)
class ChartLine:
    """One series over the months; None where it is unknown, which leaves a gap."""

    name: str
    values: Sequence[float | None]


def line_chart(months: Sequence[str], lines: Sequence[ChartLine], *, low: float | None, high: float | None) -> str:
    """The chart as SVG, 260 by 110 units, black on white: told apart by mark and dash, not by colour."""
    known = [value for line in lines for value in line.values if value is not None]
    ends = [end for end in (low, high) if end is not None]
    least, most = _span(known + ends)
    parts = [_axis(months, least, most)]
    parts += [_rule(end, least, most) for end in ends]
    parts += [_series(line, at, least, most) for at, line in enumerate(lines)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' font-size="8" fill="none" stroke="black">{"".join(parts)}</svg>'
    )


def _span(values: list[float]) -> tuple[float, float]:
    """Ends of the axis with a little room; never of no height."""
    least, most = min(values, default=0.0), max(values, default=1.0)
    room = 0.08 * (most - least) or abs(most) * 0.1 or 1.0
    return least - room, most + room


def _x(at: int, count: int) -> float:
    width = WIDTH - LEFT - RIGHT
    return LEFT + width * (at + 0.5) / max(count, 1)


def _y(value: float, least: float, most: float) -> float:
    return TOP + (HEIGHT - TOP - BOTTOM) * (most - value) / (most - least)


def _axis(months: Sequence[str], least: float, most: float) -> str:
    bottom = HEIGHT - BOTTOM
    labels = "".join(
        f'<text x="{_x(at, len(months)):.1f}" y="{HEIGHT - 6}" text-anchor="middle" fill="black" stroke="none">'
        f"{escape(month)}</text>"
        for at, month in enumerate(months)
    )
    ends = "".join(
        f'<text x="{LEFT - 4}" y="{_y(value, least, most) + 3:.1f}" text-anchor="end" fill="black" stroke="none">'
        f"{value:.3g}</text>"
        for value in (least + (most - least) * 0.07, most - (most - least) * 0.07)
    )
    frame = f'<path d="M{LEFT} {TOP}V{bottom}H{WIDTH - RIGHT}" stroke-width="0.6"/>'
    return frame + labels + ends


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
