"""Allergies, dangers and infections by blood of a patient: what everybody has to know, in the same words everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day
from sessions.models import Caution, Patient
from sessions.services.findings import blood_borne


class WrittenMeanwhile(Exception):
    """Somebody else wrote since the writer looked: `newest` stands."""

    def __init__(self, newest: Caution) -> None:
        super().__init__(str(newest))
        self.newest = newest


@dataclass(frozen=True, slots=True)
class CautionLine:
    """label: what it is about; words: what is known of it; known: there is something; asked: somebody has asked."""

    label: str
    words: str
    known: bool
    asked: bool

    def __str__(self) -> str:
        return _("%(label)s: %(words)s") % {"label": self.label, "words": self.words}


def lines_of(caution: Caution | None) -> list[CautionLine]:
    """Allergies, then dangers, in the language of the reader. Not asked is said as such: it is not the same as none."""
    allergies, dangers = (caution.allergies, caution.dangers) if caution else ("", "")
    none = (caution.no_allergies, caution.no_dangers) if caution else (False, False)
    return [
        _line(_("Allergies"), allergies, none[0], _("none known")),
        _line(_("Dangers"), dangers, none[1], _("none noted, asked")),
    ]


def _line(label: str, text: str, none: bool, nothing: str) -> CautionLine:
    words = text or (nothing if none else _("not asked yet"))
    return CautionLine(label, words, known=bool(text), asked=bool(text) or none)


def asked_of(patient: Patient) -> list[CautionLine]:
    """Allergies and dangers, for the phone at the bedside: one query.

    A virus is not told there: whoever looks at the phone at home need not know of it, and helpers take the same care
    with anybody's blood.
    """
    return lines_of(patient.cautions.first())


def cautions_of(patient: Patient) -> list[CautionLine]:
    """What holds of a patient, with the viruses that others can catch where one was found: two queries."""
    return asked_of(patient) + _infections(patient)


def _infections(patient: Patient) -> list[CautionLine]:
    """One line, none where no test says so: that is not told as free of them."""
    found = [
        _("%(virus)s (%(day)s)") % {"virus": each.text, "day": short_day(each.found_on)}
        for each in blood_borne(patient)
    ]
    return [CautionLine(_("Viruses in the blood"), "; ".join(found), known=True, asked=True)] if found else []


@transaction.atomic
def write_cautions(caution: Caution, *, after: int | None, by: User, at: datetime) -> None:
    """Add a row that holds from now on. after: the newest that the writer saw, None where there was none.

    Raises WrittenMeanwhile, and ValidationError for words beside "there is none".
    """
    patient = Patient.objects.select_for_update(no_key=True).get(pk=caution.patient_id)
    newest = patient.cautions.first()
    if newest is not None and newest.pk != after:
        raise WrittenMeanwhile(newest)
    caution.written_by, caution.written_at = by, at
    caution.full_clean()
    caution.save(force_insert=True)
