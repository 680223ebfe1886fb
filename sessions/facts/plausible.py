"""What a number can be: limits that API, forms, bulk upload and the phone share, and how a document is held to them.

The numbers of a treatment are declared in `fields`, those of a prescription in `ordered`; here stand the others.
All ranges are common practice, no source: they judge typing, never a patient. Limits that call a nurse
live in `alerts`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from homedialysis.accounts.services.units import Told
from sessions.facts.field_words import field_words
from sessions.facts.fields import AFTER, BEFORE, FLUID, LISTS, TREATMENT, Field, at_bedside, drawn, on_paper
from sessions.facts.ranges import Range, unit_words

MINUTES_OF_TREATMENT = Range(_("Length of treatment"), "min", (1, 1440), (60, 660))
MINUTES_AFTER_END = Range(_("Minutes after the end"), "min", (5, 180), (30, 60), 5)
"""From the end of a treatment to a late sample of blood."""
MINUTES_OF_COLLECTION = Range(_("Length of the collection"), "min", (720, 10080), (1200, 5760), 15)
URINE: dict[str, Range] = {
    "volume_ml": Range(_("Volume of the urine"), "mL", (1, 20000), (50, 4000), 10),
    "urea_mmol_l": Range(_("Urea in the urine"), "mmol/L", (1, 1000), (20, 500), 1),
    "creatinine_mmol_l": Range(_("Creatinine in the urine"), "mmol/L", (0.1, 60), (1, 20), 0.1),
}
MINUTES_BETWEEN_FUTURE_AND_NOW = 24 * 60
"""How far ahead of the server a phone's clock may be before its times are refused."""
EARLIEST = datetime(1960, 1, 1, tzinfo=UTC)
"""Before this nobody dialysed at home: a time before it is a slip of the finger."""

BLOOD: dict[str, Range] = {
    "22664-7": Range(_("Urea"), "mmol/L", (0.1, 120), (2, 50), 0.1),
    "14682-9": Range(_("Creatinine"), "µmol/L", (5, 5000), (50, 1600), 1),
    "2823-3": Range(_("Potassium"), "mmol/L", (1, 12), (3, 7), 0.1),
    "2951-2": Range(_("Sodium"), "mmol/L", (90, 200), (125, 150), 1),
    "1963-8": Range(_("Bicarbonate"), "mmol/L", (3, 60), (15, 32), 0.1),
    "2000-8": Range(_("Calcium"), "mmol/L", (0.5, 5), (1.8, 3), 0.01),
    "14879-1": Range(_("Phosphate"), "mmol/L", (0.1, 6), (0.5, 3), 0.01),
    "1751-7": Range(_("Albumin"), "g/L", (5, 80), (25, 55), 1),
    "718-7": Range(_("Haemoglobin"), "g/L", (20, 250), (70, 150), 1),
    "2276-4": Range(_("Ferritin"), "µg/L", (1, 20000), (20, 1500), 1),
    "2502-3": Range(_("Transferrin saturation"), "%", (1, 100), (10, 60), 1),
    "14866-8": Range(_("Parathyroid hormone"), "pmol/L", (0.1, 600), (2, 120), 0.1),
    "2601-3": Range(_("Magnesium"), "mmol/L", (0.1, 6), (0.5, 1.6), 0.01),
    "1988-5": Range(_("C-reactive protein"), "mg/L", (0.01, 1000), (0.1, 200), 0.1),
    "14749-6": Range(_("Glucose"), "mmol/L", (0.5, 80), (3, 20), 0.1),
    "59261-8": Range(_("Haemoglobin A1c"), "mmol/mol", (5, 250), (20, 110), 1),
    "1952-1": Range(_("β2-microglobulin"), "mg/L", (0.1, 150), (5, 60), 0.1),
}


