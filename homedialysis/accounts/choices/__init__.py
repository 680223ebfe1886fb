"""What a unit and its people choose among. No model: the declared facts of a treatment read it before there are any."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class UnitSystem(models.TextChoices):
    SI = "si", _("SI (mmol/L, g/L)")
    US = "us", _("US conventional (mg/dL, g/dL)")


class WeightUnit(models.TextChoices):
    KG = "kg", "kg"
    LB = "lb", "lb"


class TemperatureUnit(models.TextChoices):
    CELSIUS = "°C", "°C"
    FAHRENHEIT = "°F", "°F"


class DayOrder(models.TextChoices):
    """In which order a day is written. The names of months are those of the reader's language."""

    DAY_FIRST = "dmy", _("day, month, year (20 Nov 2026)")
    MONTH_FIRST = "mdy", _("month, day, year (Nov 20, 2026)")
    YEAR_FIRST = "ymd", _("year, month, day (2026-11-20)")


class HourClock(models.TextChoices):
    H24 = "24", _("24 hours (22:05)")
    H12 = "12", _("12 hours (10:05 PM)")


class FirstWeekday(models.IntegerChoices):
    """On which day a week begins where one is laid out; counted as Python does."""

    MONDAY = 0, _("Monday")
    SATURDAY = 5, _("Saturday")
    SUNDAY = 6, _("Sunday")


class English(models.TextChoices):
    """How English is spelled: the code of the language that is spoken where somebody reads English."""

    BRITISH = "en", _("British (haemodialysis, litre)")
    AMERICAN = "en-us", _("American (hemodialysis, liter)")
