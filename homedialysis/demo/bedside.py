"""What the demo's unit has written for the bedside, and what waits on the first patient's phone."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings

from homedialysis.demo.enrolment import Team
from sessions.facts.choices import TextKind
from sessions.models import Patient, Prescription
from sessions.services.messages import note_seen, write_message
from sessions.services.prescribing import sign_prescription
from sessions.services.text_signing import parts, sign
from sessions.services.unit_texts import DEFAULTS, TextPlace, Texts, write_text

OLD_MESSAGE = "Thank you for the clear notes this week. Your bloods are fine; nothing changes."
NEW_MESSAGE = "The filter of your water treatment is due for a change. Piotr brings one on Thursday afternoon."
COOLER_C = 36.0
"""The dialysate of the prescription that was signed just now."""


def write_checks(team: Team, at: datetime) -> int:
    """The unit's own checks: the program's with one change. Answers the version."""
    content = DEFAULTS[TextKind.CHECKLIST]("")
    chlorine = next(item for item in content["items"] if item["key"] == "chlorine")
    chlorine["hint"] = "After 20 minutes of running water, at the tap behind the first filter. At most 0.1 mg/L."
    row = write_text(
        place=TextPlace(TextKind.CHECKLIST),
        content=content,
        why="Where and when we take the chlorine sample.",
        base=0,
        by=team.nurse(at),
        at=at,
    )
    return row.version


def sign_texts(team: Team, at: datetime) -> int:
    """Nurse and nephrologist have read every text in every language. Answers how many signatures that made."""
    texts = Texts()
    languages = [code for code, _name in settings.LANGUAGES]
    again = at.date() + timedelta(days=365)
    signed = [
        sign(part, texts=texts, languages=languages, by=by, at=at, read_again_on=again)
        for part in parts(texts)
        for by in (team.nurse(at), team.nephrologist)
    ]
    return len(signed)


def write_to(patient: Patient, team: Team, words: str, at: datetime) -> None:
    """A message of the nurse on duty."""
    write_message(patient=patient, words=words, by=team.nurse(at), at=at)


def write_and_see(patient: Patient, team: Team, words: str, at: datetime) -> None:
    """A message that was seen the same evening."""
    if patient.account is not None:
        message = write_message(patient=patient, words=words, by=team.nurse(at), at=at)
        seen = at + timedelta(hours=6)
        note_seen(message=message, by=patient.account, at=seen, now=seen + timedelta(minutes=1))


def sign_cooler(patient: Patient, team: Team, at: datetime) -> None:
    """The next version of the prescription: cooler dialysate, and no readings asked for during sleep."""
    last: Prescription = patient.prescriptions.latest("version")
    last.pk, last._state.adding = None, True
    last.dialysate_temperature_c, last.quiet_at_night = COOLER_C, True
    last.note = "Cooler dialysate against the light-headedness at the end. Sleep through; no readings at night."
    sign_prescription(prescription=last, by=team.nephrologist, at=at)
