"""Numbers in sentences, with the decimal sign of the reader's language."""

from __future__ import annotations

from django.utils.formats import get_format

FIGURES = 6
"""Behind the decimal sign: more than any entry field takes, fewer than binary fractions leave."""


def plain(value: float) -> str:
    """A number as it was typed, of whatever type it is by now: no zeros at its end, no exponent.

    >>> from decimal import Decimal
    >>> [plain(each) for each in (3.5, Decimal("3.500000"), 1_000_000, 0.005, 120, -0.0)]
    ['3.5', '3.5', '1000000', '0.005', '120', '0']
    """
    number = float(value) + 0.0  # no minus before a zero
    lost = number != 0 and abs(number) < 10**-FIGURES
    written = f"{number:g}" if lost else f"{number:.{FIGURES}f}".rstrip("0").rstrip(".")
    return written.replace(".", get_format("DECIMAL_SEPARATOR"))


def decimals(value: float, places: int) -> str:
    """A number with so many places behind the decimal sign."""
    return f"{float(value):.{places}f}".replace(".", get_format("DECIMAL_SEPARATOR"))
