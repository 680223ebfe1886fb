"""Which analyte and unit a code and a UCUM unit mean together, and which other unit would make sense of a value."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dosing.science.bloods import ALSO_LOINC, ANALYTES, BEFORE_AFTER_LOINC, loinc_is_well_formed
from dosing.services.importing.line_words import Said, said
from dosing.services.numbers.blood_units import KEPT_ANALYTES
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.ranges import Range

LIKE_LOINC = re.compile(r"[0-9]{1,7}-[0-9]")
TIMINGS = {"before": "pre", "after": "post"}


@dataclass(frozen=True, slots=True)
class Meant:
    """An analyte in one unit; timing "" where the code says nothing of it."""

    analyte: Analyte
    name: str
    unit: str
    timing: str = ""

    @property
    def limits(self) -> Range:
        return plausible.BLOOD[self.analyte]

    def canonical(self, number: float) -> float:
        return number / ANALYTES[self.name].units[self.unit].factor


@dataclass(frozen=True, slots=True)
class NotMeant(Exception):
    """The code and the unit mean nothing together; `said` says why."""

    said: tuple[Said, ...]

    def __str__(self) -> str:
        return " ".join(map(str, self.said))


def plain(unit: str) -> str:
    """A unit as it is compared: case and the two micro signs make no difference in these units."""
    return unit.strip().replace("µ", "u").replace("μ", "u").casefold()


def meant(code: str, unit: str) -> Meant:
    """What a LOINC code and a UCUM unit mean together. Raises NotMeant."""
    known = [(name, unit_) for name, unit_, _ in _by_code(code)]
    if not known:
        mistyped = LIKE_LOINC.fullmatch(code) and not loinc_is_well_formed(code)
        raise NotMeant((said("code_mistyped" if mistyped else "code", code=code[:40]),))
    name = known[0][0]
    if name not in KEPT_ANALYTES:
        raise NotMeant((said("not_kept", code=code),))
    if not unit.strip():
        raise NotMeant((said("no_unit", code=code, units=_units_of(code)),))
    for _, unit_, timing in _by_code(code):
        if plain(ANALYTES[name].units[unit_].ucum) == plain(unit):
            return Meant(KEPT_ANALYTES[name], name, unit_, timing)
    raise NotMeant(_contradiction(code, name, unit))


def _by_code(code: str) -> list[tuple[str, str, str]]:
    """(name, unit, timing) of each unit that goes with a code."""
    around = [(name, unit, TIMINGS[when]) for (name, unit, when), known in BEFORE_AFTER_LOINC.items() if known == code]
    name_also, units_also = ALSO_LOINC.get(code, ("", ()))
    return around or [
        (name, unit, "")
        for name, analyte in ANALYTES.items()
        for unit, details in analyte.units.items()
        if details.loinc == code or (name == name_also and unit in units_also)
    ]


def _units_of(code: str) -> str:
    return " / ".join(dict.fromkeys(ANALYTES[name].units[unit].ucum for name, unit, _ in _by_code(code)))


def _contradiction(code: str, name: str, unit: str) -> tuple[Said, ...]:
    others = [words for words, details in ANALYTES[name].units.items() if plain(details.ucum) == plain(unit)]
    told = said("unit", code=code, units=_units_of(code), given=unit[:30])
    return (told, said("unit_of_others", unit=unit, others=" / ".join(others))) if others else (told,)


def other_units(given: Meant, number: float) -> list[Meant]:
    """The other units in which a number would be a usual value of the same analyte."""
    units = ANALYTES[given.name].units
    others = [Meant(given.analyte, given.name, unit, given.timing) for unit in units if unit != given.unit]
    different = [each for each in others if units[each.unit].factor != units[given.unit].factor]
    return [each for each in different if not given.limits.oddity(each.canonical(number))]