WATER: dict[str, Range] = {
    "total_chlorine": Range(_("Total chlorine"), "mg/L", (0, 10), (0, 0.5), 0.01),
    "bacteria": Range(_("Bacterial culture"), "CFU/mL", (0, 1_000_000), (0, 1000), 1),
    "endotoxin": Range(_("Endotoxin"), "EU/mL", (0, 1000), (0, 5), 0.001),
    "conductivity": Range(_("Conductivity of product water"), "µS/cm", (0, 3000), (0, 200), 1),
    "hardness": Range(_("Hardness"), "mg/L", (0, 1000), (0, 100), 1),
}
"""Results of a water test by its kind."""
DIALYSER: dict[str, Range] = {
    "koa_ml_min": Range(_("Urea KoA"), "mL/min", (100, 3000), (400, 2000)),
    "surface_m2": Range(_("Membrane surface"), "m²", (0.1, 4), (0.5, 2.8), 0.1),
    "uf_ml_h_mmhg": Range(_("Ultrafiltration coefficient"), "mL/h/mmHg", (0.5, 200), (4, 110)),
    "phosphate_koa_ml_min": Range(_("Phosphate KoA"), "mL/min", (50, 2500), (200, 1300)),
    "b2m_koa_ml_min": Range(_("KoA of β2-microglobulin"), "mL/min", (1, 500), (10, 250)),
}
"""Figures of a data sheet."""
OF_BODY = ("pre_weight_kg", "post_weight_kg")
WEIGHTS_APART = 0.1
"""Share by which a weight may lie off the target or the last one before it is asked about (common practice, no source).
"""
EVERYBODYS: Mapping[str, Range] = {}
HEIGHT_CM = Range(_("Height"), "cm", (60, 250), (140, 210))
SURROUNDINGS: dict[str, Range] = {
    "count": Range(_("Count"), "", (0, 100_000), (0, 2000)),
    "per_treatment": Range(_("Used at a treatment"), "", (0, 100), (0, 10), 0.1),
    "cover_days": Range(_("Days of cover wanted"), "days", (0, 365), (7, 90)),
    "pack_size": Range(_("Pieces in a pack"), "", (1, 10_000), (1, 500)),
    "every_days": Range(_("Every so many days"), "days", (1, 3660), (1, 800)),
    "every_treatments": Range(_("Every so many treatments"), "treatments", (1, 2000), (1, 500)),
    "first_tests": Range(_("Denser at first, so many in a row"), "", (0, 24), (0, 6)),
    "first_days": Range(_("Those, every so many days"), "days", (1, 366), (7, 60)),
    "every_weeks": Range(_("Every so many weeks"), "weeks", (1, 208), (1, 53)),
    "months": Range(_("Good for so many months"), "months", (1, 120), (3, 36)),
}
"""Supplies, due days and training."""


@dataclass(frozen=True, slots=True)
class UnusualMark:
    """A kept but unusual number: field as a path, what was given, what is usual, whether it was confirmed."""

    field: str
    given: float
    limit: str
    confirmed: bool


def numbers_of(document: dict[str, Any]) -> Iterator[tuple[str, float, Range]]:
    """Each number of a treatment document with its path and its limits."""
    for name, limits in TREATMENT.items():
        if document.get(name) is not None:
            yield name, document[name], limits
    for listed, fields in LISTS.items():
        for index, row in enumerate(document.get(listed) or []):
            for name, limits in fields.items():
                if row.get(name) is not None:
                    yield f"{listed}[{index}].{name}", row[name], limits


@dataclass(frozen=True, slots=True)
class NoNeedle(Range):
    """The numbers of a needle where there is none: each is unusual."""

    def oddity(self, given: float) -> str:
        return NO_NEEDLE

    @property
    def usual_words(self) -> str:
        return gettext(NO_NEEDLE)


NO_NEEDLE = _("a catheter has no needle")
OF_NEEDLE = ("gauge", "length_mm")


def of_catheter(document: dict[str, Any], lumens: Collection[int]) -> dict[str, Range]:
    """By path, the numbers of a needle that a document notes at a lumen of a catheter. lumens: which sites are one."""
    rows = [index for index, row in enumerate(document.get("sites") or []) if row["site"] in lumens]
    each = {name: _none(LISTS["sites"][name]) for name in OF_NEEDLE}
    return {f"sites[{index}].{name}": each[name] for index in rows for name in OF_NEEDLE}


def _none(of: Range) -> NoNeedle:
    return NoNeedle(of.label, of.unit, of.hard, of.usual, of.step)


def own_ranges(*, target: float | None, last: float | None) -> dict[str, Range]:
    """What is usual of one person's weights: near the target weight and the last weight after a treatment [kg].

    155 is a usual weight, and a slip (or pounds) where the person has 70 kg. Where the two do not agree with each
    other, the target says it; where neither is known, what is usual of everybody holds.
    """
    near = [(each * (1 - WEIGHTS_APART), each * (1 + WEIGHTS_APART)) for each in (target, last) if each]
    if not near:
        return {}
    low, high = max(each[0] for each in near), min(each[1] for each in near)
    usual = (round(low, 1), round(high, 1)) if low < high else (round(near[0][0], 1), round(near[0][1], 1))
    return {name: replace(TREATMENT[name], usual=usual) for name in OF_BODY}


def unusual(document: dict[str, Any], own: Mapping[str, Range] = EVERYBODYS) -> list[UnusualMark]:
    """The numbers of a treatment document that are possible but unusual. own: what is usual of this person."""
    confirmed = set(document.get("confirmed") or [])
    judged = [(path, given, own.get(path, limits)) for path, given, limits in numbers_of(document)]
    against = dict(_against_others(document))
    found = [(path, given, limits.oddity(given) or against.get(path, "")) for path, given, limits in judged]
    return [
        UnusualMark(field=path, given=given, limit=limit, confirmed=path in confirmed)
        for path, given, limit in found
        if limit
    ]


