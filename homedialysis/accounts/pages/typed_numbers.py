"""Numbers as people type them: with comma or point, with or without signs between thousands, and never another one.

A browser's own field for numbers drops the comma that its language does not know and keeps the rest (8,3 becomes 83),
and tells nobody. So numbers are typed as text, and read here.
"""

from __future__ import annotations

import math
import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.formats import get_format
from django.utils.translation import gettext as _

from homedialysis.accounts.services.units import Told

GROUPS = " \u00a0\u2009\u202f'\u2019"
"""What people put between thousands beside comma and point: spaces of all widths, apostrophes."""
TOLD_PLACES = 1
"""Figures behind the sign of a number that was converted."""
MINUS = "\u2212"
PLAIN = re.compile(r"[+-]?\d+")
DECIMAL = re.compile(r"([+-]?\d*)[.,](\d+)")
EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
"""One sign and three figures behind it: a thousand to some, a decimal to others."""
GROUPED = re.compile(rf"([+-]?\d{{1,3}}(?:([{GROUPS}.,])\d{{3}})(?:\2\d{{3}})*)(?:([.,])(\d+))?")


def read_typed(text: str) -> float:
    """The number that somebody typed. Raises ValidationError for no number, and for one that can be read two ways.

    >>> [read_typed(each) for each in ("8,3", "8.3", "1.234,5", "1,234.5", "1 234", "−0,5")]
    [8.3, 8.3, 1234.5, 1234.5, 1234.0, -0.5]
    """
    given = text.strip().replace(MINUS, "-")
    if EITHER.fullmatch(given):
        raise ValidationError(_two_ways(given), code="two_ways")
    found = _plain(given) or _grouped(given)
    if found is None:
        words = _("“%(given)s” is not a number: write it like 8.3 or 8,3.")
        raise ValidationError(words % {"given": text.strip()}, code="invalid")
    number = float(found)
    if not math.isfinite(number):
        raise ValidationError(_("“%(given)s” is too large.") % {"given": text.strip()}, code="invalid")
    return number


def _plain(given: str) -> str | None:
    """Without signs between thousands, as Python reads it; None where it is written in another way."""
    if PLAIN.fullmatch(given):
        return given
    found = DECIMAL.fullmatch(given)
    return f"{found[1]}.{found[2]}" if found else None


def _grouped(given: str) -> str | None:
    found = GROUPED.fullmatch(given)
    if found is None or found[2] == found[3]:
        return None
    whole = found[1].replace(found[2], "")
    return f"{whole}.{found[4]}" if found[4] else whole


def _two_ways(given: str) -> str:
    whole, small = re.split("[.,]", given)
    words = _("“%(given)s” can be read two ways: write %(thousand)s for the thousand, or %(decimal)s for the decimal.")
    return words % {"given": given, "thousand": f"{whole}{small}", "decimal": _four_places(given)}


def _four_places(given: str) -> str:
    return f"{given}0"


def as_typed(number: float) -> str:
    """A number as it is shown in a field, in the reader's decimal sign, so that `read_typed` reads the same again.

    >>> [as_typed(each) for each in (70.0, 36.5, 1.125, 120000.0)]
    ['70', '36.5', '1.1250', '120000']
    """
    shown = f"{number:.10f}".rstrip("0").rstrip(".") if abs(number) < 1e15 else repr(number)
    shown = shown.replace(".", str(get_format("DECIMAL_SEPARATOR")))
    return _four_places(shown) if EITHER.fullmatch(shown) else shown


class TypedInput(forms.TextInput):
    """A field of text whose keyboard has figures. whole: without a decimal sign."""

    def __init__(self, *, whole: bool = False, attrs: dict[str, Any] | None = None) -> None:
        mode = "numeric" if whole else "decimal"
        super().__init__({"inputmode": mode, "autocomplete": "off", "size": 9, **(attrs or {})})

    def format_value(self, value: Any) -> str | None:
        if isinstance(value, int | float) and not isinstance(value, bool):
            return as_typed(float(value))
        return super().format_value(value)


class NumberField(forms.Field):
    """A number, typed with comma or point. min_value, max_value: both allowed themselves."""

    widget: Any = TypedInput

    def __init__(self, *, min_value: float | None = None, max_value: float | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.min_value, self.max_value = min_value, max_value
        if min_value is not None:
            self.validators.append(MinValueValidator(min_value))
        if max_value is not None:
            self.validators.append(MaxValueValidator(max_value))

    def to_python(self, value: Any) -> float | None:
        if value in self.empty_values or (isinstance(value, str) and not value.strip()):
            return None
        return float(value) if isinstance(value, int | float) else read_typed(str(value))


class ToldField(NumberField):
    """A number that is kept in one unit and typed in another. Cleaned, it is the canonical value."""

    def __init__(self, *, told: Told, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.told = told

    def prepare_value(self, value: Any) -> Any:
        return round(self.told.of(value), TOLD_PLACES) if isinstance(value, int | float) else value

    def to_python(self, value: Any) -> float | None:
        given = super().to_python(value)
        return None if given is None else self.told.kept(given)

    def unmoved(self, given: float | None, before: float | None) -> float | None:
        """The value that stood before, where what was typed is how that is shown; else what was typed."""
        if (
            given is None
            or before is None
            or round(self.told.of(before), TOLD_PLACES) != round(self.told.of(given), TOLD_PLACES)
        ):
            return given
        return before


class WholeNumberField(NumberField):
    """A number without places behind the decimal sign."""

    widget = TypedInput(whole=True)

    def to_python(self, value: Any) -> int | None:
        number = super().to_python(value)
        if number is None:
            return None
        if number != int(number):
            words = _("A whole number is needed; %(given)s was given.")
            raise ValidationError(words % {"given": as_typed(number)}, code="invalid")
        return int(number)


def typed(field: forms.Field) -> forms.Field:
    """The same field, typed with comma or point, where it is a browser's own field for a number; else as it is."""
    if not isinstance(field, forms.IntegerField) or field.widget.is_hidden:
        return field
    kind = NumberField if isinstance(field, forms.FloatField) else WholeNumberField
    return kind(
        min_value=field.min_value,
        max_value=field.max_value,
        required=field.required,
        label=field.label,
        help_text=field.help_text,
        initial=field.initial,
    )
