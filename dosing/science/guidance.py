"""What guidance asks for, as dated data: one row a quantity and schedule, and nothing else in the house holds an end.

Board, review, PDF, planner and the limits of alerts read these rows. A row has two pairs of ends. `low` and `high`
are what should not be passed: beyond them a number is marked as outside, and where there is an alert, it is told.
`aim_low` and `aim_high` are what is aimed at: between aim and end a number is marked as short of what is aimed at.
A unit that relies on a row that is not `source read` should look it up; every range and limit can be set by the unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from dosing.science.reasons import _
from dosing.science.sources import Status


class GuidedSchedule(StrEnum):
    """Whom a row is for. Guidance asks for other things of three treatments a week than of other schedules."""

    ANY = "any"
    THREE_A_WEEK = "three a week"
    """with hardly any kidney function: each treatment is judged by itself"""
    OTHER = "other"
    """more often, less often, or with a kidney that counts: the week is judged, with the kidney"""


End = Literal["low", "high", "aim_low", "aim_high"]
KIDNEY_COUNTS_FROM = 2.0
"""[mL/min/1.73 m2] Residual urea clearance from which a treatment may be less: KDOQI 2006, guidelines 4.1 and 4.3
(source read), the same in KDOQI 2015, guidelines 3.2 and 4.1 (read as quoted)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guidance:
    """One row. Ends are in `unit`, None where open; number: of the statement in its guideline; grade: as printed
    there; edition: the year; says: the statement in our words; status: how far the numbers were seen.
    """

    quantity: str
    unit: str
    guideline: str = ""
    edition: int = 0
    number: str = ""
    grade: str = ""
    status: Status
    says: str = ""
    low: float | None = None
    high: float | None = None
    aim_low: float | None = None
    aim_high: float | None = None
    schedule: GuidedSchedule = GuidedSchedule.ANY

    @property
    def source(self) -> str:
        """Guideline, edition, statement and grade as one cites it; "" where no source is known."""
        if not self.guideline:
            return ""
        cited = f"{self.guideline} {self.edition}" + (f", {self.number}" if self.number else "")
        return cited + (f" ({self.grade})" if self.grade else "")

    def end(self, name: End) -> float:
        """One of the four ends. Raises ValueError where the row is open there."""
        found: float | None = getattr(self, name)
        if found is None:
            raise ValueError(f"guidance on {self.quantity} has no {name} end")
        return found


_READ, _ABSTRACT, _QUOTED = Status.SEEN, Status.ABSTRACT, Status.SECOND_HAND
_MEMORY, _PRACTICE = Status.MEMORY, Status.PRACTICE
_ADEQUACY = "KDOQI haemodialysis adequacy"
_UK = "UK Renal Association, haemodialysis"
_BONE = "KDIGO mineral and bone disorder"
_ANAEMIA = "KDIGO anaemia"
_THREE, _OTHER = GuidedSchedule.THREE_A_WEEK, GuidedSchedule.OTHER

