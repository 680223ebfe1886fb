"""What the unit's nurse and nephrologist have read and signed of the texts that patients read.

Until both have signed a text, or when it has changed since, or when its date to be read again has passed, the phone
says that the unit has not checked it. Each language is signed for itself: who cannot read Spanish does not sign it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Role, User
from homedialysis.accounts.services.dates import short_day
from homedialysis.accounts.services.language import language_here, reading
from sessions.facts.choices import EventKind, Technique, TextKind
from sessions.models import Patient, TextSignature
from sessions.services import text_rows
from sessions.services.unit_texts import TextPlace, Texts
from sessions.texts.whom_to_call import bare_calls

SIGNERS = (Role.NURSE, Role.NEPHROLOGIST)
"""Both of them sign each text."""
LONGEST = timedelta(days=731)
USUAL = timedelta(days=365)
"""Until a text is read again (common practice, no source)."""


class State(StrEnum):
    HOLDS = "holds"
    MISSING = "missing"
    CHANGED = "changed"
    OLD = "old"


@dataclass(frozen=True, slots=True)
class TextPart:
    """What is signed at once: a whole list, or the row of it that has this key."""

    place: TextPlace
    key: str = ""

    @property
    def name(self) -> str:
        """As an address has it."""
        return ".".join(filter(None, [self.place.kind, self.place.technique or self.key]))

    @property
    def title(self) -> str:
        """As people call it, in the language of the moment."""
        if self.place.kind == TextKind.FIRST_AID:
            return str(EventKind(self.key).label)
        if self.place.kind == TextKind.CARDS:
            return str(text_rows.program_rows(TextKind.CARDS)[self.key]["title"])
        kind = TextKind(self.place.kind)
        return str(Technique(self.place.technique).label if kind == TextKind.RUN_SHEET else kind.label).capitalize()

    def content(self, texts: Texts) -> dict[str, Any]:
        """What patients read of it in the language of the moment, as the content of a text."""
        return text_rows.only(self.place.kind, texts.standing(self.place).content, self.key)

    def fingerprint(self, texts: Texts) -> str:
        return text_rows.fingerprint(text_rows.without_marks(self.place.kind, self.content(texts)))


def parts(texts: Texts) -> list[TextPart]:
    """Every part of the unit's texts, in the order in which they are read."""
    rows = [
        TextPart(TextPlace(kind), text_rows.key_of(row))
        for kind in (TextKind.CARDS, TextKind.FIRST_AID)
        for row in text_rows.without_marks(kind, texts.standing(TextPlace(kind)).content)
    ]
    sheets = [TextPart(TextPlace(TextKind.RUN_SHEET, technique)) for technique in Technique.values]
    return [*rows, TextPart(TextPlace(TextKind.FLOWS)), TextPart(TextPlace(TextKind.CHECKLIST)), *sheets]


def unsigned_parts(texts: Texts, today: date) -> list[TextPart]:
    """The parts that a patient reads unchecked, in some language."""
    signed = Signatures(texts, today)
    languages = [code for code, _name in settings.LANGUAGES]
    missing = [part for role in SIGNERS for part in signed.wanting(role, languages)]
    return [part for part in parts(texts) if part in missing]


def part_named(name: str, texts: Texts) -> TextPart | None:
    return next((part for part in parts(texts) if part.name == name), None)


class Signatures:
    """The newest signature of each role for each part, read in one query; told for one day."""

    def __init__(self, texts: Texts, today: date, patient: Patient | None = None) -> None:
        rows = TextSignature.objects.filter(Q(patient=None) | Q(patient=patient)).select_related("signed_by")
        self._texts, self._today = texts, today
        self._newest: dict[tuple[Any, ...], list[TextSignature]] = {}
        for row in rows.order_by("-signed_at", "-pk"):
            self._newest.setdefault((row.kind, row.technique, row.patient_id, row.key, row.role), []).append(row)

    def of(self, part: TextPart, role: str) -> TextSignature | None:
        """The newest signature of this role that covers the language of the moment."""
        language = language_here()
        return next((row for row in self._all(part, role) if language in row.fingerprints), None)

    def _all(self, part: TextPart, role: str) -> list[TextSignature]:
        """An adapted sheet has signatures of its own; a patient who follows the unit's has the unit's."""
        own = self._texts.newest(part.place) if part.place.patient else None
        patient = part.place.patient if own is not None and own.content is not None else None
        at = (part.place.kind, part.place.technique, patient.pk if patient else None, part.key, role)
        return self._newest.get(at, [])

    def state(self, part: TextPart, role: str) -> State:
        """How it stands with this role's signature in the language of the moment."""
        row = self.of(part, role)
        if row is None:
            return State.MISSING
        if row.fingerprints[language_here()] != part.fingerprint(self._texts):
            return State.CHANGED
        return State.HOLDS if self._today < row.read_again_on else State.OLD

    def checked(self, part: TextPart) -> bool:
        """Whether both have signed what stands there in the language of the moment."""
        return all(self.state(part, role) == State.HOLDS for role in SIGNERS)

    def wanting(self, role: str, languages: Iterable[str]) -> Iterator[TextPart]:
        """Parts that this role has still to sign in one of these languages, in their order."""
        for part in parts(self._texts):
            if any(self._wants(part, role, language) for language in languages):
                yield part

    def _wants(self, part: TextPart, role: str, language: str) -> bool:
        with reading(language):
            return self.state(part, role) != State.HOLDS


def prints(part: TextPart, texts: Texts, languages: Iterable[str]) -> dict[str, str]:
    """{language: fingerprint of what patients read of it}."""
    found = {}
    for language in languages:
        with reading(language):
            found[language] = part.fingerprint(texts)
    return found


def fault_of(part: TextPart, texts: Texts, languages: Iterable[str]) -> str:
    """Why nobody may sign what stands there in one of these languages, in words; "" where nothing is wrong.

    An emergency card holds whom to call, each line by name or number.
    """
    if part.place.kind != TextKind.CARDS:
        return ""
    for language in languages:
        with reading(language):
            [card] = part.content(texts)["cards"]
        bare = bare_calls(card["call"])
        if bare or not card["call"]:
            said = _("“%(line)s” names nobody.") % {"line": bare[0]} if bare else _("It says nothing of a call.")
            rule = _("This card cannot be signed: each line of whom to call names the unit or the emergency number.")
            return f"{rule} {said}"
    return ""


def sign(
    part: TextPart, *, texts: Texts, languages: Iterable[str], by: User, at: datetime, read_again_on: date
) -> TextSignature:
    """Keep that this person has read the part in these languages. Raises ValueError with words for what cannot be."""
    offered = dict(settings.LANGUAGES)
    read = [language for language in languages if language in offered]
    if by.role not in SIGNERS:
        raise ValueError(_("A nurse and a nephrologist sign the texts."))
    if not read:
        raise ValueError(_("Say in which language you have read it."))
    if fault := fault_of(part, texts, read):
        raise ValueError(fault)
    if not at.date() < read_again_on <= at.date() + LONGEST:
        raise ValueError(
            _("The day to read it again must lie between %(first)s and %(last)s; %(given)s was given.")
            % {
                "first": short_day(at.date() + timedelta(days=1)),
                "last": short_day(at.date() + LONGEST),
                "given": short_day(read_again_on),
            }
        )
    return TextSignature.objects.create(
        kind=part.place.kind,
        technique=part.place.technique,
        patient=part.place.patient,
        key=part.key,
        fingerprints=prints(part, texts, read),
        signed_by=by,
        role=by.role,
        signed_at=at,
        read_again_on=read_again_on,
    )
