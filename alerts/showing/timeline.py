"""A patient's months on one axis: pressures of the nights, and below them alerts, prescriptions, bloods and access.

So that a pressure that rises is seen beside the needle change that explains it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from alerts.models import Alert
from alerts.showing.alert_words import title_of
from alerts.showing.plotly_figures import INK, LIMIT, LINE_1, LINE_2, SOFT, days_axis
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.treatments import ComputedNight, nights_of
from dosing.services.results.blood_history import changes_of
from homedialysis.accounts.services.dates import short_day, told_day
from sessions.facts.local_number import plain
from sessions.facts.ordered import NUMBERS
from sessions.models import BloodResult, Patient, Prescription, VascularAccess
from sessions.models.local_time import on_wall

LANES = {"access": _("Access"), "bloods": _("Bloods"), "prescription": _("Prescription"), "alerts": _("Alerts")}
SYMBOLS = {"access": "diamond", "bloods": "circle", "prescription": "square", "alerts": "triangle-up"}
COLOURS = {"access": INK, "bloods": SOFT, "prescription": LINE_2, "alerts": LIMIT}
MARKED = ("access", "prescription")
"""Lanes whose moments are drawn through the pressures as well."""
WATCHED = {
    "needle_gauge": _("needles, G"),
    "qb_ml_min": _("blood flow, mL/min"),
    "qd_ml_min": _("dialysate flow, mL/min"),
    "minutes": _("minutes"),
    "days_per_week": _("treatments a week"),
    "target_weight_kg": _("target weight, %(unit)s"),
    "uf_rate_limit_ml_kg_h": _("UF rate limit, mL/kg/h"),
    "dialyser_id": _("dialyser"),
}
PRESSURES = {"venous_median": (LINE_1, "circle"), "arterial_median": (LINE_2, "square")}
NOON = time(12)


@dataclass(frozen=True, slots=True)
class MomentOnTheLine:
    """Something that happened. lane: a key of LANES; link: the page that tells more, or ""."""

    at: datetime
    lane: str
    words: str
    link: str = ""

    @property
    def lane_words(self) -> str:
        return str(LANES[self.lane])


@dataclass(frozen=True, slots=True)
class TimeLine:
    """The nights and everything beside them, oldest first."""

    since: datetime
    until: datetime
    nights: Sequence[ComputedNight]
    moments: Sequence[MomentOnTheLine]

    @property
    def empty(self) -> bool:
        return not self.nights and not self.moments


def time_line_of(patient: Patient, *, since: datetime, until: datetime, zone: ZoneInfo, link: Any) -> TimeLine:
    """Read it all: seven queries. link: (alert) -> address."""
    nights = nights_of(patient.pk, since=since, until=until)
    moments = [
        *_alerts(patient, since, until, link),
        *_prescriptions(patient),
        *_bloods(patient, since, until),
        *_bloods_put_right(patient),
        *_access(patient, zone),
        *_techniques(nights),
    ]
    inside = (moment for moment in moments if since <= moment.at < until)
    return TimeLine(since, until, nights, sorted(inside, key=lambda moment: (moment.at, moment.lane)))


def _alerts(patient: Patient, since: datetime, until: datetime, link: Any) -> Iterator[MomentOnTheLine]:
    for alert in Alert.objects.filter(patient=patient, opened_at__gte=since, opened_at__lt=until):
        parts = {"title": title_of(alert), "outcome": alert.get_outcome_display()}
        words = gettext("%(title)s (open)") if alert.is_open else gettext("%(title)s (closed: %(outcome)s)")
        yield MomentOnTheLine(alert.opened_at, "alerts", words % parts, link(alert))


def _prescriptions(patient: Patient) -> Iterator[MomentOnTheLine]:
    orders = list(Prescription.objects.filter(patient=patient).select_related("dialyser").order_by("version"))
    if orders:
        words = gettext("Prescription %(version)s") % {"version": orders[0].version}
        yield MomentOnTheLine(orders[0].in_force.lower, "prescription", words)
    for before, after in itertools.pairwise(orders):
        changed = ", ".join(_differences(before, after)) or gettext("no figure changed")
        words = gettext("Prescription %(version)s: %(changed)s") % {"version": after.version, "changed": changed}
        yield MomentOnTheLine(after.in_force.lower, "prescription", words)


def _differences(before: Prescription, after: Prescription) -> Iterator[str]:
    for name, words in WATCHED.items():
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            if name == "dialyser_id":
                old, new = before.dialyser.name, after.dialyser.name
            weight = NUMBERS["target_weight_kg"]
            if name == "target_weight_kg":
                old, new = (round(weight.told.of(each), 1) for each in (old, new))
            what = str(words) % {"unit": weight.unit_told}
            parts = {"what": what, "before": _shown(old), "after": _shown(new)}
            yield gettext("%(what)s %(before)s to %(after)s") % parts


def _shown(value: Any) -> str:
    if value is None:
        return gettext("none")
    return plain(value) if isinstance(value, float | int) else str(value)


def _bloods(patient: Patient, since: datetime, until: datetime) -> Iterator[MomentOnTheLine]:
    """One moment for each drawing."""
    rows = BloodResult.with_bounds.filter(patient=patient, drawn_at__gte=since, drawn_at__lt=until).order_by("drawn_at")
    for drawn_at, results in itertools.groupby(rows, key=lambda row: row.drawn_at):
        names = sorted({str(row.get_analyte_display()) for row in results})
        yield MomentOnTheLine(drawn_at, "bloods", gettext("Bloods: %(names)s") % {"names": ", ".join(names)})


def _bloods_put_right(patient: Patient) -> Iterator[MomentOnTheLine]:
    """Each result that was corrected or taken back, when that was, and why."""
    for change in changes_of(patient):
        words = (
            gettext("%(name)s of %(drawn)s: %(was)s corrected to %(became)s")
            if change.became
            else gettext("%(name)s of %(drawn)s: %(was)s taken back")
        )
        parts = {"name": change.label, "drawn": short_day(timezone.localdate(change.drawn_at))}
        told = words % (parts | {"was": change.was, "became": change.became})
        yield MomentOnTheLine(change.at, "bloods", f"{told}: “{change.why}”" if change.why else told)


def _access(patient: Patient, zone: ZoneInfo) -> Iterator[MomentOnTheLine]:
    for access in VascularAccess.objects.filter(patient=patient):
        yield MomentOnTheLine(
            _noon(access.created_on, zone), "access", gettext("Access made: %(access)s") % {"access": access}
        )
        if access.abandoned_on:
            yield MomentOnTheLine(
                _noon(access.abandoned_on, zone), "access", gettext("Access given up: %(access)s") % {"access": access}
            )


def _techniques(nights: Sequence[ComputedNight]) -> Iterator[MomentOnTheLine]:
    """Where the needles' size changes with the prescription that a night was treated by."""
    sized = [night for night in nights if night.prescription and night.prescription.needle_gauge]
    for before, after in itertools.pairwise(sized):
        old, new = before.prescription, after.prescription
        if old and new and old.needle_gauge != new.needle_gauge:
            parts = {"before": old.needle_gauge, "after": new.needle_gauge}
            words = gettext("Needles %(before)s G to %(after)s G, first used") % parts
            yield MomentOnTheLine(after.record.started_at, "access", words)


