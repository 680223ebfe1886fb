"""The words of the pages in other languages: the catalogues made of what translators wrote.

Translators write `homedialysis/locale/<language>/LC_MESSAGES/django.po` (what patients read of the server), `staff.po`
(what only staff read) and `djangojs.po` (scripts of the bedside). The server reads the first two as one compiled file
beside them, the second only once it is whole; the scripts read the third as a JSON file of their own.
"""

from __future__ import annotations

import fnmatch
import io
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from django.utils.translation import override, to_language, to_locale
from django.utils.translation.reloader import translation_file_changed

from homedialysis.languages import AMERICAN, folders, whole_for_staff
from homedialysis.spelling import american
from sessions.services.emergency_texts import program_texts

HERE = Path(__file__).resolve().parent
LOCALE = HERE / "locale"
DOMAINS = ("django", "staff", "djangojs")
"""Server, server for staff alone, and scripts: one file of a translator each."""
SCRIPT_WORDS = HERE.parent / "sessions" / "static" / "bedside" / "words"

STAFF_ROOMS = (
    "alerts/*",
    "dosing/models/*",
    "dosing/pages/*",
    "dosing/science/guidance.py",
    "dosing/services/decision/*",
    "dosing/services/importing/*",
    "dosing/services/jobs.py",
    "dosing/services/month/*",
    "dosing/services/planner/*",
    "homedialysis/accounts/choices/__init__.py",
    "homedialysis/accounts/models/*",
    "homedialysis/accounts/pages/forms_unit.py",
    "homedialysis/accounts/pages/people.py",
    "homedialysis/accounts/pages/person.py",
    "homedialysis/accounts/pages/signing.py",
    "homedialysis/accounts/pages/typed_numbers.py",
    "homedialysis/accounts/services/people.py",
    "sessions/facts/periods.py",
    "sessions/models/dialyser.py",
    "sessions/facts/findings.py",
    "sessions/models/finding.py",
    "sessions/models/laboratory.py",
    "sessions/models/medication.py",
    "sessions/models/outcomes.py",
    "sessions/models/patient.py",
    "sessions/pages/*",
    "sessions/services/dialysers.py",
    "sessions/services/enrolment.py",
    "sessions/services/medications.py",
    "sessions/services/findings.py",
    "sessions/services/messages.py",
    "sessions/services/outcomes.py",
    "sessions/services/prescribing.py",
    "sessions/services/readiness.py",
    "sessions/services/prescription_kept.py",
    "sessions/services/prescription_read.py",
    "sessions/services/text_signing.py",
    "sessions/services/unit_texts.py",
    "sessions/services/water_*.py",
    "templates/_look_again.html",
    "templates/accounts/_link.html",
    "templates/accounts/person.html",
    "templates/accounts/team.html",
    "templates/accounts/unit.html",
    "templates/alerts/*",
    "templates/dosing/*",
    "templates/reports/review.typ",
    "templates/sessions/*",
    "templates/unit_base.html",
)
"""Where words stand that only staff read. A word that stands anywhere else too is a patient's word."""
PATIENTS_TOO = (
    "sessions/pages/bedside.py",
    "sessions/pages/differences.py",
    "sessions/pages/takeout.py",
    "sessions/pages/who_sees.py",
    "templates/dosing/_number.html",
    "templates/dosing/_quantity.html",
    "templates/dosing/_value.html",
    "templates/dosing/night.html",
    "templates/dosing/number.html",
    "templates/dosing/patient_letters.html",
    "templates/sessions/bedside*.html",
    "templates/sessions/versions.html",
    "templates/sessions/who_sees.html",
)
"""What in those rooms patients read nevertheless."""


def only_for_staff(places: Iterable[str]) -> bool:
    """Whether a text that stands in these files is never read by a patient."""
    return all(_matches(place, STAFF_ROOMS) and not _matches(place, PATIENTS_TOO) for place in places)


def _matches(place: str, patterns: tuple[str, ...]) -> bool:
    return any(fnmatch.fnmatch(place, pattern) for pattern in patterns)


def languages() -> list[str]:
    """The languages that translators have written, by their folders."""
    return folders(LOCALE)


