"""The kit: everything that the phone at the bedside needs for a week without a network, and no more.

Packages above add to it by `register_part` and its neighbours, so that this one knows neither a dose nor an alert.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.translation import override

from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.language import language_here
from homedialysis.accounts.services.units import speaking, units_of
from homedialysis.running.history import history_id
from sessions.facts import plausible
from sessions.facts.choices import EventKind, TextKind
from sessions.facts.fields import AFTER, BEFORE, READING, TREATMENT
from sessions.models import LeftOut, Patient, Prescription, Reading, RecordState, TreatmentRecord, VascularAccess
from sessions.models.local_time import zone_of
from sessions.services import prescription_lines, text_rows
from sessions.services.cautions import asked_of
from sessions.services.due import due_of
from sessions.services.emergency_texts import access_word, emergency_texts
from sessions.services.messages import unseen
from sessions.services.own_ranges import own_ranges
from sessions.services.prescribing import prescription_in_force
from sessions.services.prescription_changes import changes_for
from sessions.services.site_uses import NEVER, uses_of
from sessions.services.stock import for_kit, stock_of
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of
from sessions.services.text_signing import Signatures, TextPart
from sessions.services.unit_texts import TextPlace, Texts, technique_of
from sessions.texts import checklist, flows
from sessions.texts.cards import meant_for
from sessions.texts.emergency import kinds_for
from sessions.texts.ready import ready_words

Json = dict[str, Any]
NIGHTS, OPEN_ONES = 30, 10
HISTORY_NUMBERS = (*BEFORE, *AFTER, "planned_rinse_back_l", "planned_intake_l")
READ = tuple(READING)


@dataclass(frozen=True, slots=True)
class KitRequest:
    """For whom a kit is made, by whom it was asked for, when, the nights of its history, newest first, and what
    surrounds them.
    """

    patient: Patient
    reader: User
    now: datetime
    zone: ZoneInfo
    nights: list[TreatmentRecord]
    facts: SurroundingsFacts

    @property
    def today(self) -> date:
        """The day where the patient lives."""
        return self.facts.today


Part = Callable[[KitRequest], Mapping[uuid.UUID, Json]]
_parts: dict[str, Part] = {}
_named: dict[str, Callable[[], Json]] = {}
_known: dict[str, Callable[[KitRequest], Json]] = {}


def register_part(name: str, part: Part) -> None:
    """Let another package lay values over the nights of the history: `part` gives {record id: {key: value}}.

    `name` says whose part it is: registered again, it takes the place of the earlier one.
    """
    _parts[name] = part


def register_names(name: str, names: Callable[[], Json]) -> None:
    """Let another package say what the values that it lays over the nights are called, in the reader's language.

    `names` gives {key: {label, short, unit, decimals}}; registered again, it takes the place of the earlier one.
    """
    _named[name] = names


def register_known(name: str, known: Callable[[KitRequest], Json]) -> None:
    """Let another package tell the phone what the unit knows of this patient: `known` gives keys of the kit.

    `name` says whose it is: registered again, it takes the place of the earlier one.
    """
    _known[name] = known


def kit(patient: Patient, reader: User, now: datetime) -> Json:
    """The whole kit but for its addresses, as JSON. A fixed number of queries, whatever the history.

    Values and limits are canonical; what the reader has in another unit brings that unit beside it ("told").
    """
    unit = Unit.objects.current()
    with speaking(units_of(unit, reader)):
        return _kit(patient, reader, now, unit)


def _kit(patient: Patient, reader: User, now: datetime, unit: Unit | None) -> Json:
    zone = zone_of(patient)
    facts = facts_of(patient, now.astimezone(zone).date())
    asked = KitRequest(patient, reader, now, zone, _nights(patient), facts)
    current = prescription_in_force(patient, now)
    access = patient.accesses.in_use().prefetch_related("sites").first()
    return {
        "made_at": now.isoformat(),
        "server_time": now.isoformat(),
        "release": settings.VERSION,
        "history_id": history_id(),
        "language": language_here(),
        "account": {"id": reader.pk, "name": str(reader), "role": reader.role},
        "patient": _patient(asked, access, unit),
        "unit": unit and _unit(unit),
        "by_day": by_day(asked, current),
        "prescription": current and _prescription(current),
        "changes": current and changes_for(reader, current),
        "messages": [
            {"id": each.pk, "words": each.words, "from": str(each.sent_by), "at": each.sent_at.isoformat()}
            for each in unseen(patient, reader)
        ],
        "due": [each.as_json() for each in due_of(facts)],
        "stock": for_kit(stock_of(facts)),
        **{key: value for known in _known.values() for key, value in known(asked).items()},
        **_texts(asked, access),
        "access": access and _access(access, asked),
        "limits": plausible.for_scripts(own_ranges(patient, current, before=now)),
        "asked": plausible.for_screens(),
        "event_kinds": {kind.value: str(kind.label) for kind in EventKind},
        "event_kinds_here": kinds_for(access_word(access)),
        "ready": ready_words(),
        "numbers": list(TREATMENT),
        "computed": {key: each for names in _named.values() for key, each in names().items()},
        "history": _history(asked),
        "open": _open(patient, reader),
        "left_out": _left_out(patient, asked.today),
    }


def _patient(asked: KitRequest, access: VascularAccess | None, unit: Unit | None) -> Json:
    return {
        "id": str(asked.patient.pk),
        "name": asked.patient.name,
        "zone": asked.zone.key,
        "home_zone": asked.patient.time_zone or (unit.time_zone if unit else "UTC"),
        "places": [
            {name: row[name] for name in ("name", "since", "until", "zone", "emergency")}
            for row in asked.patient.places
            if not row["until"] or row["until"] >= (asked.today - timedelta(days=1)).isoformat()
        ],
        "access_side": access.side if access else None,
        "short_sheets": asked.patient.short_sheets,
        "cautions": [str(line) for line in asked_of(asked.patient)],
    }


DAY_HOURS = range(5, 17)
"""A treatment that begins in these hours, on the patient's clock, is one of the day (common practice, no source)."""
LATELY = 10
LONG_NIGHT_MINUTES = 360
"""So long a treatment is one of the night, until one was done (common practice, no source)."""


