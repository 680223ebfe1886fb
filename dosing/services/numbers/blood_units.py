"""Blood results as the unit's screens show them; inside, each analyte has one canonical unit."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from dosing.science.bloods import ANALYTES
from homedialysis.accounts.choices import UnitSystem
from homedialysis.accounts.services.units import Spoken, spoken
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.local_number import plain
from sessions.facts.ranges import Range
from sessions.models import BloodResult

_BY_LOINC = {unit.loinc: name for name, analyte in ANALYTES.items() for unit in list(analyte.units.values())[:1]}

KEPT_ANALYTES = {
    name: found
    for name, known in ANALYTES.items()
    if (found := next((each for each in Analyte if each.value == next(iter(known.units.values())).loinc), None))
}
"""The analytes that the record keeps, by their name in the science."""


@dataclass(frozen=True, slots=True)
class ShownAnalyte:
    """An analyte on a screen: the unit's name, and how many of it make one canonical unit."""

    label: str
    unit: str
    factor: float
    limits: Range

    def to_canonical(self, given: float) -> float:
        return given / self.factor

    def from_canonical(self, value: float) -> float:
        return value * self.factor

    def figure(self, value: float) -> float:
        """A canonical value in this unit, as people read it: three figures where it was converted."""
        return value if self.factor == 1 else float(three_figures(self.from_canonical(value)))

    def text(self, result: BloodResult) -> str:
        """A result as pages write it, without its unit: three figures, behind the sign of a bound where it is one."""
        return f"{result.bound}{three_figures(self.from_canonical(result.value))}"

    def refusal(self, given: float) -> str:
        """Why a number in this unit is impossible, or ""."""
        low, high = (limit * self.factor for limit in self.limits.hard)
        if low <= given <= high:
            return ""
        limits = f"{three_figures(low)} and {three_figures(high)} {self.unit}"
        return _("%(number)s must be between %(limits)s; %(given)s was given.") % {
            "number": self.label,
            "limits": limits,
            "given": plain(given),
        }

    def asked_words(self, given: float) -> str:
        """What to ask about an unusual number in this unit, or ""."""
        low, high = (limit * self.factor for limit in self.limits.usual)
        if low <= given <= high:
            return ""
        words = _("%(number)s: %(given)s %(unit)s, usually between %(low)s and %(high)s")
        parts = {"number": self.label, "given": plain(given), "unit": self.unit}
        return words % (parts | {"low": three_figures(low), "high": three_figures(high)})


def three_figures(value: float) -> str:
    """0.0571, 5.66, 56.6, 566, 5655: three figures, and never a power of ten."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def written_unit(name: str) -> str:
    """A unit of the science as pages write it."""
    return name.replace("ug/", "µg/").replace("umol/", "µmol/")


def units_known(loinc: str) -> list[str]:
    """The names of an analyte's units in the science, the canonical one first."""
    return list(ANALYTES[_BY_LOINC[loinc]].units)


def usual_unit(loinc: str, system: str) -> str:
    """The unit of an analyte in a system of units, by its name in the science."""
    names = units_known(loinc)
    return names[1 if system == UnitSystem.US and len(names) > 1 else 0]


def shown_as(loinc: str, said: Spoken) -> ShownAnalyte:
    """How one analyte is shown: in the unit that was chosen for it, else in that of the system."""
    units = ANALYTES[_BY_LOINC[loinc]].units
    chosen = said.analytes.get(loinc, "")
    name = chosen if chosen in units else usual_unit(loinc, said.system)
    return ShownAnalyte(
        label=str(Analyte(loinc).label),
        unit=written_unit(name),
        factor=float(units[name].factor),
        limits=plausible.BLOOD[loinc],
    )


def spoken_of(loinc: str) -> ShownAnalyte:
    """How an analyte is written in the units that are spoken just now."""
    return shown_as(loinc, spoken())
