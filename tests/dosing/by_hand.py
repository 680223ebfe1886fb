"""Pencil and paper: reads how a number came about off its page and works it out again. No code of the product.

Equations are in symbols, numbers, + − · / ^, brackets, comparisons and a few functions; a row of values is a list, and
everything is done to each of its values.
"""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import combinations, pairwise
from typing import Any

Value = Any
"""A float, a list of floats, or the truth of a condition, one or a list."""
WANTED = ("symbol", "value", "equation", "result", "what")


@dataclass
class WorkedPage(HTMLParser):
    """given: symbol to value or row of values; steps: (symbol, equation, what is shown of it); written, result."""

    html: str
    given: dict[str, Value] = field(default_factory=dict)
    steps: list[tuple[str, str, float]] = field(default_factory=list)
    written: str = ""
    result: str = ""
    names: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._open: list[tuple[str, str]] = []
        self._text: dict[int, list[str]] = {}
        self._line: dict[str, str] = {}
        self._heads: list[str] = []
        self._cells: list[str] = []
        self.feed(self.html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("br", "img", "meta", "link", "input", "hr"):
            return
        classes = (dict(attrs).get("class") or "").split()
        self._open.append((tag, next((each for each in classes if each.startswith("worked-")), "")))
        self._text[len(self._open)] = []
        if tag == "tr":
            self._cells = []

    def handle_data(self, data: str) -> None:
        for texts in self._text.values():
            texts.append(data)

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open[-1][0] != tag:
            return
        text = " ".join("".join(self._text.pop(len(self._open))).split())
        _tag, kind = self._open.pop()
        if kind:
            self._note(kind.removeprefix("worked-"), text)
        if tag == "tr" and self._cells and self._heads:
            for head, cell in zip(self._heads, self._cells, strict=True):
                self.given.setdefault(head, []).append(number(cell))

    def _note(self, kind: str, text: str) -> None:
        if kind in ("symbol", "equation", "value"):
            self._line[kind] = text
        elif kind == "what":
            self.names.append(text)
        elif kind == "line":
            self._end_of_line()
        elif kind == "head":
            self._heads.append(text)
            self.given[text] = []
        elif kind == "cell":
            self._cells.append(text)
        elif kind == "written":
            self.written = text
        elif kind == "result":
            self.result = text

    def _end_of_line(self) -> None:
        line, self._line = self._line, {}
        if not line.get("symbol"):
            return
        if "equation" in line:
            self.steps.append((line["symbol"], line["equation"], number(line["value"])))
        else:
            assert line["symbol"] not in self.given, f"{line['symbol']} stands twice"
            self.given[line["symbol"]] = number(line["value"])

    def recomputed(self) -> float:
        """The result from what went in alone; each step must come to what is shown of it on the way."""
        known = dict(self.given)
        for symbol, written, shown in self.steps:
            known[symbol] = evaluate(written, known)
            assert math.isclose(known[symbol], shown, rel_tol=1e-7, abs_tol=1e-9), (
                symbol,
                written,
                known[symbol],
                shown,
            )
        return float(evaluate(self.written, known))


def number(text: str) -> float:
    """“−1.5” → -1.5; NaN for what is no number."""
    try:
        return float(text.replace("−", "-"))
    except ValueError:
        return math.nan


TOKEN = re.compile(r"\s*(?:(\d+(?:\.\d+)?)|([A-Za-zτ]+)|([−+·/^(),|<>≤≥]))")


SOUGHT = re.compile(r"(\w+) \| (\w+) = (.+)")
"""x | A = …: the x with which the right side comes to A."""


def evaluate(written: str, known: dict[str, Value]) -> Value:
    """An equation with these values for its symbols. Raises ValueError for what is no equation."""
    if sought := SOUGHT.fullmatch(written):
        return _tried(sought[1], known[sought[2]], sought[3], known)
    reader = _Reader(written, known)
    found = reader.comparison()
    if reader.tokens:
        raise ValueError(f"“{written}” goes on after its end: {reader.tokens}")
    return found


def _tried(symbol: str, aim: float, written: str, known: dict[str, Value]) -> float:
    """By halving between nought and five, of what grows with the symbol."""
    low, high = 1e-9, 5.0
    for _ in range(60):
        middle = (low + high) / 2
        below = evaluate(written, known | {symbol: middle}) < aim
        low, high = (middle, high) if below else (low, middle)
    return (low + high) / 2


class _Reader:
    """Recursive descent over the tokens, evaluating as it reads."""

    def __init__(self, written: str, known: dict[str, Value]) -> None:
        self.known = known
        self.tokens: list[str] = []
        at = 0
        while at < len(written.rstrip()):
            found = TOKEN.match(written, at)
            if found is None:
                raise ValueError(f"“{written}” cannot be read from “{written[at:]}”")
            self.tokens.append(next(each for each in found.groups() if each))
            at = found.end()

    def _next(self, *wanted: str) -> str | None:
        return self.tokens.pop(0) if self.tokens and self.tokens[0] in wanted else None

    def comparison(self) -> Value:
        left = self.sum()
        while sign := self._next("<", ">", "≤", "≥"):
            left = each(COMPARE[sign], left, self.sum())
        return left

    def sum(self) -> Value:
        left = self.product()
        while sign := self._next("+", "−"):
            left = each((lambda a, b: a + b) if sign == "+" else (lambda a, b: a - b), left, self.product())
        return left

    def product(self) -> Value:
        left = self.sign()
        while sign := self._next("·", "/"):
            left = each((lambda a, b: a * b) if sign == "·" else (lambda a, b: a / b), left, self.sign())
        return left

    def sign(self) -> Value:
        if self._next("−"):
            return each(lambda a, b: b - a, self.sign(), 0.0)
        left = self.atom()
        return each(lambda a, b: a**b, left, self.sign()) if self._next("^") else left

    def atom(self) -> Value:
        if self._next("("):
            inside = self.comparison()
            assert self._next(")"), "a bracket stays open"
            return inside
        token = self.tokens.pop(0)
        if token[0].isdigit():
            return float(token)
        if self._next("("):
            return self.call(token)
        if token not in self.known:
            raise ValueError(f"{token} is not among what went in: {sorted(self.known)}")
        return self.known[token]

    def chosen(self, values: list[float]) -> list[float]:
        """Those of a row for which all conditions hold."""
        conditions = [self.comparison()]
        while self._next(","):
            conditions.append(self.comparison())
        return [value for value, *true in zip(values, *conditions, strict=True) if all(true)]

    def call(self, name: str) -> Value:
        arguments = [self.comparison()]
        if self._next("|"):
            arguments = [self.chosen(arguments[0])]
        while self._next(","):
            arguments.append(self.comparison())
        assert self._next(")"), "a bracket stays open"
        return FUNCTIONS[name](*arguments)


def each(do: Callable[[Any, Any], Any], left: Value, right: Value) -> Value:
    """To single values, or to each of a row, a single one standing beside all."""
    if not isinstance(left, list) and not isinstance(right, list):
        return do(left, right)
    count = len(left) if isinstance(left, list) else len(right)
    lefts = left if isinstance(left, list) else [left] * count
    rights = right if isinstance(right, list) else [right] * count
    return [do(a, b) for a, b in zip(lefts, rights, strict=True)]


def of_one(do: Callable[[float], float]) -> Callable[[Value], Value]:
    return lambda value: [do(one) for one in value] if isinstance(value, list) else do(value)


def slopes(y: list[float], x: list[float]) -> list[float]:
    pairs = combinations(zip(x, y, strict=True), 2)
    return [(y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in pairs if x1 != x2]


def area(y: list[float], x: list[float], end: float) -> float:
    points = [(0.0, y[0]), *zip(x, y, strict=True), (end, y[-1])]
    return sum((x2 - x1) * (y1 + y2) / 2 for (x1, y1), (x2, y2) in pairwise(points))


def steepest(y: list[float], x: list[float], apart: float) -> float:
    """The highest slope from each point to the first at least so far behind it, without those that fall."""
    pairs = [(i, next((j for j in range(i, len(x)) if x[j] - x[i] >= apart), None)) for i in range(len(x))]
    return max((y[j] - y[i]) / (x[j] - x[i]) for i, j in pairs if j is not None and y[j] >= y[i])


def as_list(value: Value) -> list[float]:
    return value if isinstance(value, list) else [value]


COMPARE: dict[str, Callable[[float, float], bool]] = {
    "<": lambda a, b: a < b,
    ">": lambda a, b: a > b,
    "≤": lambda a, b: a <= b * (1 + 1e-9),
    "≥": lambda a, b: a >= b * (1 - 1e-9),
}
FUNCTIONS: dict[str, Callable[..., Value]] = {
    "ln": of_one(math.log),
    "exp": of_one(math.exp),
    "abs": of_one(abs),
    "min": lambda *values: min(values[0] if len(values) == 1 and isinstance(values[0], list) else values),
    "max": lambda *values: max(values[0] if len(values) == 1 and isinstance(values[0], list) else values),
    "sum": lambda values: math.fsum(as_list(values)),
    "mean": lambda values: statistics.fmean(as_list(values)),
    "median": lambda values: statistics.median(as_list(values)),
    "count": lambda values: len(as_list(values)),
    "slopes": slopes,
    "area": area,
    "steepest": steepest,
}
