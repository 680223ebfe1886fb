"""The treatment document: the form in which a record comes in, judged whole.

Reads what the phone, a program or a bulk upload sends and yields the canonical document that
`services.recording` keeps: every field present (null or empty where not given), times as UTC text. Texts may hold
codes of ready-made words (`sessions.texts.ready`), which are kept as they come and put into words when read.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.core.serializers.json import DjangoJSONEncoder
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from homedialysis.accounts.services.dates import short_day, told_day
from sessions.facts import plausible
from sessions.facts.choices import (
    BloodReturn,
    CheckPart,
    DialyserLook,
    EarlyReason,
    EventKind,
    EventOutcome,
    HelpCalled,
    NeedleKind,
    PlanChoice,
    RecordSource,
    RecordState,
    SiteUse,
)
from sessions.facts.fields import CHECK, EVENT, EVENT_MOMENTS, MEDICINE, READING, SITE, TREATMENT, Field
from sessions.facts.local_number import plain
from sessions.facts.ranges import Range
from sessions.models import AccessSite, Patient
from sessions.models.local_time import zone_of
from sessions.texts.ready import coded

SERVER_MADE = frozenset(
    {"id", "patient", "revision", "etag", "night", "received_at", "clock_offset_s", "entered_by", "marks"}
)
"""What the server adds to its answers: may be sent back, and is ignored."""
LOOSE_MINUTES = 180
"""How far outside start and end a reading or an event may lie (checks before, bleeding after)."""
EARLY_MINUTES = 720
"""How long before the start checks, needles and steps may lie: setting up is interrupted, and begun again."""
WRITTEN_IN_MINUTES = timedelta(minutes=1)
"""Times are put right by the minute: what contradicts another one by seconds alone is no reason to lose a record."""
MOST_ROWS = 500
TIMED = ("readings", "events", "medicines", "steps")
SET_UP = ("checks", "sites", "steps")
MOST_VERSIONS = 1_000_000


class PlainNumber(serializers.FloatField):
    """A finite JSON number. A text such as "7_2" or "nan" would pass as one, an integer of 400 digits as none."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float) or not _is_finite(data):
            self.fail("invalid")
        return float(data)


def _is_finite(number: float) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


class LimitedNumber(PlainNumber):
    """A number inside its hard limits; null when not given."""

    def __init__(self, limits: Range) -> None:
        self.limits = limits
        help_text = f"{limits.label} [{limits.unit or '1'}], {limits.hard[0]:g} to {limits.hard[1]:g}"
        super().__init__(
            required=False,
            allow_null=True,
            default=None,
            help_text=help_text,
            error_messages={"invalid": limits.needed},
        )

    def __deepcopy__(self, memo: Mapping[Any, Any]) -> LimitedNumber:
        return LimitedNumber(self.limits)

    def to_internal_value(self, data: Any) -> float:
        number = super().to_internal_value(data)
        if why := self.limits.refusal(number):
            raise serializers.ValidationError(why)
        return number


@extend_schema_field(OpenApiTypes.INT)
class WholeNumber(LimitedNumber):
    """A counted number inside its hard limits; null when not given."""

    default_error_messages: ClassVar = {"fraction": _("A whole number is needed; {given:g} was given.")}

    def __deepcopy__(self, memo: Mapping[Any, Any]) -> WholeNumber:
        return WholeNumber(self.limits)

    def to_internal_value(self, data: Any) -> int:
        number = super().to_internal_value(data)
        if not number.is_integer():
            self.fail("fraction", given=number)
        return int(number)