def by_day(asked: KitRequest, ordered: Prescription | None) -> bool:
    """Whether most of the latest treatments began by day.

    Before the first one the prescription tells: whoever is to be left alone at night, or is on for as long as a night,
    reads of the night. Else nothing is known, and no night is spoken of: that is true at any hour.
    """
    latest = [night.started_at.astimezone(asked.zone).hour for night in asked.nights[:LATELY] if night.started_at]
    if not latest:
        return ordered is None or not (ordered.quiet_at_night or ordered.minutes >= LONG_NIGHT_MINUTES)
    return sum(hour in DAY_HOURS for hour in latest) * 2 > len(latest)


def _unit(unit: Unit) -> Json:
    return {
        "name": unit.name,
        "emergency_number": unit.emergency_number,
        "on_call_number": unit.on_call_number,
        # The phone works out who looks next by itself, for as long as it is offline: on the unit's own clock.
        "time_zone": unit.time_zone,
        "dates": {"order": unit.day_order, "clock": unit.hour_clock},
        "english": unit.english,
        "opening_hours": [
            {"weekday": each.weekday, "opens": f"{each.opens:%H:%M}", "closes": f"{each.closes:%H:%M}"}
            for each in unit.opening_hours.all()
        ],
        "closed_days": [day.isoformat() for day in sorted(unit.days_closed)],
    }


def _prescription(current: Prescription) -> Json:
    hidden = {"id", "patient", "in_force", "dialyser", "signed_by", "signed_at"}
    names = [field.name for field in Prescription._meta.fields if field.name not in hidden]
    return {name: getattr(current, name) for name in names} | {
        "dialyser": current.dialyser.name,
        "signed_by": str(current.signed_by),
        "signed_at": current.signed_at.isoformat(),
        "in_force_from": current.in_force.lower.isoformat(),
        "lines": {
            "main": [asdict(line) for line in prescription_lines.main_lines(current)],
            "other": [asdict(line) for line in prescription_lines.other_lines(current)],
            "readings": prescription_lines.readings_words(current),
        },
    }


def _texts(asked: KitRequest, access: VascularAccess | None) -> Json:
    patient, texts = asked.patient, Texts(asked.patient)
    free = [site.technique for site in access.free_sites(asked.today)] if access else []
    technique = technique_of(access, free)
    for_checks, for_sheet = TextPlace(TextKind.CHECKLIST), TextPlace(TextKind.RUN_SHEET, technique, patient)
    checks, sheet = texts.standing(for_checks), texts.standing(for_sheet)
    for_whom = access_word(access)
    signed = Signatures(texts, asked.today, patient)
    items = [
        {name: value for name, value in item.items() if name != "for_whom"} | {"stop": item["key"] in checklist.STOPS}
        for item in checks.content["items"]
        if meant_for(item["for_whom"], for_whom)
    ]
    return {
        "checklist": {
            "version": checks.version,
            "items": _for_phone(items, for_checks),
            "checked": signed.checked(TextPart(for_checks)),
        },
        "run_sheet": {
            "version": sheet.version,
            "technique": technique,
            "steps": _for_phone(sheet.content["steps"], for_sheet),
            "checked": signed.checked(TextPart(for_sheet)),
        },
        **emergency_texts(texts, signed, for_whom),
        "flows": _flows(texts, for_whom),
        "flows_checked": signed.checked(TextPart(TextPlace(TextKind.FLOWS))),
    }