def _against_others(document: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """By path, how a number usually lies to another of the same treatment, where it does not."""
    for name, field in TREATMENT.items():
        given, most = document.get(name), document.get(field.at_most) if field.at_most else None
        if given is not None and most is not None and given > most:
            yield name, f"usually at most {most:g} {field.unit}, as {TREATMENT[field.at_most].label.lower()}"
    for listed, fields in LISTS.items():
        for name in (name for name, field in fields.items() if field.rises):
            yield from _fallen(document, listed, name)


def _fallen(document: dict[str, Any], listed: str, name: str) -> Iterator[tuple[str, str]]:
    """Of a number that does not usually fall within a treatment, each that lies under one read before."""
    highest, unit = -math.inf, LISTS[listed][name].unit
    for index, row in enumerate(document.get(listed) or []):
        if (given := row.get(name)) is None:
            continue
        if given < highest:
            yield f"{listed}[{index}].{name}", f"usually at least {highest:g} {unit}, as read before"
        highest = max(highest, given)


def doses(document: dict[str, Any], prescribed: Mapping[str, float | None]) -> dict[str, Range]:
    """By path, what is usual of a medicine of which a dose is prescribed. prescribed: by the name in the record."""
    amount = LISTS["medicines"]["amount"]
    rows = [(index, prescribed.get(row["name"])) for index, row in enumerate(document.get("medicines") or [])]
    return {
        f"medicines[{index}].amount": replace(amount, usual=(dose / amount.apart, dose * amount.apart))
        for index, dose in rows
        if dose
    }


def moved_paths(paths: list[str], listed: str, moves: Mapping[int, int]) -> list[str]:
    """The paths with the indices of one list's rows as they are after the rows have moved (before → after)."""

    def moved(found: re.Match[str]) -> str:
        return f"{listed}[{moves.get(int(found[1]), int(found[1]))}]"

    return [re.sub(rf"^{listed}\[([0-9]{{1,6}})\]", moved, path) for path in paths]


def for_scripts(own: Mapping[str, Range] = EVERYBODYS) -> dict[str, dict[str, Any]]:
    """The limits as the phone and the API's readers get them: field path without index → its range.

    In the language of the reader; `short` is the label where the place says the rest, `together` what it is called in
    one row with the number `pair` that is written under it; `decimals` as in `Field`. own: of one person.
    """
    flat: dict[str, Range] = dict(TREATMENT) | dict(own)
    for listed, fields in LISTS.items():
        flat |= {f"{listed}.{name}": field for name, field in fields.items()}
    flat |= {f"water.{kind}": limits for kind, limits in WATER.items()}
    flat["supplies.count"] = SURROUNDINGS["count"]
    return {name: _for_script(limits) for name, limits in flat.items()}


def told_beside(told: Told) -> dict[str, Any]:
    """{"told": unit, factor, offset} for a phone whose reader has another unit than the one it keeps; else nothing."""
    return {"told": asdict(told)} if told.differs else {}


ALSO_FOR_SCRIPTS = ("at_most", "rises", "apart", "zero", "ordered")
"""What the phone gets of a field's declaration where it says anything."""


def _for_script(limits: Range) -> dict[str, Any]:
    told = told_beside(limits.told) | {
        "label": gettext(limits.label),
        "short": gettext(limits.label),
        "unit": unit_words(limits.unit),
        "hard": limits.hard,
        "usual": limits.usual,
        "step": limits.step,
    }
    if not isinstance(limits, Field):
        return told
    told |= {"short": limits.short_words, "decimals": limits.decimals}
    told |= {name: getattr(limits, name) for name in ALSO_FOR_SCRIPTS if getattr(limits, name)}
    if not limits.together:
        return told
    return told | {"together": gettext(limits.together), "pair": limits.paired_with}


def for_screens() -> dict[str, Any]:
    """Which numbers the phone's screens and the parts of its paper page ask for, in their order, and which it draws.

    Keys of `for_scripts`: of a list without its name; of what is drawn without `pre_` and `post_`.
    """
    places = {"before": BEFORE, "after": AFTER, "fluid": FLUID, **LISTS}
    bedside = {place: at_bedside(fields) for place, fields in places.items()}
    return bedside | {"paper": {place: on_paper(fields) for place, fields in places.items()}, "drawn": drawn()}


def limits_of(path: str) -> Range | None:
    """The limits of a number by the path of its field: "readings[2].venous_mmhg"."""
    listed, _bracket, rest = path.partition("[")
    return LISTS.get(listed, {}).get(rest.partition("].")[2]) if rest else TREATMENT.get(path)


def words_for(path: str) -> str:
    """A field's path as people read it: "readings[2].venous_mmhg" is "Venous pressure (reading 3)"."""
    listed, _bracket, rest = path.partition("[")
    index, _dot, name = rest.partition("].")
    known = limits_of(path)
    words = gettext(known.label) if known else field_words(name if rest else path)
    if not rest:
        return words
    return f"{words} ({field_words(listed.removesuffix('s'))} {int(index.rstrip(']')) + 1})".strip()
