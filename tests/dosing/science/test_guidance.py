"""Each row of guidance holds the numbers that its source prints, and each patient is judged by the right row."""

from __future__ import annotations

import pytest

from dosing.science import sources
from dosing.science.guidance import GUIDANCE, Guidance, GuidedSchedule, schedule_of
from dosing.science.sources import Status

OPEN = None
MG_DL_OF_CALCIUM, MG_DL_OF_PHOSPHORUS = 4.0078, 3.0974
"""mg/dL that make 1 mmol/L, by the molar masses 40.078 and 30.974 g/mol."""

# quantity, low, high, aimed at from, aimed at up to, the print: where it stands, and what it says there.
PRINTED: list[tuple[str, float | None, float | None, float | None, float | None, str]] = [
    ("single_pool_ktv", 1.2, OPEN, 1.4, OPEN,
     "KDOQI 2006, guidelines 4.1 and 4.2: spKt/V of 1.2, target 1.4, three times a week, Kr under 2; 2015 the same"),
    ("urr", 65, OPEN, 70, OPEN,
     "KDOQI 2006, guidelines 4.1 and 4.2: URR of 65 % under 5 hours, target 70 %"),
    ("equilibrated_ktv", 1.2, OPEN, OPEN, OPEN,
     "UK Renal Association 2019: consistently a minimum eKt/V of 1.2 for thrice weekly patients [1B]"),
    ("weekly_standard_ktv", 2.1, OPEN, 2.3, OPEN,
     "KDOQI 2015, guideline 3.3, as quoted: target standard Kt/V of 2.3 a week with a minimum delivered dose of 2.1"),
    ("prescribed_minutes", 180, OPEN, OPEN, OPEN,
     "KDOQI 2006, recommendation 4.9: thrice weekly with Kr under 2 mL/min at least 3 hours; 2015, 4.1, the same"),
    ("weekly_hours", 12, OPEN, OPEN, OPEN,
     "UK Renal Association 2019: a minimum of 12 hours per week for thrice weekly patients, minimal residual function"),
    ("kidney_age", OPEN, 92, OPEN, OPEN, "KDOQI 2006, as quoted: quarterly; the longest quarter has 92 days"),
    ("npcr", 1.0, 1.2, OPEN, OPEN, "PMC8045140, Table 1: 1.0-1.2 g/kg/day, KDOQI 2020, maintenance HD"),
    ("uf_rate", OPEN, 13, OPEN, 10, "Assimon 2016, abstract: over 13 against up to 13, over 10 against up to 10"),
    ("high_uf_share", OPEN, 0, OPEN, OPEN, "the measure counts each such treatment; none is wanted"),
    ("gain_percent", OPEN, 4.5, OPEN, 4.0, "from memory: EBPG 2007, 4 to 4.5 % of dry weight"),
    ("hypotension_share", OPEN, 0.3, OPEN, OPEN, "Flythe 2015, abstract: in at least 30 % of treatments"),
    ("potassium", 4.0, 5.5, OPEN, OPEN, "BMC Nephrol 2019, introduction: 4.0 to 5.5"),
    ("bicarbonate", 20, 28, 22, 26, "KDOQI 2000, as quoted: 22 or more; 22 to 26 is the normal of BMC Nephrol 2015"),
    ("corrected_calcium", 8.4 / MG_DL_OF_CALCIUM, 2.55, OPEN, OPEN, "PMC3705332, Table 1: 8.4 mg/dL corrected"),
    ("phosphate", 2.5 / MG_DL_OF_PHOSPHORUS, 4.5 / MG_DL_OF_PHOSPHORUS, OPEN, OPEN,
     "usual normal 2.5 to 4.5 mg/dL, 0.81 to 1.45 mmol/L, as printed by laboratories"),
    ("parathyroid_hormone", 2 * 7, 9 * 7 + 1, OPEN, OPEN, "PMC3705332, Table 1: 2-9 times the upper normal, 65 pg/mL"),
    ("haemoglobin", 100, 130, OPEN, 115, "PMC4934828, Table 1: start under 100, at most 115; 130 from KDIGO 2012"),
    ("ferritin", 200, 700, OPEN, OPEN, "from memory: KDOQI 2006 and PIVOTAL 2019"),
    ("transferrin_saturation", 20, 40, OPEN, OPEN, "PMC4934828, Table 1: 20 % or more; 40 % of PIVOTAL from memory"),
    ("albumin", 35, OPEN, 40, OPEN, "from memory: KDOQI 2000, 40 g/L by bromocresol green"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "low", "high", "aim_low", "aim_high", "source"), PRINTED, ids=lambda x: str(x)[:24]
)
def test_a_row_holds_what_its_source_prints(
    quantity: str, low: float | None, high: float | None, aim_low: float | None, aim_high: float | None, source: str
) -> None:
    row = GUIDANCE[quantity]
    ours = (row.low, row.high, row.aim_low, row.aim_high)
    for end, printed in zip(ours, (low, high, aim_low, aim_high), strict=True):
        assert (end is None) == (printed is None), source
        assert end is None or end == pytest.approx(printed, rel=5e-3), source


def test_what_is_not_in_the_table_is_said_to_be_practice() -> None:
    checked = {row[0] for row in PRINTED}
    assert {key for key in GUIDANCE if key not in checked} == {
        key for key, row in GUIDANCE.items() if row.status is Status.PRACTICE
    }


@pytest.mark.parametrize("row", GUIDANCE.values(), ids=lambda row: row.quantity)
def test_a_row_is_dated_and_its_aims_lie_within_its_ends(row: Guidance) -> None:
    assert (row.status is Status.PRACTICE) == (not row.guideline)
    assert not row.guideline or (1995 < row.edition < 2030 and row.says)
    assert any(end is not None for end in (row.low, row.high))
    ends = [end for end in (row.low, row.aim_low, row.aim_high, row.high) if end is not None]
    assert ends == sorted(ends)


def test_three_a_week_are_judged_by_treatment_unless_a_kidney_counts() -> None:
    assert schedule_of(3, None) is GuidedSchedule.THREE_A_WEEK
    assert schedule_of(3, 1.99) is GuidedSchedule.THREE_A_WEEK
    assert schedule_of(3, 2.0) is GuidedSchedule.OTHER
    assert schedule_of(3.5, None) is GuidedSchedule.OTHER
    assert schedule_of(2, None) is GuidedSchedule.OTHER
    assert schedule_of(None, 4.0) is None


def test_the_us_measure_is_as_printed() -> None:
    """AJKD 2016;68:522, abstract: UFR of 13 mL/kg/h or more for patients with a session of less than 240 minutes."""
    assert (sources.HIGH_UF_RATE, sources.HIGH_UF_MINUTES) == (13, 240)