def _noon(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, NOON, zone)


def figure_of(line: TimeLine) -> dict[str, Any]:
    """A Plotly figure: pressures above, one lane for each kind of moment below, on one axis of time."""
    return {
        "data": [*_pressures(line.nights), *(_lane(name, line.moments) for name in LANES)],
        "layout": {
            "margin": {"l": 92, "r": 12, "t": 8, "b": 52},
            "height": 460,
            "hovermode": "closest",
            "showlegend": True,
            "legend": {"orientation": "h", "y": 1.08},
            "xaxis": days_axis(_walls(line), within=(line.since, line.until)) | {"anchor": "y2"},
            "yaxis": _upper(line),
            "yaxis2": {
                "domain": [0, 0.34],
                "type": "category",
                "categoryorder": "array",
                "categoryarray": [str(words) for words in LANES.values()],
                "range": [-0.6, len(LANES) - 0.4],
                "fixedrange": True,
            },
            "shapes": [_through(moment) for moment in line.moments if moment.lane in MARKED],
        },
    }


def _upper(line: TimeLine) -> dict[str, Any]:
    """The axis of the pressures: none where there is no pressure, for it would name numbers that nobody measured."""
    known = any(night.value(key) is not None for night in line.nights for key in PRESSURES)
    return {"domain": [0.42, 1], "title": {"text": "mmHg"}, "zeroline": False, "visible": known}


def _walls(line: TimeLine) -> list[str]:
    return [on_wall(night.record.started_at) for night in line.nights] + [on_wall(each.at) for each in line.moments]


def _pressures(nights: Sequence[ComputedNight]) -> Iterator[dict[str, Any]]:
    for key, (colour, symbol) in PRESSURES.items():
        yield {
            "type": "scatter",
            "name": NIGHT_NUMBERS[key].short,
            "x": [on_wall(night.record.started_at) for night in nights],
            "y": [night.value(key) for night in nights],
            "mode": "lines+markers",
            "line": {"color": colour, "width": 2},
            "marker": {"color": colour, "size": 5, "symbol": symbol},
            "connectgaps": False,
            "text": [_read(night, key) for night in nights],
            "hovertemplate": "%{text}<extra></extra>",
        }


def _read(night: ComputedNight, key: str) -> str:
    """What the pointer shows: day, figure and unit."""
    figure = night.figure(key)
    return f"{_day(night.record.started_at)}<br>{NIGHT_NUMBERS[key].short}: {figure.shown} {figure.unit}"


def _day(at: datetime) -> str:
    return told_day(timezone.localtime(at), "D j M Y, H:i")


def _lane(name: str, moments: Iterable[MomentOnTheLine]) -> dict[str, Any]:
    own = [moment for moment in moments if moment.lane == name]
    return {
        "type": "scatter",
        "name": str(LANES[name]),
        "x": [on_wall(moment.at) for moment in own],
        "y": [str(LANES[name])] * len(own),
        "yaxis": "y2",
        "mode": "markers",
        "marker": {"symbol": SYMBOLS[name], "size": 11, "color": COLOURS[name]},
        "text": [f"{_day(moment.at)}<br>{moment.words}" for moment in own],
        "hovertemplate": "%{text}<extra></extra>",
        "showlegend": False,
        "cliponaxis": False,
    }


def _through(moment: MomentOnTheLine) -> dict[str, Any]:
    at = on_wall(moment.at)
    line = {"color": COLOURS[moment.lane], "width": 1, "dash": "dot"}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": at, "x1": at, "y0": 0, "y1": 1, "line": line}
