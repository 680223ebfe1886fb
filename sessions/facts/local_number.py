"""Numbers in sentences, with the decimal sign of the reader's language."""

from __future__ import annotations

from django.utils.formats import get_format


def plain(value: float) -> str:
    """A number as it was typed: up to six figures, no trailing zeros."""
    return f"{value:g}".replace(".", get_format("DECIMAL_SEPARATOR"))


def decimals(value: float, places: int) -> str:
    """A number with so many places behind the decimal sign."""
    return f"{float(value):.{places}f}".replace(".", get_format("DECIMAL_SEPARATOR"))