def _flows(texts: Texts, for_whom: str) -> Json:
    """The way through each kind of trouble, in the words that stand."""
    place = TextPlace(TextKind.FLOWS)
    rows = _for_phone(texts.standing(place).content["steps"], place)
    return flows.flows_for(for_whom, {row["key"]: row for row in rows})


def _for_phone(rows: list[Json], place: TextPlace) -> list[Json]:
    """Rows of a text, each with `kept`: what a record keeps of it, where that differs from what is shown.

    The program's own words are shown in the reader's language and kept in the one in which the unit's pages are
    written; what the unit wrote itself stands in its own words everywhere, and says so in another language.
    """
    with override(settings.LANGUAGE_CODE):
        written = text_rows.program_rows(place.kind, place.technique)
    return [_row_for_phone(row, row["own"], written.get(row["key"], {})) for row in rows]


def _row_for_phone(row: Json, own: Json, written: Json) -> Json:
    name = "name" if "name" in row else "words"
    told = {key: value for key, value in row.items() if key != "own"}
    told["hint"] = " ".join(filter(None, [row.get("hint", ""), text_rows.foreign(row)]))
    kept = written.get(name, row[name])
    return told if name in own or kept == row[name] else told | {"kept": kept}


def _access(access: VascularAccess, asked: KitRequest) -> Json:
    today = asked.today
    uses = uses_of(access, today)
    return {
        "id": access.pk,
        "kind": access.kind,
        "side": access.side,
        "place": access.place,
        "picture": {"limb": access.limb},
        "flow": access.flow,
        "sites": [
            {
                "id": site.pk,
                "name": site.name,
                "use": site.use,
                "technique": site.technique,
                "x": site.x,
                "y": site.y,
                "resting": site.rests_on(today),
                "rest_until": site.rest_until and site.rest_until.isoformat(),
                "last_used": [day.isoformat() for day in dict.fromkeys(uses.get(site.pk, NEVER).days)],
                "uses_30": uses.get(site.pk, NEVER).lately,
            }
            for site in access.sites.all()
        ],
    }


def _nights(patient: Patient) -> list[TreatmentRecord]:
    done = TreatmentRecord.objects.filter(patient=patient, state=RecordState.FINISHED)
    return list(done.select_related("prescription").defer("document").newest_first()[:NIGHTS])


def _history(asked: KitRequest) -> list[Json]:
    last = Reading.objects.filter(record__in=asked.nights).order_by("record_id", "-at").distinct("record_id")
    readings = {row.pop("record_id"): row for row in last.values("record_id", "at", *READ)}
    rows = {night.pk: _night(night, readings.get(night.pk)) for night in asked.nights}
    for part in _parts.values():
        for record_id, values in part(asked).items():
            rows[record_id] |= values
    return list(rows.values())


def _offered(last_reading: Json) -> Json:
    """What a first reading may start from: not what was true of the treatment before alone."""
    own = {name for name, field in READING.items() if field.of_its_treatment}
    kept = {name: value for name, value in last_reading.items() if name not in own}
    return kept | {"at": last_reading["at"].isoformat()}


def _night(night: TreatmentRecord, last_reading: Json | None) -> Json:
    ordered = night.prescription
    return {
        "id": str(night.pk),
        "night": night.night.isoformat(),
        "started_at": night.started_at.isoformat(),
        "minutes": night.minutes,
        "source": night.source,
        **{name: getattr(night, name) for name in HISTORY_NUMBERS},
        "uf_rate_limit": ordered.uf_rate_limit_ml_kg_h if ordered else None,
        "last_reading": _offered(last_reading) if last_reading else None,
        "alerts": "none",
    }


def _open(patient: Patient, reader: User) -> list[Json]:
    """Records at the unit that were not handed over, newest first."""
    mine = TreatmentRecord.objects.visible_to(reader).filter(patient=patient, state=RecordState.OPEN)
    return [record.as_sent for record in mine.select_related("recorded_by").newest_first()[:OPEN_ONES]]


def _left_out(patient: Patient, today: date) -> list[Json]:
    """Days from yesterday on of which was said that no treatment is done."""
    said = LeftOut.objects.standing().filter(patient=patient, day__gte=today - timedelta(days=1))
    return [
        {
            "id": str(each.pk),
            "day": each.day.isoformat(),
            "reason": each.reason,
            "words": each.words,
            "by": str(each.said_by),
        }
        for each in said.select_related("said_by")
    ]