_DOSE = (
    Guidance(
        quantity="single_pool_ktv", unit="1", low=1.2, aim_low=1.4, schedule=_THREE,
        guideline=_ADEQUACY, edition=2015, number="guideline 3.1", grade="1B", status=_QUOTED,
        says=_("1.2 at least delivered, 1.4 aimed at; the same was read in KDOQI 2006, guidelines 4.1 and 4.2"),
    ),
    Guidance(
        quantity="urr", unit="%", low=65, aim_low=70, schedule=_THREE,
        guideline=_ADEQUACY, edition=2006, number="guidelines 4.1 and 4.2", grade="A", status=_READ,
        says=_("65 % at least, 70 % aimed at, for treatments under 5 hours"),
    ),
    Guidance(
        quantity="equilibrated_ktv", unit="1", low=1.2, schedule=_THREE,
        guideline=_UK, edition=2019, number="section 1", grade="1B", status=_QUOTED,
        says=_("1.2 at least, without a contribution of the kidney that was measured"),
    ),
    Guidance(
        quantity="weekly_standard_ktv", unit="1/wk", low=2.1, aim_low=2.3, schedule=_OTHER,
        guideline=_ADEQUACY, edition=2015, number="guideline 3.3", grade="not graded", status=_QUOTED,
        says=_("2.1 a week at least delivered, 2.3 aimed at, with fluid removal and kidney counted"),
    ),
    Guidance(
        quantity="prescribed_minutes", unit="min", low=180, schedule=_THREE,
        guideline=_ADEQUACY, edition=2015, number="guideline 4.1", grade="1D", status=_QUOTED,
        says=_("3 hours at least where the kidney clears less than 2 mL/min; read in KDOQI 2006, recommendation 4.9"),
    ),
    Guidance(
        quantity="weekly_hours", unit="h/wk", low=12, schedule=_THREE,
        guideline=_UK, edition=2019, number="section 1", grade="1B", status=_QUOTED,
        says=_("12 hours a week for most with hardly any kidney function"),
    ),
    Guidance(
        quantity="kidney_age", unit="d", high=92,
        guideline=_ADEQUACY, edition=2015, number="guideline 3.2", grade="not graded", status=_QUOTED,
        says=_("measured periodically where less dialysis is given for it; each quarter in KDOQI 2006, as quoted"),
    ),
    Guidance(
        quantity="npcr", unit="g/kg/d", low=1.0, high=1.2,
        guideline="KDOQI nutrition", edition=2020, number="statement 3.0.3", grade="1C", status=_QUOTED,
        says=_("protein 1.0 to 1.2 g/kg/d in stable patients on dialysis (PMC8045140, Table 1)"),
    ),
)  # fmt: skip
_FLUID = (
    Guidance(
        quantity="uf_rate", unit="mL/kg/h", high=13, aim_high=10,
        guideline="Flythe, Kidney Int 79:250, 2011; Assimon, Am J Kidney Dis 68:911,", edition=2016, status=_ABSTRACT,
        says=_("deaths rise above 10 and more above 13; observational, three a week in centre"),
    ),
    Guidance(
        quantity="high_uf_share", unit="1", high=0,
        guideline="Kidney Care Quality Alliance, measure as in Am J Kidney Dis 68:522,", edition=2016,
        status=_ABSTRACT, says=_("13 mL/kg/h or more in a treatment shorter than 240 minutes"),
    ),
    Guidance(
        quantity="uf_over", unit="1", high=0.1, status=_PRACTICE,
        says=_("treatments over the limit of their prescription"),
    ),
    Guidance(
        quantity="gain_percent", unit="%", high=4.5, aim_high=4.0,
        guideline="European Best Practice Guidelines, haemodynamics", edition=2007, status=_MEMORY,
        says=_("gain between treatments under 4 to 4.5 % of target weight"),
    ),
    Guidance(quantity="off_target", unit="kg", low=-0.5, high=0.5, status=_PRACTICE),
    Guidance(quantity="fluid_load", unit="kg", high=2.0, status=_PRACTICE, says=_("mean fluid over target")),
)  # fmt: skip
_PRESSURE = (
    Guidance(quantity="pre_systolic", unit="mmHg", low=100, high=160, status=_PRACTICE, says=_("mean of a month")),
    Guidance(quantity="post_systolic", unit="mmHg", low=100, high=170, status=_PRACTICE),
    Guidance(
        quantity="hypotension_share", unit="1", high=0.3,
        guideline="Flythe, J Am Soc Nephrol 26:724,", edition=2015, status=_ABSTRACT,
        says=_("lowest systolic under 90, or under 100 where it was 160 or more before, in 30 % of treatments"),
    ),
    Guidance(quantity="venous_trend", unit="mmHg/wk", high=5, status=_PRACTICE),
    Guidance(quantity="arterial_trend", unit="mmHg/wk", low=-5, status=_PRACTICE),
)  # fmt: skip
_BLOODS = (
    Guidance(
        quantity="potassium", unit="mmol/L", low=4.0, high=5.5,
        guideline="BMC Nephrology 20, s12882-019-1450-7, introduction,", edition=2019, status=_READ,
        says=_("fewest deaths with a potassium before treatment of 4.0 to 5.5"),
    ),
    Guidance(
        quantity="potassium_gradient", unit="mmol/L", high=4.0, status=_PRACTICE,
        says=_("3 or 4 is a mark for review; no bath is set from it"),
    ),
    Guidance(
        quantity="bicarbonate", unit="mmol/L", low=20, high=28, aim_low=22, aim_high=26,
        guideline="KDOQI nutrition", edition=2000, number="guideline 13", status=_QUOTED,
        says=_("22 or more before treatment; the upper aim is UK practice and the ends are common practice, no source"),
    ),
    Guidance(
        quantity="corrected_calcium", unit="mmol/L", low=2.1, high=2.55,
        guideline=_BONE, edition=2017, number="4.1.3", grade="2C", status=_QUOTED,
        says=_("avoid hypercalcaemia: above the laboratory's normal range, here 2.55; low end 8.4 mg/dL of KDOQI 2003"),
    ),
    Guidance(
        quantity="phosphate", unit="mmol/L", low=0.81, high=1.45,
        guideline=_BONE, edition=2017, number="4.1.2", grade="2C", status=_QUOTED,
        says=_("lower a high phosphate towards normal, 0.81 to 1.45 (2.5 to 4.5 mg/dL)"),
    ),
    Guidance(
        quantity="parathyroid_hormone", unit="pmol/L", low=14, high=64,
        guideline=_BONE, edition=2017, number="4.2.3", grade="2C", status=_QUOTED,
        says=_("2 to 9 times the upper normal of the assay, here 7 pmol/L"),
    ),
    Guidance(
        quantity="haemoglobin", unit="g/L", low=100, high=130, aim_high=115,
        guideline=_ANAEMIA, edition=2026, number="chapter 3", grade="1D", status=_MEMORY,
        says=_("treated from 90 to 100, below 115 aimed at; 130 is the top of KDIGO 2012 (as quoted in PMC4934828)"),
    ),
    Guidance(
        quantity="ferritin", unit="ug/L", low=200, high=700,
        guideline=_ANAEMIA, edition=2026, number="chapter 2", grade="2D", status=_MEMORY,
        says=_("iron is started up to 500 with a saturation up to 30 %, and held back above 700; low end KDOQI 2006"),
    ),
    Guidance(
        quantity="transferrin_saturation", unit="%", low=20, high=40,
        guideline=_ANAEMIA, edition=2026, number="chapter 2", grade="2D", status=_MEMORY,
        says=_("iron is started up to 30 % with a ferritin up to 500, and held back from 40 %; low end KDOQI 2006"),
    ),
    Guidance(
        quantity="albumin", unit="g/L", low=35, aim_low=40,
        guideline="KDOQI nutrition", edition=2000, status=_MEMORY,
        says=_("40 by bromocresol green aimed at; the low end is common practice, no source"),
    ),
)  # fmt: skip
_TIME = (
    Guidance(quantity="nights", unit="1", low=0.9, status=_PRACTICE),
    Guidance(quantity="time", unit="1", low=0.9, status=_PRACTICE),
)

GUIDANCE: dict[str, Guidance] = {row.quantity: row for row in (*_TIME, *_DOSE, *_FLUID, *_PRESSURE, *_BLOODS)}
"""Every row by the quantity it is of."""


def schedule_of(per_week: float | None, kidney_ml_min: float | None) -> GuidedSchedule | None:
    """By which rows a patient is judged; None without a prescribed number a week.

    per_week: treatments a week as prescribed; kidney_ml_min: residual urea clearance [mL/min/1.73 m2], None where it
    is not known: it then counts as none. Three a week are judged treatment by treatment, unless a kidney counts.
    Source: KDOQI 2015, guidelines 3.1 to 3.3; `KIDNEY_COUNTS_FROM`.

    >>> [schedule_of(each, kidney).value for each, kidney in ((3, None), (3, 3.0), (2, 4.0), (5, 0.0))]
    ['three a week', 'other', 'other', 'other']
    """
    if per_week is None:
        return None
    counts = kidney_ml_min is not None and kidney_ml_min >= KIDNEY_COUNTS_FROM
    return GuidedSchedule.THREE_A_WEEK if per_week == 3 and not counts else GuidedSchedule.OTHER
