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
