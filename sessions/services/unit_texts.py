"""The unit's own texts for the bedside: which version holds for whom, and how the next one is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Q
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Unit, User
from sessions.facts.choices import AccessKind, Technique, TextKind
from sessions.models import Patient, UnitText, VascularAccess
from sessions.services import text_rows
from sessions.texts import checklist, emergency, flows, run_sheets

Content = dict[str, Any]
BUILT_IN = 0
"""The version number of what comes with the program."""
DEFAULTS: dict[str, Callable[[str], Content]] = {
    TextKind.CHECKLIST: lambda technique: checklist.default_content(),
    TextKind.RUN_SHEET: run_sheets.default_content,
    TextKind.CARDS: lambda technique: emergency.default_cards(),
    TextKind.FIRST_AID: lambda technique: emergency.default_first_aid(),
    TextKind.FLOWS: lambda technique: flows.default_flows(),
}


@dataclass(frozen=True, slots=True)
class TextPlace:
    """Which text: its kind, the technique of a run sheet, the patient it is adapted for."""

    kind: str
    technique: str = ""
    patient: Patient | None = None

    @property
    def wider(self) -> TextPlace:
        """The text for everybody."""
        return TextPlace(self.kind, self.technique)


@dataclass(frozen=True, slots=True)
class StandingText:
    """What holds, as it is read in the language of the moment: `row` is the version that says so, None for what comes
    with the program. Each row of the content has `own`, see `text_rows`."""

    content: Content
    row: UnitText | None

    @property
    def version(self) -> int:
        return self.row.version if self.row else BUILT_IN


class NotATextWriter(Exception):
    """Says why this person cannot write a text of the unit."""


class TextMovedOn(Exception):
    """Somebody else wrote a version since this one was begun."""

    def __init__(self, standing: UnitText) -> None:
        super().__init__(
            _(
                "%(person)s saved version %(version)s while you were writing (%(why)s). "
                "Your words are still here: compare, then save again."
            )
            % {"person": standing.made_by, "version": standing.version, "why": standing.why}
        )
        self.standing = standing


class Texts:
    """All texts that may hold for a patient (or for the unit alone), read in one query; each is put into the words of
    a language once."""

    def __init__(self, patient: Patient | None = None) -> None:
        wanted = UnitText.objects.filter(Q(patient=None) | Q(patient=patient))
        newest = wanted.order_by("kind", "technique", "patient_id", "-version").distinct(
            "kind", "technique", "patient_id"
        )
        self._rows = {(row.kind, row.technique, row.patient_id): row for row in newest.select_related("made_by")}
        self._standing: dict[tuple[TextPlace, str | None], StandingText] = {}

    def newest(self, place: TextPlace) -> UnitText | None:
        """The newest version written for exactly this place, also one that took the earlier ones back."""
        return self._rows.get((place.kind, place.technique, place.patient.pk if place.patient else None))

    def standing(self, place: TextPlace) -> StandingText:
        """The patient's own version, else the unit's, else what comes with the program."""
        asked = (place, get_language())
        if asked not in self._standing:
            self._standing[asked] = self._in_words(place)
        return self._standing[asked]

    def _in_words(self, place: TextPlace) -> StandingText:
        for row in (self.newest(place), self.newest(place.wider)):
            if row is not None and row.content is not None:
                return StandingText(text_rows.read(place.kind, place.technique, row.content), row)
        built_in = DEFAULTS[place.kind](place.technique)
        return StandingText(text_rows.mark(place.kind, place.technique, built_in, built_in), None)


def technique_of(access: VascularAccess | None, techniques: list[str]) -> str:
    """Which run sheet: that of most of the sites in use, else what goes with the kind of access."""
    if techniques:
        return max(sorted(set(techniques)), key=techniques.count)
    catheter = access is not None and access.kind == AccessKind.CATHETER
    return Technique.CATHETER if catheter else Technique.ROPE_LADDER


@transaction.atomic
def write_text(*, place: TextPlace, content: Content | None, why: str, base: int, by: User, at: datetime) -> UnitText:
    """Keep the next version. `base`: the newest version of this place when the writer began, 0 for none.

    `content` None takes the own version back. Raises NotForWriting, or MovedOn when another version came between.
    """
    if not by.is_clinical:
        raise NotATextWriter(_("Only a nurse or a nephrologist writes these texts."))
    list(Unit.objects.select_for_update(no_key=True))  # one writer at a time
    texts = Texts(place.patient)
    newest = texts.newest(place)
    if newest is not None and newest.version != base:
        raise TextMovedOn(newest)
    if content is not None:
        content = text_rows.mark(place.kind, place.technique, content, texts.standing(place).content)
    last = UnitText.objects.filter(kind=place.kind).aggregate(last=Max("version"))["last"] or BUILT_IN
    return UnitText.objects.create(
        kind=place.kind,
        technique=place.technique,
        patient=place.patient,
        version=last + 1,
        content=content,
        why=why,
        made_by=by,
        made_at=at,
    )
