"""What the planner says beyond urea: bands beside the patient's own levels, in the words of the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dosing.science.reasons import Reason
from dosing.science.solutes import SoluteBand
from dosing.services.numbers.blood_units import ShownAnalyte, spoken_of, three_figures
from dosing.services.numbers.reasons import reason_words
from dosing.services.planner.candidates import Candidate, Tried
from dosing.services.planner.solute_figures import among_groups
from dosing.services.planner.solutes_of_schedule import (
    LOWEST_TOLD,
    ScheduleSolutes,
    SolutesNow,
    solutes_of,
    weekly_clearance_of_urea,
)
from sessions.facts.choices import Analyte
from sessions.facts.local_number import decimals, plain

IN_WORDS = (
    gettext_lazy(
        "Bicarbonate: no published model says what a new schedule gives before treatment. More hours at the bath offer "
        "more buffer: look again after 2 to 4 weeks; with long nights at 35 to 38 mmol/L it may be high before it."
    ),
    gettext_lazy(
        "Sodium: an error of one per cent in the laboratory or in the machine is larger than what is sought, so no "
        "balance is computed. A bath above the patient’s own level goes with more thirst."
    ),
    gettext_lazy(
        "Protein-bound: more frequent or longer treatments with the same blood processed take off no more of what is "
        "strongly bound; more blood processed does."
    ),
)
NOT_FOR = gettext_lazy(
    "Not for children, in pregnancy, after parathyroidectomy, while refeeding, or with phosphate in the dialysate. "
    "To a patient none of this is shown."
)


def beyond_urea(
    schedules: Sequence[tuple[str, Candidate]], now: SolutesNow | None, tried: Tried, *, drifted: bool
) -> dict[str, Any]:
    """For the page: rows with a text for each schedule, or why there are none."""
    if now is None:
        return {"why": _("No schedule is in force that the model knows, so there is nothing to compare with.")}
    if drifted:
        return {"why": _("The model of urea has drifted: nothing that rests on it is told.")}
    names, found = [name for name, _each in schedules], solutes_of([each for _name, each in schedules], now)
    return {
        "rows": [
            (_("Phosphate before, if as much is absorbed as now"), [_phosphate(each.phosphate, now) for each in found]),
            (_("Phosphate before, as in six published groups"), [_grouped(each, now) for each in found]),
            *_potassium_rows(found, now),
            (_("β2-microglobulin before"), [_b2m(each.b2m) for each in found]),
            (_("Clearance of a week: urea, phosphate, β2-microglobulin"), _clearances(found, now, tried)),
        ],
        "kidney": now.kidney if now.kidney_known else None,
        "figure": among_groups(names, found),
        "words": IN_WORDS,
        "not_for": NOT_FOR,
    }


def _ratio(band: SoluteBand) -> str:
    parts = {name: decimals(getattr(band, name), 2) for name in ("low", "middle", "high")}
    return _("%(middle)s of now (%(low)s to %(high)s)") % parts


def _phosphate(band: SoluteBand, now: SolutesNow) -> str:
    """The ratio, and the level where that of now is known; no figure below what the models were tried on."""
    if now.phosphate.why is not None:
        return _("%(ratio)s; no level: %(why)s") % {"ratio": _ratio(band), "why": reason_words(now.phosphate.why)}
    shown, level = spoken_of(Analyte.PHOSPHATE), now.phosphate.level
    if band.low * level < LOWEST_TOLD:
        limit = _figure(shown, LOWEST_TOLD)
        words = _("%(ratio)s; may fall below %(limit)s %(unit)s: phosphate may have to be given")
        return words % {"ratio": _ratio(band), "limit": limit, "unit": shown.unit}
    ends = {name: _figure(shown, getattr(band, name) * level) for name in ("low", "high")}
    parts = {"ratio": _ratio(band), "unit": shown.unit, "now": _figure(shown, level), "count": now.phosphate.count}
    return _("%(ratio)s; %(low)s to %(high)s %(unit)s, now %(now)s by %(count)s bloods") % (parts | ends)


def _figure(shown: ShownAnalyte, level: float) -> str:
    """A level as people read it: three figures, in the reader's unit and with the reader's decimal sign."""
    return plain(float(three_figures(shown.from_canonical(level))))


def _grouped(each: ScheduleSolutes, now: SolutesNow) -> str:
    if each.in_groups is None:
        return _("no group had so little change: the line above stands alone")
    return _phosphate(each.in_groups, now)


def _potassium_rows(found: Sequence[ScheduleSolutes], now: SolutesNow) -> list[tuple[str, list[str]]]:
    name = _("Potassium before, change from now")
    if now.potassium.why is not None:
        return [(name, [reason_words(now.potassium.why)] * len(found))]
    if now.bath is None:
        return [(name, [_("no potassium of the dialysate is prescribed")] * len(found))]
    return [
        (
            _("%(name)s, with %(bath)s mmol/L in the dialysate") % {"name": name, "bath": plain(bath)},
            [_change(each.potassium[bath]) for each in found],
        )
        for bath in now.baths
    ]


def _change(band: SoluteBand) -> str:
    parts = {"low": _signed(band.low), "high": _signed(band.high)}
    return _("%(low)s to %(high)s mmol/L") % parts


def _signed(value: float) -> str:
    """With a sign, never minus nothing."""
    text = decimals(abs(value), 1)
    return text if float(f"{abs(value):.1f}") == 0 else f"{'+' if value > 0 else '−'}{text}"


def _b2m(band: SoluteBand | Reason) -> str:
    return _("unknown: %(why)s") % {"why": reason_words(band)} if isinstance(band, Reason) else _ratio(band)


def _clearances(found: Sequence[ScheduleSolutes], now: SolutesNow, tried: Tried) -> list[str]:
    texts = []
    for at, each in enumerate(found):
        phosphate, b2m = each.clearances
        urea = weekly_clearance_of_urea(float(tried.dose[at]), now.model.volume)
        parts = [urea, phosphate, b2m]
        texts.append(
            " · ".join("–" if part is None or part != part else decimals(part, 1) for part in parts) + " mL/min"
        )
    return texts
