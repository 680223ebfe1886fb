"""The emergency cards on paper: a sheet for the wall beside the machine, and the back of the flow sheet."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

import typst
from django.conf import settings
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.language import language_here
from sessions.facts.local_day import plain_day
from sessions.models import Patient
from sessions.models.local_time import emergency_number, zone_of
from sessions.services.emergency_texts import access_word, emergency_texts
from sessions.services.text_signing import Signatures
from sessions.services.unit_texts import Texts

LAYOUT = settings.BASE_DIR / "templates" / "reports" / "wall_sheet.typ"


def wall_sheet_pdf(patient: Patient, *, at: datetime) -> bytes:
    """Every card that concerns this patient's access, as a tagged PDF (PDF/UA-1). Raises RuntimeError where the page
    cannot be set, which a fault of the layout alone could cause."""
    sheet = json.dumps(wall_sheet_of(patient, at=at), ensure_ascii=False)
    return bytes(typst.compile(str(LAYOUT), format="pdf", sys_inputs={"sheet": sheet}, pdf_standards=["ua-1"]))


def wall_sheet_of(patient: Patient, *, at: datetime) -> dict[str, Any]:
    """Everything that stands on the sheet, as plain data. It names nobody: it hangs where visitors see it."""
    unit = Unit.objects.current()
    day = at.astimezone(zone_of(patient)).date()
    texts = Texts(patient)
    told = emergency_texts(texts, Signatures(texts, day, patient), access_word(patient.accesses.in_use().first()))
    each = told["on_each_card"]
    cards = [card | {"note": _note(card, each)} for card in told["cards"]]
    return {
        "title": _("When something goes wrong"),
        "language": language_here().split("-")[0],
        "unit": {
            "emergency": emergency_number(patient, unit, at),
            "on_call": unit.on_call_number if unit else "",
        },
        "groups": [
            {"title": title, "cards": [card for card in cards if card["group"] == group]}
            for group, title in each["groups"].items()
        ],
        "words": each["headings"]
        | {name: each[name] for name in ("say_first", "say_address", "say_door")}
        | {"emergency": _("Emergency"), "on_call": _("The unit on call")},
        "foot": each["training"] + " " + _("Printed on {day}.").format(day=plain_day(day)),
    }


def _note(card: dict[str, Any], each: dict[str, Any]) -> str:
    """What is said under a card: that nobody has checked it, or that the unit wrote it in another language."""
    return " ".join(filter(None, [card["own"], "" if card["checked"] else each["unchecked"]]))
