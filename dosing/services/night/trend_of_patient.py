"""What drifts in one patient: plain arrays of nights in, one verdict for each quantity out.

For whoever wires a rule or a page:

    verdicts = trends_of(
        days=[night.record.night for night in nights],          # oldest first or in any order
        series={
            "venous": Series(values=[...], flows=[...], gauges=[...], segments=[...]),
            "post_weight": Series(values=[...], segments=[...]),
        },
    )
    verdict = verdicts["venous"]

- `values`, `flows`, `gauges`: one for each day, None where not noted. `segments`: anything that can be compared, for
  each day: whenever it changes the baseline starts anew. Put into it what makes nights incomparable: access, site
  area, lines, machine for the pressures; the target weight for the weight after; what somebody has accepted as the
  new usual (the day of it) for any of them. A change of gauge is seen from `gauges`. None is "not noted" and changes
  nothing.
- Give as many nights as there are since the last change, half a year at least: an alert that is told keeps being held
  against the nights before it began, and these must be among those given. The work grows with the nights, not more.
- Known keys and what they watch: `WATCHES`. `flows` are used for the pressures and the clearance only.
- `verdict.state` is "unknown" (see `verdict.why`), "usual", "drifting" or "passed". An alert opens at "drifting". It is
  over at "passed": the running mean came back within 0.7 of its limit, or, with "unknown" or "usual", a change
  started a new baseline. Between the two limits it stays "drifting", so it does not flicker.
- `verdict.numbers` is all that stands behind it; `verdict.first_night`,
  `verdict.told_on` the days on which the drift began and on which it was first told; `verdict.chart` the lines to draw.
- Nothing here finds a stenosis, a clot or lost flesh: it is a reason to examine and to talk.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

import numpy as np

from dosing.science import trends
from dosing.science.drift import segments
from dosing.science.pressures import SLOPES, expected_change, usual_flow
from dosing.science.reasons import Reason
from dosing.science.results import FloatArray

WATCHES = {
    "venous": trends.VENOUS_PRESSURE,
    "arterial": trends.ARTERIAL_PRESSURE,
    "clearance": trends.CLEARANCE,
    "post_weight": trends.POST_WEIGHT,
    "systolic": trends.SYSTOLIC,
    "bleeding": trends.BLEEDING_TIME,
    "tmp": trends.TRANSMEMBRANE_PRESSURE,
    "length": trends.LENGTH,
    "gain": trends.GAIN,
    "post_systolic": trends.POST_SYSTOLIC,
    "lowest": trends.LOWEST_SYSTOLIC,
    "felt": trends.FELT,
    "attempts": trends.ATTEMPTS,
    "pain": trends.PAIN,
    "found": trends.FOUND_AT_ACCESS,
}
ALONE = ("venous", "arterial", "clearance", "post_weight", "systolic", "bleeding", "tmp", "length", "gain")
"""Those of which a drift is told by itself; the others only speak in stories."""
STORIES = {
    "access": trends.ACCESS,
    "target_too_high": trends.TARGET_TOO_HIGH,
    "target_too_low": trends.TARGET_TOO_LOW,
}
T = TypeVar("T")
CLEARANCE_SLOPE = 0.3
"""[mL/min per mL/min] By Michaels' equation for KoA 1000, Qd 300 and Qb 300 mL/min; the patient's own is learned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One quantity over the days; see the top of this module. Empty means "not noted on any day"."""

    values: Sequence[float | None]
    flows: Sequence[float | None] = ()
    gauges: Sequence[float | None] = ()
    segments: Sequence[Hashable | None] = ()


@dataclass(frozen=True, slots=True, eq=False)
class TrendVerdict:
    """A verdict of the science with its days as dates, ready to be stored and drawn."""

    science: trends.Verdict

    @property
    def state(self) -> trends.State:
        return self.science.state

    @property
    def drifting(self) -> bool:
        return self.science.drifting

    @property
    def why(self) -> Reason | None:
        return self.science.why

    @property
    def first_night(self) -> date | None:
        """The night on which the drift that was told last most likely began."""
        return _date(self.science.first_day)

    @property
    def told_on(self) -> date | None:
        return _date(self.science.told_day)

    @property
    def passed_on(self) -> date | None:
        return _date(self.science.passed_day)

    @property
    def numbers(self) -> dict[str, float | int | str | None]:
        """Every number behind the verdict, fit for JSON; None where not known. Names as in `trends.Verdict`."""
        found = {name: getattr(self.science, name) for name in NUMBERS}
        of_rank = self.science.trend
        found |= {"trend_z": of_rank.z if of_rank else math.nan, "trend_p": of_rank.p if of_rank else math.nan}
        plain = {
            name: None if isinstance(value, float) and math.isnan(value) else value for name, value in found.items()
        }
        return plain | {"unit": self.science.watch.unit}

    @property
    def chart(self) -> dict[str, Any] | None:
        """Lines to draw, fit for JSON, one value a day, None where there is none; None where nothing is usable.

        days; points: at comparable conditions; baseline; average: the running mean; limits: one line for each watched
        direction, which the running mean does not pass by chance.
        """
        lines = self.science.chart
        if lines is None:
            return None
        return {
            "days": [date.fromordinal(int(day)).isoformat() for day in lines.days],
            "points": _plain(lines.points),
            "baseline": _plain(lines.baseline),
            "average": _plain(lines.average),
            "limits": [_plain(limit) for limit in lines.limits],
        }


NUMBERS = (
    *("direction", "baseline", "now", "shift", "scatter", "correlation", "slope_per_week", "weeks"),
    *(
        "evidence",
        "evidence_limit",
        "cusum",
        "cusum_limit",
        "average",
        "average_limit",
        "beyond",
        "of",
        "nights",
        "flow",
    ),
)


def trends_of(*, days: Sequence[date], series: Mapping[str, Series]) -> dict[str, TrendVerdict]:
    """Whether each quantity drifts on its last noted night; see the top of this module.

    days: of the nights, in any order. series: by a key of `WATCHES`, each with one value a day.
    Raises ValueError for a key that is not known or a list of another length than the days.
    """
    for key, given in series.items():
        _refuse_misfits(key, given, len(days))
    order = sorted(range(len(days)), key=lambda place: days[place])
    prepared = {key: _prepared(key, _in_order(given, order)) for key, given in series.items()}
    if not prepared:
        return {}
    values, expected, segment, reference = zip(*prepared.values(), strict=True)
    verdicts = trends.judge(
        watches=[WATCHES[key] for key in prepared],
        values=np.array(values),
        days=[days[place].toordinal() for place in order],
        expected=np.array(expected),
        segment=np.array(segment),
        flows=reference,
    )
    return {key: TrendVerdict(verdict) for key, verdict in zip(prepared, verdicts, strict=True)}


@dataclass(frozen=True, slots=True, eq=False)
class StoryVerdict:
    """What the quantities of a story say together: whether it is told, and two at least speak; a verdict of each that
    was noted, by key; which of them speak.
    """

    drifting: bool
    signs: dict[str, TrendVerdict]
    speaking: tuple[str, ...]


def stories_of(*, days: Sequence[date], series: Mapping[str, Series]) -> dict[str, StoryVerdict]:
    """What drifts together, by key of `STORIES`; a story of which nothing was ever noted is left out.

    days, series: as in `trends_of`; a quantity that was never noted stays out.
    """
    order = sorted(range(len(days)), key=lambda place: days[place])
    noted = {key for key, given in series.items() if any(value is not None for value in given.values)}
    parts = {name: [key for key in story.signs if key in noted] for name, story in STORIES.items()}
    parts = {name: keys for name, keys in parts.items() if keys}
    if not parts:
        return {}
    rows = [(place, name, key) for place, (name, keys) in enumerate(parts.items()) for key in keys]
    prepared = {key: _prepared(key, _in_order(series[key], order)) for key in {key for _place, _name, key in rows}}
    values, expected, segment, reference = zip(*(prepared[key] for _place, _name, key in rows), strict=True)
    found = trends.judge_together(
        watches=[WATCHES[key] for _place, _name, key in rows],
        ways=[STORIES[name].signs[key] for _place, name, key in rows],
        causes=[STORIES[name] for name in parts],
        cause_of=[place for place, _name, _key in rows],
        values=np.array(values),
        days=[days[place].toordinal() for place in order],
        expected=np.array(expected),
        segment=np.array(segment),
        flows=reference,
    )
    return {name: _story_verdict(keys, told) for (name, keys), told in zip(parts.items(), found, strict=True)}


def _story_verdict(keys: Sequence[str], told: trends.JointVerdict) -> StoryVerdict:
    signs = {key: TrendVerdict(verdict) for key, verdict in zip(keys, told.signs, strict=True)}
    return StoryVerdict(told.drifting, signs, tuple(keys[place] for place in told.speaking))


def _refuse_misfits(key: str, given: Series, days: int) -> None:
    if key not in WATCHES:
        raise ValueError(f"no trend of {key!r} is known; known: {', '.join(WATCHES)}")
    for name in ("values", "flows", "gauges", "segments"):
        length = len(getattr(given, name))
        if length != days and (length or name == "values"):
            raise ValueError(f"{key}: {name} has {length} entries for {days} days")


def _in_order(given: Series, order: list[int]) -> Series:
    return Series(
        values=_picked(given.values, order),
        flows=_picked(given.flows, order),
        gauges=_picked(given.gauges, order),
        segments=_picked(given.segments, order),
    )


def _picked(given: Sequence[T | None], order: list[int]) -> list[T | None]:
    return [given[place] if given else None for place in order]


def _prepared(key: str, given: Series) -> tuple[FloatArray, FloatArray, np.ndarray[Any, Any], float]:
    """Values, expected change by flow, numbers of the segments, and the flow at which levels hold, else NaN."""
    values, flows, gauges = (_floats(part) for part in (given.values, given.flows, given.gauges))
    segment = segments(_numbered(given.segments), gauges)
    if key not in SLOPES and key != "clearance":
        return values, np.zeros(values.size), segment, math.nan
    reference = usual_flow(flows_ml_min=np.where(np.isfinite(values), flows, np.nan)).number
    if reference is None:
        # Without any flow nothing is comparable: each night is left out, and the verdict says so.
        return np.full(values.size, np.nan), np.zeros(values.size), segment, math.nan
    if key == "clearance":
        change = CLEARANCE_SLOPE * (flows - reference)
    else:
        change = expected_change(flows_ml_min=flows, reference_ml_min=reference, gauge=gauges, side=key).value
    return values, change, segment, reference


def _floats(given: Sequence[float | None]) -> FloatArray:
    return np.array([math.nan if value is None else value for value in given], dtype=np.float64)


def _numbered(labels: Sequence[Hashable | None]) -> FloatArray:
    """Labels as numbers, equal for equal ones."""
    number: dict[Hashable, int] = {}
    return _floats([None if label is None else number.setdefault(label, len(number)) for label in labels])


def _plain(line: FloatArray) -> list[float | None]:
    return [round(float(value), 3) if math.isfinite(value) else None for value in line]


def _date(day: float) -> date | None:
    return None if math.isnan(day) else date.fromordinal(int(day))
