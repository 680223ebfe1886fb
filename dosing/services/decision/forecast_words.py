"""What was foretold of a change beside what came of it, in rows for a page and in one line for a block."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from dosing.models import ChangeForecast
from dosing.science.survival import ShareInterval, exact_share
from dosing.services.decision.forecasts import FAILED, FOUR_WEEKS, NOT_MODELLED
from dosing.services.numbers.blood_units import spoken_of
from homedialysis.accounts.services.units import told_in
from sessions.facts.choices import Analyte
from sessions.facts.local_number import decimals
from sessions.models import Prescription
from sessions.services.prescription_changes import differences

Numbers = Mapping[str, Any]
WEEKS = ("4", "8")
NOT_KNOWN = "–"


@dataclass(frozen=True, slots=True)
class CameRow:
    """One quantity: as it was before, as foretold ("" where nothing is), as it came in weeks 1 to 4 and 5 to 8."""

    label: str
    before: str
    foretold: str
    came: list[str]


@dataclass(frozen=True, slots=True)
class ChangeStory:
    """One change with all that is told of it. held: whether the dose that came, by the last weeks that were read, and
    the foretold one are as near as their intervals say; None where either is not known.
    """

    forecast: ChangeForecast
    begins: date
    lines: list[str]
    rows: list[CameRow]
    why: str
    held: bool | None

    @property
    def order(self) -> Prescription:
        return self.forecast.prescription

    @property
    def read_on(self) -> date:
        """When the next weeks will be over."""
        weeks = 1 if "4" not in self.forecast.came else 2
        return self.begins + weeks * FOUR_WEEKS


WHYS: dict[str, Callable[[], str]] = {
    NOT_MODELLED: lambda: _("The planner’s model does not take this schedule: nothing was foretold."),
    FAILED: lambda: _("No forecast could be made when it was signed."),
}


def story_of(forecast: ChangeForecast, before: Prescription | None) -> ChangeStory:
    """before: the prescription that it followed."""
    order, expected = forecast.prescription, forecast.expected
    why = WHYS[expected["why"]]() if "why" in expected else ""
    return ChangeStory(
        forecast=forecast,
        begins=localtime(order.in_force.lower).date(),
        lines=[change.line for change in differences(before, order)],
        rows=_rows(forecast.before, expected, [forecast.came.get(week) for week in WEEKS]),
        why=why,
        held=held(forecast),
    )


def held(forecast: ChangeForecast) -> bool | None:
    """Whether the two intervals of the dose touch, by the last weeks that were read."""
    low, high = forecast.expected.get("dose_low"), forecast.expected.get("dose_high")
    came = next((found for week in reversed(WEEKS) if (found := forecast.came.get(week)) and found.get("dose")), None)
    if low is None or high is None or came is None:
        return None
    return bool(came["dose_low"] <= high and low <= came["dose_high"])


def share_held(forecasts: Iterable[ChangeForecast]) -> tuple[int, int, ShareInterval | None]:
    """Of how many forecasts the dose came as foretold, of how many that can be said, and the exact interval."""
    known = [found for each in forecasts if (found := held(each)) is not None]
    count = sum(known)
    return count, len(known), exact_share(share=count / len(known), of=len(known)) if known else None


def _rows(before: Numbers, expected: Numbers, came: list[Numbers | None]) -> list[CameRow]:
    asked: list[tuple[str, Callable[[Numbers], str], str]] = [
        (_("Weekly standard Kt/V, with the kidney"), _dose, _foretold_dose(expected)),
        (_("Treatments done, of prescribed"), _kept, ""),
        (_("Nights that need more than the ordered UF rate"), _over, _share(expected.get("over"))),
        (_("Nights that ran above it"), lambda each: _share(each.get("ran_over")), ""),
        (_("Fluid of a night, mean"), _litres, _with(expected.get("fluid_mean_l"), 2, "L")),
        (_("Weight after, mean (target)"), _weight, ""),
        (_("Systolic pressure before, mean"), lambda each: _with(each.get("pre_systolic"), 0, "mmHg"), ""),
        (_("Phosphate before a treatment, newest"), _phosphate, ""),
    ]
    return [
        CameRow(label, told(before), foretold, [_of_weeks(told, found) for found in came])
        for label, told, foretold in asked
    ]


def _of_weeks(told: Callable[[Numbers], str], found: Numbers | None) -> str:
    if found is None:
        return _("not over yet")
    return told(found) if found else _("changed again")


def _with(value: float | None, places: int, unit: str) -> str:
    return NOT_KNOWN if value is None else f"{decimals(value, places)} {unit}"


def _share(value: float | None) -> str:
    return NOT_KNOWN if value is None else f"{round(100 * value)} %"


def _between(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return NOT_KNOWN
    if low is None or high is None:
        return decimals(value, 2)
    ends = {"value": decimals(value, 2), "low": decimals(low, 2), "high": decimals(high, 2)}
    return _("%(value)s (%(low)s to %(high)s)") % ends


def _foretold_dose(expected: Numbers) -> str:
    return _between(expected.get("standard_ktv"), expected.get("dose_low"), expected.get("dose_high"))


def _dose(each: Numbers) -> str:
    return _between(each.get("dose"), each.get("dose_low"), each.get("dose_high"))


def _kept(each: Numbers) -> str:
    if each.get("done") is None:
        return NOT_KNOWN
    return _("%(done)s of %(prescribed)s") % {"done": each["done"], "prescribed": decimals(each["prescribed"], 0)}


def _over(each: Numbers) -> str:
    return _share(each.get("over"))


def _litres(each: Numbers) -> str:
    return _with(each.get("fluid_l"), 2, "L")


def _weight(each: Numbers) -> str:
    weight, target, told = each.get("weight"), each.get("target"), told_in("kg")
    if weight is None:
        return NOT_KNOWN
    aimed = f" ({decimals(told.of(target), 1)})" if target is not None else ""
    return f"{decimals(told.of(weight), 1)}{aimed} {told.unit}"


def _phosphate(each: Numbers) -> str:
    shown, value = spoken_of(Analyte.PHOSPHATE), each.get("phosphate")
    return NOT_KNOWN if value is None else f"{decimals(shown.from_canonical(value), 2)} {shown.unit}"


def line_for(kind: str, forecast: ChangeForecast) -> str:
    """What was foretold and what came, for the block of dose or of fluid; "" where the block has none."""
    expected, came = forecast.expected, [forecast.came.get(week) for week in WEEKS]
    told = {"dose": _dose, "fluid": _over}.get(kind)
    if told is None or "why" in expected:
        return ""
    foretold = _foretold_dose(expected) if kind == "dose" else _share(expected.get("over"))
    parts = {"foretold": foretold, "first": _of_weeks(told, came[0]), "second": _of_weeks(told, came[1])}
    if kind == "fluid":
        return (
            _(
                "nights that need more than the ordered UF rate: foretold %(foretold)s; weeks 1–4 %(first)s, "
                "5–8 %(second)s"
            )
            % parts
        )
    return _("dose: foretold %(foretold)s; weeks 1–4 %(first)s, 5–8 %(second)s") % parts
