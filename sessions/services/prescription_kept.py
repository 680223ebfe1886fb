"""What another schedule leaves as it was ordered, although it was ordered for the schedule of now.

Nothing of it is changed by anybody but the person who signs: it is named, with why to look at it again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from sessions.facts.choices import Anticoagulant
from sessions.facts.local_number import plain
from sessions.facts.ordered import ANTICOAGULATION, ORDERED
from sessions.models import Prescription
from sessions.services.prescription_lines import OrderedLine, in_hours, line_of

HOURS_MATTER = 0.1
"""Relative change of the hours a week from which the dialysate is named (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One field that stays as it is ordered, as people read it, and why it may no longer fit."""

    name: str
    line: OrderedLine
    why: str


@dataclass(frozen=True, slots=True)
class _Schedules:
    """The prescription of now beside what would be another schedule: its values by field, the others as now."""

    now: Prescription
    values: Mapping[str, Any]

    def new(self, name: str) -> Any:
        return self.values.get(name, getattr(self.now, name))

    def changed(self, name: str) -> bool:
        return bool(self.new(name) != getattr(self.now, name))

    def hours(self, *, new: bool) -> float:
        """Hours a week."""
        of = self.new if new else lambda name: getattr(self.now, name)
        return float(of("days_per_week") * of("minutes") / 60)


def _length(both: _Schedules) -> str:
    if not both.changed("minutes"):
        return ""
    lengths = {"now": in_hours(both.now.minutes), "new": in_hours(int(both.new("minutes")))}
    return _("ordered for %(now)s a treatment; the new length is %(new)s") % lengths


def _week(both: _Schedules) -> str:
    now, new = both.hours(new=False), both.hours(new=True)
    if abs(new - now) < HOURS_MATTER * now:
        return ""
    return _("ordered for %(now)s h a week; the new schedule has %(new)s h") % {
        "now": plain(round(now, 1)),
        "new": plain(round(new, 1)),
    }


def _fluid(both: _Schedules) -> str:
    if not (both.changed("minutes") or both.changed("days_per_week")):
        return ""
    return _("the fluid of a treatment and its hours change; this does not")


def _flow(both: _Schedules) -> str:
    if not both.changed("qb_ml_min"):
        return ""
    flows = {"now": plain(both.now.qb_ml_min), "new": plain(both.new("qb_ml_min"))}
    return _("ordered for a blood flow of %(now)s mL/min; the new one is %(new)s") % flows


RESTS_ON: dict[str, Callable[[_Schedules], str]] = {
    "bolus_units": _length,
    "rate_units_h": _length,
    "stop_minutes_before_end": _length,
    "dialysate_k_mmol_l": _week,
    "dialysate_ca_mmol_l": _week,
    "dialysate_buffer_mmol_l": _week,
    "uf_rate_limit_ml_kg_h": _fluid,
    "target_weight_kg": _fluid,
    "needle_gauge": _flow,
    "reading_interval_minutes": _length,
}
"""What was ordered with the schedule in mind, and of which part of the schedule."""


ASKED = (
    "max_minutes", "bolus_units", "rate_units_h", "stop_minutes_before_end", "needle_gauge", "dialysate_k_mmol_l",
    "dialysate_ca_mmol_l", "dialysate_buffer_mmol_l",
)  # fmt: skip
"""What a draft asks for besides its schedule, in the order of the page."""
MAY_BE_NONE = frozenset({"bolus_units", "rate_units_h", "stop_minutes_before_end", "needle_gauge"})
MANY_HOURS = 24
"""Hours a week from which phosphate is asked about (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class DraftQuestion:
    """What may have to change with a schedule: the field of the prescription, what it would be, and why it is asked."""

    name: str
    stays: float | None
    why: str


def questions_of(now: Prescription, values: Mapping[str, Any]) -> list[DraftQuestion]:
    """What a schedule of these values asks for besides, each with what it is now."""
    both = _Schedules(now, values)
    return [
        DraftQuestion(name, both.new(name) if name == "max_minutes" else getattr(now, name), why)
        for name in ASKED
        if (why := _asked_because(name, both))
    ]


def _asked_because(name: str, both: _Schedules) -> str:
    if name == "max_minutes":
        return _headroom(both) if both.changed("minutes") else ""
    if ORDERED[name].group == ANTICOAGULATION and both.now.anticoagulant != Anticoagulant.HEPARIN:
        return ""
    if name == "rate_units_h" and both.now.rate_units_h is None and both.new("minutes") > both.now.minutes:
        bolus = {"new": in_hours(int(both.new("minutes"))), "now": in_hours(both.now.minutes)}
        return _("one bolus was ordered for %(now)s; through %(new)s a rate may hold where a bolus does not") % bolus
    return RESTS_ON[name](both) if _given(both.now, name) else ""


def _headroom(both: _Schedules) -> str:
    spare = {"minutes": round(both.new("max_minutes") - both.new("minutes"))}
    return _("%(minutes)s min over the new length, for nights that begin late or stop for an alarm") % spare


def phosphate_asked(now: Prescription, values: Mapping[str, Any]) -> bool:
    """Whether so many more hours a week come that phosphate may have to be given, in the dialysate or by mouth."""
    both = _Schedules(now, values)
    return both.hours(new=True) >= MANY_HOURS and both.hours(new=True) > both.hours(new=False)


def kept_by(now: Prescription, values: Mapping[str, Any]) -> list[Kept]:
    """What stays as ordered under a schedule of these values, by field of the prescription; see `PrescriptionDraft`."""
    both = _Schedules(now, values)
    found = []
    for name, why_of in RESTS_ON.items():
        why = "" if name in values or not _given(now, name) else why_of(both)
        if why:
            found.append(Kept(name, line_of(now, name), why))
    return found


def _given(now: Prescription, name: str) -> bool:
    without = now.anticoagulant == Anticoagulant.NONE and ORDERED[name].group == ANTICOAGULATION
    return getattr(now, name) is not None and not without
