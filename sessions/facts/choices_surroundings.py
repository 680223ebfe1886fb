"""The fixed words of what surrounds the treatment: water, machine, supplies, due days."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class WaterKind(models.TextChoices):
    """What a water test looks for. The unit of each is in `WATER_UNITS`."""

    TOTAL_CHLORINE = "total_chlorine", _("Total chlorine")
    BACTERIA = "bacteria", _("Bacterial culture")
    ENDOTOXIN = "endotoxin", _("Endotoxin")
    CONDUCTIVITY = "conductivity", _("Conductivity of product water")
    HARDNESS = "hardness", _("Hardness")


WATER_UNITS = {
    WaterKind.TOTAL_CHLORINE: "mg/L",
    WaterKind.BACTERIA: "CFU/mL",
    WaterKind.ENDOTOXIN: "EU/mL",
    WaterKind.CONDUCTIVITY: "µS/cm",
    WaterKind.HARDNESS: "mg/L",
}
"""The one unit each test is kept in; hardness as calcium carbonate."""


class WaterFluid(models.TextChoices):
    """What was sampled: it decides which limit holds."""

    DIALYSIS_WATER = "dialysis_water", _("water for dialysis")
    ULTRAPURE_WATER = "ultrapure_water", _("ultrapure water")
    DIALYSIS_FLUID = "dialysis_fluid", _("dialysis fluid")
    ULTRAPURE_FLUID = "ultrapure_fluid", _("ultrapure dialysis fluid")


class WaterPlace(models.TextChoices):
    FIRST_CARBON = "first_carbon", _("after the first carbon bed")
    SECOND_CARBON = "second_carbon", _("after the second carbon bed")
    PRODUCT = "product", _("product water, at the machine")
    FLUID_PORT = "fluid_port", _("dialysis fluid, before the dialyser")


FLUIDS_OF_PORT = (WaterFluid.DIALYSIS_FLUID, WaterFluid.ULTRAPURE_FLUID)
"""What flows where dialysis fluid is sampled; everywhere else it is water."""


class WaterEdition(models.TextChoices):
    """The edition of the standard a unit works by: its figures stand in the science of `dosing`, or with the unit."""

    ISO_2019 = "iso_2019", _("ISO 23500-3 and -5:2019")
    ISO_2024 = "iso_2024", _("ISO 23500-3 and -5:2024, with the figures that the unit enters")
    US_2004 = "us_2004", _("US limits of 2004")


FIGURES: tuple[tuple[WaterFluid, WaterKind], ...] = (
    *((fluid, kind) for fluid in WaterFluid for kind in (WaterKind.BACTERIA, WaterKind.ENDOTOXIN)),
    (WaterFluid.DIALYSIS_WATER, WaterKind.TOTAL_CHLORINE),
    (WaterFluid.DIALYSIS_WATER, WaterKind.CONDUCTIVITY),
    (WaterFluid.DIALYSIS_WATER, WaterKind.HARDNESS),
)
"""What a unit may enter figures of its own for. No edition prints one for conductivity or hardness."""


class MachineKind(models.TextChoices):
    DIALYSIS = "dialysis", _("dialysis machine")
    WATER = "water", _("water treatment")


class DueKind(models.TextChoices):
    """What comes round again and again, by days or by treatments."""

    BACTERIA = "bacteria", _("Water culture")
    ENDOTOXIN = "endotoxin", _("Endotoxin test")
    DISINFECTION = "disinfection", _("Disinfection of the machine")
    FILTER_CHANGE = "filter_change", _("Filter change")
    SERVICE = "service", _("Service of the machine")
    CARBON_CHANGE = "carbon_change", _("Carbon change")
    WATER_SERVICE = "water_service", _("Service of the water treatment")
    SUPPLY_COUNT = "supply_count", _("Supply count")
    URINE = "urine", _("Urine collection")
    ACCESS_EXAM = "access_exam", _("Examination of the access")


class TaskKind(models.TextChoices):
    """The part of `DueKind` that is done by hand: at a machine, or at the access."""

    DISINFECTION = DueKind.DISINFECTION.value, DueKind.DISINFECTION.label
    FILTER_CHANGE = DueKind.FILTER_CHANGE.value, DueKind.FILTER_CHANGE.label
    SERVICE = DueKind.SERVICE.value, DueKind.SERVICE.label
    CARBON_CHANGE = DueKind.CARBON_CHANGE.value, DueKind.CARBON_CHANGE.label
    WATER_SERVICE = DueKind.WATER_SERVICE.value, DueKind.WATER_SERVICE.label
    ACCESS_EXAM = DueKind.ACCESS_EXAM.value, DueKind.ACCESS_EXAM.label


MACHINE_OF_TASK = {
    TaskKind.DISINFECTION: MachineKind.DIALYSIS,
    TaskKind.FILTER_CHANGE: MachineKind.DIALYSIS,
    TaskKind.SERVICE: MachineKind.DIALYSIS,
    TaskKind.CARBON_CHANGE: MachineKind.WATER,
    TaskKind.WATER_SERVICE: MachineKind.WATER,
}
