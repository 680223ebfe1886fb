"""The treatment document: the form in which a record comes in, judged whole.

Reads what the phone, a program or a bulk upload sends and yields the canonical document that
`services.recording` keeps: every field present (null or empty where not given), times as UTC text.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.core.serializers.json import DjangoJSONEncoder
from rest_framework import serializers

from sessions import plausible
from sessions.choices import EventKind, RecordState, SiteUse
from sessions.local_time import zone_of
from sessions.models import AccessSite, Patient
from sessions.plausible import Range

SERVER_MADE = frozenset({"id", "patient", "revision", "night", "received_at", "marks"})
"""What the server adds to its answers: may be sent back, and is ignored."""
LOOSE_MINUTES = 180
"""How far outside start and end a reading or an event may lie (checks before, bleeding after)."""
MOST_ROWS = 500
TIMED = ("readings", "events", "medicines")


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
            error_messages={"invalid": f"{limits.label}: a number is needed, in {limits.unit or 'plain units'}."},
        )

    def __deepcopy__(self, memo: Mapping[Any, Any]) -> LimitedNumber:
        return LimitedNumber(self.limits)

    def to_internal_value(self, data: Any) -> float:
        number = super().to_internal_value(data)
        if why := self.limits.refusal(number):
            raise serializers.ValidationError(why)
        return number


class Moment(serializers.DateTimeField):
    """A time with its zone: the clock alone would be read differently at the bedside and at the unit."""

    default_error_messages: ClassVar = {
        "no_zone": "A time needs its zone, such as 2026-03-02T21:30:00+01:00.",
        "too_early": f"A time must not lie before {plausible.EARLIEST:%Y-%m-%d}; {{given}} was given.",
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_zone")
        if (moment := super().enforce_timezone(value)) < plausible.EARLIEST:
            self.fail("too_early", given=value)
        return moment


class KnownFields(serializers.Serializer[Any]):
    """Refuses fields it does not know: a misspelt one would otherwise be lost without a word."""

    ignored: ClassVar[frozenset[str]] = frozenset()
    numbers: ClassVar[dict[str, Range]] = {}
    """Fields that hold a number, with their limits."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        return super().get_fields() | {name: LimitedNumber(limits) for name, limits in self.numbers.items()}

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            strange = set(data) - set(self.fields) - self.ignored
            if strange:
                raise serializers.ValidationError({str(name): "There is no such field." for name in sorted(strange)})
        return super().to_internal_value(data)


def _text(max_length: int) -> serializers.CharField:
    return serializers.CharField(required=False, allow_blank=True, default="", max_length=max_length)


class ReadingPart(KnownFields):
    numbers = plausible.READING

    at = Moment()


class EventPart(KnownFields):
    at = Moment()
    kind = serializers.ChoiceField(choices=EventKind.choices)
    note = _text(2000)


class MedicinePart(KnownFields):
    numbers = plausible.MEDICINE

    at = Moment()
    name = serializers.CharField(max_length=80)
    unit = _text(20)
    note = _text(2000)


class CheckPart(KnownFields):
    numbers = plausible.CHECK

    name = serializers.CharField(max_length=80)
    passed = serializers.BooleanField()
    unit = _text(20)
    note = _text(2000)


class SitePart(KnownFields):
    numbers: ClassVar = {"bleeding_minutes": plausible.SITE["bleeding_minutes"]}

    site = serializers.IntegerField(min_value=1)
    use = serializers.ChoiceField(choices=SiteUse.choices)
    attempts = serializers.IntegerField(required=False, allow_null=True, default=None)

    def validate_attempts(self, given: int | None) -> int | None:
        if given is not None and (why := plausible.SITE["attempts"].refusal(given)):
            raise serializers.ValidationError(why)
        return given


def _listed(part: type[serializers.Serializer[Any]]) -> serializers.ListSerializer[Any]:
    return part(many=True, required=False, default=list, max_length=MOST_ROWS)  # type: ignore[call-arg,return-value]


class TreatmentDocument(KnownFields):
    """Needs `patient` (Patient) and `now` (aware datetime) in its context."""

    ignored = SERVER_MADE
    numbers = plausible.TREATMENT

    status = serializers.ChoiceField(choices=RecordState.choices)
    started_at = Moment()
    ended_at = Moment(required=False, allow_null=True, default=None)
    readings = _listed(ReadingPart)
    events = _listed(EventPart)
    medicines = _listed(MedicinePart)
    checks = _listed(CheckPart)
    sites = _listed(SitePart)
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
        own = set(AccessSite.objects.filter(access__patient=patient).values_list("pk", flat=True)) if rows else set()
        faults = [
            {} if row["site"] in own else {"site": f"Site {row['site']} is not one of this patient's."} for row in rows
        ]
        if any(faults):
            raise serializers.ValidationError(faults)
        return rows

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        faults: dict[str, Any] = {}
        zone = zone_of(self.context["patient"])
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
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"


def _faults_of_length(data: dict[str, Any], now: datetime, zone: ZoneInfo) -> dict[str, str]:
    start, end = data["started_at"], data["ended_at"]
    latest = now + timedelta(minutes=plausible.MINUTES_BETWEEN_FUTURE_AND_NOW)
    if start > latest:
        return {"started_at": f"The start lies more than a day ahead of the server's time, {_clock(now, zone)}."}
    if end is None:
        finished = data["status"] == RecordState.FINISHED
        return (
            {"ended_at": "A record that is handed over needs the time at which the treatment ended."}
            if finished
            else {}
        )
    minutes = (end - start).total_seconds() / 60
    why = plausible.MINUTES_OF_TREATMENT.refusal(minutes)
    return {"ended_at": f"{why} (from {_clock(start, zone)} to {_clock(end, zone)})"} if why else {}


def _faults_of_pressure(data: dict[str, Any]) -> dict[str, Any]:
    faults: dict[str, Any] = {}
    for when in ("pre", "pre_standing", "post", "post_standing"):
        faults |= _upside_down(data[f"{when}_systolic"], data[f"{when}_diastolic"], f"{when}_diastolic")
    rows = [_upside_down(row["systolic"], row["diastolic"], "diastolic") for row in data["readings"]]
    return faults | ({"readings": rows} if any(rows) else {})


def _upside_down(systolic: float | None, diastolic: float | None, field: str) -> dict[str, str]:
    if systolic is None or diastolic is None or diastolic < systolic:
        return {}
    return {field: f"Diastolic pressure must be below the systolic {systolic:g} mmHg; {diastolic:g} was given."}


def _faults_of_times(data: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    loose = timedelta(minutes=LOOSE_MINUTES)
    first = data["started_at"] - loose
    last = (data["ended_at"] or data["started_at"] + timedelta(minutes=plausible.MINUTES_OF_TREATMENT.hard[1])) + loose
    faults: dict[str, Any] = {}
    for name in TIMED:
        rows: list[dict[str, str]] = []
        seen: set[datetime] = set()
        for row in data[name]:
            fault = "" if first <= row["at"] <= last else f"{_clock(row['at'], zone)} lies outside this treatment."
            if name == "readings" and row["at"] in seen:
                fault = f"Two readings at {_clock(row['at'], zone)}: keep one."
            seen.add(row["at"])
            rows.append({"at": fault} if fault else {})
        if any(rows):
            faults[name] = rows
    return faults