class MomentField(serializers.DateTimeField):
    """A time with its zone: the clock alone would be read differently at the bedside and at the unit."""

    default_error_messages: ClassVar = {
        "no_zone": _("A time needs its zone, such as 2026-03-02T21:30:00+01:00."),
        "too_early": _("A time must not lie before {earliest}; {given} was given."),
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_zone")
        if (moment := super().enforce_timezone(value)) < plausible.EARLIEST:
            self.fail("too_early", given=value, earliest=short_day(plausible.EARLIEST))
        return moment


class KnownFields(serializers.Serializer[Any]):
    """Refuses fields it does not know: a misspelt one would otherwise be lost without a word."""

    ignored: ClassVar[frozenset[str]] = frozenset()
    numbers: ClassVar[Mapping[str, Field]] = {}
    """The declared numbers that it holds besides."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return super().get_fields() | {
            name: (WholeNumber if field.whole else LimitedNumber)(field) for name, field in self.numbers.items()
        }

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            strange = set(data) - set(self.fields) - self.ignored
            if strange:
                raise serializers.ValidationError(
                    {str(name): gettext("There is no such field.") for name in sorted(strange)}
                )
        return super().to_internal_value(data)


def _text(max_length: int) -> serializers.CharField:
    return serializers.CharField(required=False, allow_blank=True, default="", max_length=max_length)


def _one_of(choices: list[tuple[str, Any]]) -> serializers.ChoiceField:
    return serializers.ChoiceField(choices=choices, required=False, allow_blank=True, default="")


def _yes_or_no() -> serializers.BooleanField:
    return serializers.BooleanField(required=False, allow_null=True, default=None)


def _when_known() -> MomentField:
    return MomentField(required=False, allow_null=True, default=None)


def _version(help_text: str) -> serializers.IntegerField:
    return serializers.IntegerField(
        required=False, allow_null=True, default=None, min_value=0, max_value=MOST_VERSIONS, help_text=help_text
    )


class RowPart(KnownFields):
    """A row of a list. `id`: the sender's own name of it, by which two phones on one night know each other's rows."""

    id = serializers.CharField(required=False, max_length=80)


class ReadingPart(RowPart):
    numbers = READING

    at = MomentField()


class EventPart(RowPart):
    numbers = EVENT

    at = MomentField()
    kind = serializers.ChoiceField(choices=EventKind.choices)
    note = _text(2000)
    paused_at = _when_known()
    resumed_at = _when_known()
    ended_at = _when_known()
    outcome = _one_of(EventOutcome.choices)
    called = _one_of(HelpCalled.choices)
    use = _one_of(SiteUse.choices)


class MedicinePart(RowPart):
    numbers = MEDICINE

    at = MomentField()
    name = serializers.CharField(max_length=80)
    unit = _text(20)
    note = _text(2000)


class CheckEntry(RowPart):
    numbers = CHECK

    name = serializers.CharField(max_length=80)
    key = _text(40)
    part = _one_of(CheckPart.choices)
    passed = serializers.BooleanField()
    unit = _text(20)
    note = _text(2000)
    overruled = serializers.BooleanField(required=False, default=False)
    reason = _text(2000)
    at = _when_known()

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        if data["overruled"] and not data["reason"].strip():
            why = gettext("“%(check)s” was overruled: say why. No reason was given.")
            raise serializers.ValidationError({"reason": why % {"check": data["name"]}})
        return data


class SitePart(RowPart):
    numbers = SITE

    site = serializers.IntegerField(min_value=1)
    use = serializers.ChoiceField(choices=SiteUse.choices)
    needle = _one_of(NeedleKind.choices)
    flash = _yes_or_no()
    flushed = _yes_or_no()
    note = _text(2000)
    at = _when_known()


class StepPart(RowPart):
    at = MomentField()
    key = _text(40)
    words = _text(500)


class StockPart(RowPart):
    """How many of one thing in stock were used up."""

    item = serializers.IntegerField(min_value=1)
    count = serializers.IntegerField(min_value=0, max_value=1000)


def _listed(part: type[serializers.Serializer[Any]]) -> serializers.ListSerializer[Any]:
    return part(many=True, required=False, default=list, max_length=MOST_ROWS)  # type: ignore[call-arg,return-value]


class TreatmentDocument(KnownFields):
    """Needs `patient` (Patient) and `now` (aware datetime) in its context."""

    ignored = SERVER_MADE
    numbers = TREATMENT

    status = serializers.ChoiceField(choices=RecordState.choices)
    source = _one_of(RecordSource.choices)  # type: ignore[assignment]
    started_at = MomentField()
    ended_at = MomentField(required=False, allow_null=True, default=None)
    readings = _listed(ReadingPart)
    events = _listed(EventPart)
    medicines = _listed(MedicinePart)
    checks = _listed(CheckEntry)
    sites = _listed(SitePart)
    steps = _listed(StepPart)
    used_stock = _listed(StockPart)
    plan_choice = _one_of(PlanChoice.choices)
    dialyser_look = _one_of(DialyserLook.choices)
    blood_return = _one_of(BloodReturn.choices)
    early_reason = _one_of(EarlyReason.choices)
    disinfected = _yes_or_no()
    checklist_version = _version("Of the unit's checks; 0 is the list that comes with the program.")
    run_sheet_version = _version("Of the run sheet; 0 is the one that comes with the program.")
    prescription_version = _version("Which prescription the phone had.")
    notes = _text(10000)
    confirmed = serializers.ListField(
        child=serializers.CharField(max_length=80),
        required=False,
        default=list,
        max_length=MOST_ROWS,
        help_text="Paths of unusual numbers that the person was asked about once more and confirmed.",
    )

    def validate_sites(self, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
        patient: Patient = self.context["patient"]
        known = AccessSite.objects.filter(access__patient=patient).values_list("pk", "name")
        own = dict(known) if rows else {}
        words = gettext("Site %(site)s is not one of this patient's.")
        faults = [{} if row["site"] in own else {"site": words % {"site": row["site"]}} for row in rows]
        faults = faults if any(faults) else _faults_of_one_place(rows, own)
        if any(faults):
            raise serializers.ValidationError(faults)
        return rows

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        faults: dict[str, Any] = {}
        zone = zone_of(self.context["patient"])
        faults |= _faults_of_a_mistake(data)
        faults |= _faults_of_length(data, self.context["now"], zone)
        faults |= _faults_of_pressure(data)
        if not faults:
            faults |= _faults_of_times(data, zone)
        if faults:
            raise serializers.ValidationError(faults)
        return data


def canonical(validated: dict[str, Any]) -> dict[str, Any]:
    """Validated data as plain JSON: times in UTC, rows in order of time, `confirmed` naming them where they are now."""
    in_order = dict(validated)
    for name in TIMED:
        rows = validated[name]
        order = sorted(range(len(rows)), key=lambda index: rows[index]["at"])
        in_order[name] = [rows[index] for index in order]
        moves = {before: after for after, before in enumerate(order)}
        in_order["confirmed"] = plausible.moved_paths(in_order["confirmed"], name, moves)
    return dict(json.loads(json.dumps(_in_utc(in_order), cls=DjangoJSONEncoder)))


def _in_utc(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, Mapping):
        return {name: _in_utc(inner) for name, inner in value.items()}
    return [_in_utc(inner) for inner in value] if isinstance(value, list) else value


def _clock(moment: datetime, zone: ZoneInfo) -> str:
    """A time as the patient's wall clock shows it."""
    return told_day(moment.astimezone(zone), "j M Y, H:i")


def _faults_of_one_place(rows: list[dict[str, Any]], names: Mapping[int, str]) -> list[dict[str, str]]:
    """Two needles that are in at once need two places; for a use stands its last row, unless that was given up."""
    in_use = {row["use"]: at for at, row in enumerate(rows)}
    standing = [at for at in in_use.values() if coded("given_up") not in rows[at]["note"]]
    taken: dict[int, int] = {}
    faults: list[dict[str, str]] = [{} for _row in rows]
    words = gettext("Two needles need two places: %(site)s was given for both, blood out and blood back.")
    for at in sorted(standing):
        site = rows[at]["site"]
        if taken.setdefault(site, at) != at:
            faults[at] = {"site": words % {"site": names[site]}}
    return faults


HAPPENED = ("readings", "events", "medicines")
"""Lists whose rows say that a treatment was done."""


def _faults_of_a_mistake(data: dict[str, Any]) -> dict[str, str]:
    """What was noted during a treatment cannot be taken away by calling it a mistake."""
    noted = next((name for name in HAPPENED if data[name]), None)
    if data["status"] != RecordState.MISTAKEN or noted is None:
        return {}
    words = gettext("A record in which %(what)s were noted was not begun by mistake: end it instead.")
    names = {"readings": gettext("readings"), "events": gettext("events"), "medicines": gettext("medicines")}
    return {"status": words % {"what": names[noted]}}


def _faults_of_length(data: dict[str, Any], now: datetime, zone: ZoneInfo) -> dict[str, str]:
    start, end = data["started_at"], data["ended_at"]
    latest = now + timedelta(minutes=plausible.MINUTES_BETWEEN_FUTURE_AND_NOW)
    if start > latest:
        words = gettext("The start lies more than a day ahead of the server's time, %(time)s.")
        return {"started_at": words % {"time": _clock(now, zone)}}
    if end is None:
        if data["status"] != RecordState.FINISHED:
            return {}
        return {"ended_at": gettext("A record that is handed over needs the time at which the treatment ended.")}
    minutes = (end - start).total_seconds() / 60
    why = plausible.MINUTES_OF_TREATMENT.refusal(minutes)
    if not why:
        return {}
    span = gettext("(from %(start)s to %(end)s)") % {"start": _clock(start, zone), "end": _clock(end, zone)}
    return {"ended_at": f"{why} {span}"}


def _faults_of_pressure(data: dict[str, Any]) -> dict[str, Any]:
    faults: dict[str, Any] = {}
    for when in ("pre", "pre_standing", "post", "post_standing"):
        faults |= _upside_down(data[f"{when}_systolic"], data[f"{when}_diastolic"], f"{when}_diastolic")
    for name in ("readings", "events"):
        rows = [_upside_down(row["systolic"], row["diastolic"], "diastolic") for row in data[name]]
        faults |= {name: rows} if any(rows) else {}
    return faults


def _upside_down(systolic: float | None, diastolic: float | None, field: str) -> dict[str, str]:
    if systolic is None or diastolic is None or diastolic < systolic:
        return {}
    words = gettext("Diastolic pressure must be below the systolic %(systolic)s mmHg; %(given)s was given.")
    return {field: words % {"systolic": plain(systolic), "given": plain(diastolic)}}


def _faults_of_times(data: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    loose = timedelta(minutes=LOOSE_MINUTES)
    last = (data["ended_at"] or data["started_at"] + timedelta(minutes=plausible.MINUTES_OF_TREATMENT.hard[1])) + loose
    faults: dict[str, Any] = {}
    for name in {*TIMED, *SET_UP}:
        first = data["started_at"] - (timedelta(minutes=EARLY_MINUTES) if name in SET_UP else loose)
        rows: list[dict[str, str]] = []
        seen: set[datetime] = set()
        for row in data[name]:
            outside = row["at"] is not None and not first <= row["at"] <= last
            fault = gettext("%(time)s lies outside this treatment.") if outside else ""
            if name == "readings" and row["at"] in seen:
                fault = gettext("Two readings at %(time)s: keep one.")
            seen.add(row["at"])
            found = {"at": fault % {"time": _clock(row["at"], zone)}} if fault else {}
            rows.append(found or _faults_of_course(row, last, zone))
        if any(rows):
            faults[name] = rows
    return faults


def _faults_of_course(row: dict[str, Any], last: datetime, zone: ZoneInfo) -> dict[str, str]:
    """The times of an event that was gone through end with the treatment, as it does, and come in their order."""
    known = {name: row[name] for name in ("at", *EVENT_MOMENTS) if row.get(name)}
    outside = gettext("%(time)s lies outside this treatment.")
    faults = {name: outside % {"time": _clock(moment, zone)} for name, moment in known.items() if moment > last}
    if faults:
        return faults
    early = gettext("%(time)s lies before %(earlier)s, which comes before it.")
    return {
        name: early % {"time": _clock(moment, zone), "earlier": _clock(earlier, zone)}
        for (_before, earlier), (name, moment) in pairwise(known.items())
        if earlier - moment >= WRITTEN_IN_MINUTES
    }