def po_path(language: str, domain: str) -> Path:
    """What translators write of one of the domains."""
    return LOCALE / language / "LC_MESSAGES" / f"{domain}.po"


def catalogue(language: str, domain: str) -> Catalog:
    """What translators wrote of one domain, one of DOMAINS."""
    with po_path(language, domain).open("rb") as source:
        return read_po(source, locale=language, domain=domain, abort_invalid=True)


def compiled(language: str) -> bytes:
    """The server's catalogue as gettext reads it; what is marked as doubtful is left out, and half of staff's words."""
    whole = catalogue(language, "django")
    if whole_for_staff(LOCALE, language):
        for message in catalogue(language, "staff"):
            if message.id:
                whole[message.id] = message
    target = io.BytesIO()
    write_mo(target, whole, use_fuzzy=False)
    return target.getvalue()


def for_scripts(catalogue: Catalog) -> str:
    """The scripts' catalogue as JSON: {English: words}, with a list of forms where the number decides."""
    words: dict[str, Any] = {
        str(message.id[0] if message.pluralizable else message.id): (
            list(message.string or ()) if message.pluralizable else message.string
        )
        for message in catalogue
        if message.id and not message.fuzzy
    }
    return json.dumps(dict(sorted(words.items())), ensure_ascii=False, separators=(",\n", ":")) + "\n"


RESPELT = to_locale(AMERICAN)
"""The folder of the other spelling of English, which nobody translates: no .po, so that it is no language to choose."""
NEVER = datetime(2026, 1, 1, tzinfo=UTC)
"""Made of the same words it is the same file, whenever it is made."""
RESPELT_SCRIPTS = SCRIPT_WORDS / "en-us.json"


def respelt(domain: str) -> Catalog:
    """Those texts of one domain that are spelt otherwise in America, made by rule of the English that was gathered."""
    found = Catalog(locale="en_US", domain=domain, creation_date=NEVER, revision_date=NEVER)
    for message in (each for language in languages() for each in catalogue(language, domain) if each.id):
        given = tuple(message.id) if message.pluralizable else (str(message.id),)
        spelt = tuple(american(words) for words in given)
        if spelt != given:
            found.add(message.id, spelt if message.pluralizable else spelt[0], context=message.context)
    return found


def compiled_american() -> bytes:
    """What the server says otherwise where a unit spells English the American way."""
    whole = respelt("django")
    for message in respelt("staff"):
        if message.id:
            whole[message.id] = message
    target = io.BytesIO()
    write_mo(target, whole)
    return target.getvalue()


def mo_path(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES" / "django.mo"


def script_path(language: str) -> Path:
    return SCRIPT_WORDS / f"{to_language(language)}.json"


FALLBACK_CARDS = HERE.parent / "sessions" / "static" / "bedside" / "js" / "fallback_cards.js"


def fallback_cards() -> str:
    """The script with the program's own emergency cards in every language, for a phone on which nothing of the unit
    is: made of the same declarations as the kit."""
    told = {}
    for language in ["en", *languages()]:
        with override(language):
            told[to_language(language)] = program_texts()
    words = json.dumps(told, ensure_ascii=False, indent=1)
    head = "/* Made by manage.py words out of sessions/texts/cards.py: not changed by hand. */"
    return f"{head}\n\nexport const FALLBACK = {words};\n"


def write_all() -> None:
    """Make every catalogue anew from the translators' files, and the script of the emergency cards of them."""
    SCRIPT_WORDS.mkdir(parents=True, exist_ok=True)
    for language in languages():
        mo_path(language).write_bytes(compiled(language))
        script_path(language).write_text(for_scripts(catalogue(language, "djangojs")), encoding="utf-8")
    mo_path(RESPELT).parent.mkdir(parents=True, exist_ok=True)
    mo_path(RESPELT).write_bytes(compiled_american())
    RESPELT_SCRIPTS.write_text(for_scripts(respelt("djangojs")), encoding="utf-8")
    translation_file_changed(None, mo_path(""))
    FALLBACK_CARDS.write_text(fallback_cards(), encoding="utf-8")
