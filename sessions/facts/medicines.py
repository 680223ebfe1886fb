"""What people on dialysis take between treatments: kinds, doses, and the open codes of substances.

The codes are of the Anatomical Therapeutic Chemical classification of the World Health Organization, which is open to
everybody (https://atcddd.fhi.no; the codes here are from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sessions.facts.local_number import plain

ATC_CODE = re.compile(r"[A-Z]([0-9]{2}([A-Z]([A-Z]([0-9]{2})?)?)?)?")
"""A code, or that of a group above: one to five levels."""
DAYS_A_MONTH = 365.25 / 12


class MedicationKind(models.TextChoices):
    """What a medicine is taken for. The order is that of the lists."""

    ESA = "esa", _("erythropoiesis-stimulating agent")
    IRON = "iron", _("iron")
    BINDER = "binder", _("phosphate binder")
    VITAMIN_D = "vitamin_d", _("vitamin D")
    CALCIMIMETIC = "calcimimetic", _("calcimimetic")
    PRESSURE = "pressure", _("against high blood pressure")
    ANTICOAGULANT = "anticoagulant", _("anticoagulant")
    OTHER = "other", _("other medicine")


class DoseUnit(models.TextChoices):
    UG = "ug", _("µg")
    MG = "mg", _("mg")
    G = "g", _("g")
    IU = "iu", _("international units")
    ML = "ml", _("mL")
    PIECES = "pieces", _("pieces")


class DosePeriod(models.TextChoices):
    """In what time a dose is taken so many times."""

    DAY = "day", _("a day")
    WEEK = "week", _("a week")
    MONTH = "month", _("a month")


UCUM = {DoseUnit.UG: "ug", DoseUnit.MG: "mg", DoseUnit.G: "g", DoseUnit.IU: "[iU]", DoseUnit.ML: "mL"}
UCUM_PERIOD = {DosePeriod.DAY: "d", DosePeriod.WEEK: "wk", DosePeriod.MONTH: "mo"}
WEEKLY = {DosePeriod.DAY: 7.0, DosePeriod.WEEK: 1.0, DosePeriod.MONTH: 7 / DAYS_A_MONTH}
GRAMS = {DoseUnit.UG: 1e-6, DoseUnit.MG: 1e-3, DoseUnit.G: 1.0}

GROUPS: dict[str, str] = {
    MedicationKind.ESA: "B03XA",
    MedicationKind.IRON: "B03A",
    MedicationKind.BINDER: "V03AE",
    MedicationKind.VITAMIN_D: "A11CC",
    MedicationKind.CALCIMIMETIC: "H05BX",
    MedicationKind.PRESSURE: "C",
    MedicationKind.ANTICOAGULANT: "B01A",
}
"""The group of each kind, for a medicine without a code of its own: that of pressure is only the first letter, because
such medicines stand in several groups (C02, C03, C07, C08, C09)."""


@dataclass(frozen=True, slots=True)
class Substance:
    """kind and code of a substance by the beginning of its name."""

    name: str
    kind: MedicationKind
    atc: str


SUBSTANCES: tuple[Substance, ...] = (
    Substance("Darbepoetin", MedicationKind.ESA, "B03XA02"),
    Substance("Epoetin", MedicationKind.ESA, "B03XA01"),
    Substance("Methoxy polyethylene glycol-epoetin", MedicationKind.ESA, "B03XA03"),
    Substance("Iron sucrose", MedicationKind.IRON, "B03AC"),
    Substance("Ferric carboxymaltose", MedicationKind.IRON, "B03AC"),
    Substance("Iron", MedicationKind.IRON, "B03A"),
    Substance("Sevelamer", MedicationKind.BINDER, "V03AE02"),
    Substance("Lanthanum", MedicationKind.BINDER, "V03AE03"),
    Substance("Calcium acetate", MedicationKind.BINDER, "V03AE07"),
    Substance("Calcium carbonate", MedicationKind.BINDER, "A12AA04"),
    Substance("Magnesium carbonate", MedicationKind.BINDER, "A02AA01"),
    Substance("Aluminium hydroxide", MedicationKind.BINDER, "A02AB01"),
    Substance("Sucroferric oxyhydroxide", MedicationKind.BINDER, "V03AE05"),
    Substance("Alfacalcidol", MedicationKind.VITAMIN_D, "A11CC03"),
    Substance("Calcitriol", MedicationKind.VITAMIN_D, "A11CC04"),
    Substance("Colecalciferol", MedicationKind.VITAMIN_D, "A11CC05"),
    Substance("Paricalcitol", MedicationKind.VITAMIN_D, "H05BX02"),
    Substance("Cinacalcet", MedicationKind.CALCIMIMETIC, "H05BX01"),
    Substance("Etelcalcetide", MedicationKind.CALCIMIMETIC, "H05BX04"),
    Substance("Amlodipine", MedicationKind.PRESSURE, "C08CA01"),
    Substance("Bisoprolol", MedicationKind.PRESSURE, "C07AB07"),
    Substance("Carvedilol", MedicationKind.PRESSURE, "C07AG02"),
    Substance("Doxazosin", MedicationKind.PRESSURE, "C02CA04"),
    Substance("Furosemide", MedicationKind.PRESSURE, "C03CA01"),
    Substance("Losartan", MedicationKind.PRESSURE, "C09CA01"),
    Substance("Ramipril", MedicationKind.PRESSURE, "C09AA05"),
    Substance("Apixaban", MedicationKind.ANTICOAGULANT, "B01AF02"),
    Substance("Warfarin", MedicationKind.ANTICOAGULANT, "B01AA03"),
)
"""What is most often written, offered while a name is typed. Any other name may be typed."""


def substance_of(name: str) -> Substance | None:
    """The substance that a name begins with.

    >>> found = substance_of("darbepoetin alfa")
    >>> found.atc if found else None
    'B03XA02'
    """
    given = name.strip().casefold()
    return next((each for each in SUBSTANCES if given.startswith(each.name.casefold())), None)


def dose_words(amount: float | None, unit: str, times: float | None, period: str) -> str:
    """A dose as people write it; "" where none is known.

    >>> dose_words(800, "mg", 3, "day"), dose_words(30, "ug", 1, "week"), dose_words(None, "", None, "")
    ('800 mg, 3 times a day', '30 µg, once a week', '')
    """
    if amount is None:
        return ""
    each = f"{plain(amount)} {DoseUnit(unit).label}"
    if times is None:
        return gettext("%(dose)s when needed") % {"dose": each}
    how_often = gettext("once") if times == 1 else gettext("%(times)s times") % {"times": plain(times)}
    parts = {"dose": each, "often": how_often, "period": DosePeriod(period).label}
    return gettext("%(dose)s, %(often)s %(period)s") % parts


def medicine_words(name: str, amount: float | None, unit: str, times: float | None, period: str) -> str:
    """A medicine with its dose where that is known."""
    return ", ".join(filter(None, (name, dose_words(amount, unit, times, period))))


def weekly_amount(amount: float | None, times: float | None, period: str) -> float | None:
    """How much of it in a week, in the unit of the dose; None where the dose or how often is not known.

    >>> weekly_amount(800, 3, "day"), weekly_amount(30, 1, "week"), weekly_amount(30, None, "")
    (16800.0, 30.0, None)
    """
    if amount is None or times is None:
        return None
    return amount * times * WEEKLY[DosePeriod(period)]
