"""Numbers in sentences, with the decimal sign of the reader's language."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

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


def rounded(value: float, places: int) -> str:
    """A number with so many places and a point; what lies exactly between goes away from zero, as phones do it.

    >>> [rounded(84.5, 0), rounded(-94.5, 0), rounded(0.125, 2), rounded(2.675, 2)]
    ['85', '-95', '0.13', '2.67']
    """
    number = float(value)
    if not math.isfinite(number):
        return f"{number:.{places}f}"
    return f"{Decimal(number).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):f}"


def decimals(value: float, places: int) -> str:
    """A number with so many places behind the decimal sign."""
    return rounded(value, places).replace(".", get_format("DECIMAL_SEPARATOR"))
