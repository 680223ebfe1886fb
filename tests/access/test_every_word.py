"""Every page of staff in a language that nobody speaks: nothing is left in English but names, codes and typed words."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.messages import get_messages
from django.contrib.messages.storage.base import BaseStorage
from django.db.models import Model
from django.utils import translation
from django.utils.translation import gettext, override

from alerts.models import AlertMessage, PendingEvaluation, Replay
from alerts.models.choices import Channel
from alerts.models.delivery_answers import WORDS
from alerts.services.sending import words_of
from dosing.models import MonthlyReview, PlanItem
from dosing.science.bloods import ANALYTES
from dosing.science.guidance import GUIDANCE
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.night.catalogue import NIGHT_NUMBERS
from homedialysis.accounts.models import BedsideDevice, DeviceToken, Unit, User
from homedialysis.accounts.pages.zones import zones_by_part
from sessions.facts.medicines import SUBSTANCES
from sessions.models import (
    AccessSite,
    Dialyser,
    LabLine,
    Laboratory,
    Medication,
    Message,
    Patient,
    SupplyItem,
    UnitText,
    VascularAccess,
)
from sessions.texts import checklist, run_sheets
from tests import pseudo_words
from tests.access.addresses import every_address
from tests.access.table import BODIES, TABLE
from tests.access.walking import ask
from tests.access.world import World
from tests.left_in_english import left_in_english

FIGURES = re.compile(r'<script id="[\w-]+" type="application/json">(.*?)</script>', re.DOTALL)
READ_IN_FIGURES = {"name", "text", "title", "hovertext", "customtext"}


@pytest.fixture
def made_up(settings: Any, tmp_path: Path) -> str:
    """A language in which everything that was marked for translation shows it, offered to staff as well."""
    settings.LOCALE_PATHS = [pseudo_words.write_server(tmp_path, "django", "staff", parts_outside=True)]
    settings.LANGUAGES = [*settings.LANGUAGES, (pseudo_words.CODE, "Mirror")]
    settings.LANGUAGES_BIDI = [*settings.LANGUAGES_BIDI, pseudo_words.CODE.partition("-")[0]]
    settings.STAFF_LANGUAGES = ["en", pseudo_words.CODE]
    return pseudo_words.CODE


def words_of_figures(page: str) -> Iterator[str]:
    """The texts of the charts that a page carries as data."""
    for found in FIGURES.findall(page):
        yield from _said(json.loads(found))


def _said(part: Any, key: str = "") -> Iterator[str]:
    if isinstance(part, dict):
        for name, inner in part.items():
            yield from _said(inner, name)
    elif isinstance(part, list):
        for inner in part:
            yield from _said(inner, key)
    elif isinstance(part, str) and key in READ_IN_FIGURES:
        yield part


def messages_of(answer: Any) -> list[str]:
    """What the next page would say."""
    kept: Any = get_messages(answer.wsgi_request)
    return [str(each.message) for each in kept._queued_messages] if isinstance(kept, BaseStorage) else []


def told(answer: Any) -> str:
    """All that a person would read of an answer."""
    page = (
        answer.content.decode(errors="replace")
        if answer.headers.get("Content-Type", "").startswith("text/html")
        else ""
    )
    return "\n".join([page, *(f"<p>{each}</p>" for each in (*words_of_figures(page), *messages_of(answer)))])


TYPED: dict[type[Model], tuple[str, ...]] = {
    AccessSite: ("name",),
    BedsideDevice: ("name",),
    DeviceToken: ("name",),
    Dialyser: ("name",),
    LabLine: ("row",),
    Medication: ("name",),
    Laboratory: ("name",),
    Message: ("words",),
    MonthlyReview: ("words",),
    Patient: ("name", "hospital_number"),
    PendingEvaluation: ("last_error",),
    PlanItem: ("words",),
    Replay: ("why",),
    SupplyItem: ("name", "unit_word"),
    Unit: ("name", "time_zone"),
    UnitText: ("content", "why"),
    User: ("name", "email"),
    VascularAccess: ("place",),
}
"""Columns that hold what people wrote themselves, which is shown as they wrote it."""
CODES = ("stdKt/V", "nPCR", "HCO₃", "PTH", "TSAT", "KoA", "pmol/L", "µmol/L", "mmol/min", "API", "CFU/mL", "EU/mL")
"""Beside the units that all pages have: what has the same letters in every language."""


def typed(world: World, name: str, method: str) -> list[str]:
    """All that people of this world wrote, and what is sent to this address; the longest first."""
    rows = [row for model, columns in TYPED.items() for row in model._default_manager.values_list(*columns)]
    sent = BODIES.get((name, method), lambda world: {})(world)
    substances = [each.name for each in SUBSTANCES]
    words = {part.strip() for part in _texts([rows, sent, substances, read_to_sign(name)]) if part.strip()}
    return sorted((*words, *CODES, *laboratory_units(), *printed(), *towns()), key=len, reverse=True)


def laboratory_units() -> set[str]:
    """As laboratories write them, in every language."""
    return {unit for analyte in ANALYTES.values() for unit in analyte.units}


def towns() -> set[str]:
    """The towns by which zones are named, and their parts of the world: as the zone database writes them."""
    parts = zones_by_part()
    return {part for part, _zones in parts} | {town for _part, zones in parts for _zone, town in zones}


def read_to_sign(name: str) -> list[Any]:
    """A text is signed in each language as its readers have it."""
    found = []
    for code, _name in settings.LANGUAGES if name.startswith("treatments:signing-") else ():
        with override(code):
            found += [checklist.default_content(), run_sheets.default_content("buttonhole")]
    return found


def _texts(part: Any) -> Iterator[str]:
    if isinstance(part, str):
        yield part
    elif isinstance(part, Mapping):
        yield from _texts(list(part.values()))
    elif isinstance(part, list | tuple):
        for inner in part:
            yield from _texts(inner)


def printed() -> set[str]:
    """Where equations and ranges come from: titles of papers and guidelines stay as they were printed."""
    numbers = (*NIGHT_NUMBERS.values(), *MONTH_NUMBERS.values())
    sources = {each.origin for each in numbers} | {row.source for row in GUIDANCE.values()}
    return {source for source in sources if source and gettext(source) == source}


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["nephrologist", "administrator"])
def test_nothing_that_staff_read_is_left_in_english(role: str, made_up: str, world: World) -> None:
    person = world.people[role]
    assert person is not None
    type(person).objects.filter(pk=person.pk).update(language=made_up)
    client = world.client(role)
    left: dict[tuple[str, str], list[str]] = {}
    pages = 0
    for address in every_address():
        for method in TABLE[address.name]:
            answer = ask(client, world, address, method)
            if answer.streaming:
                continue
            page = told(answer)
            pages += "<html" in page
            if found := list(dict.fromkeys(left_in_english(page, *typed(world, address.name, method)))):
                left[address.name, method] = found
    assert pages > 60
    assert left == {}


@pytest.mark.django_db
@pytest.mark.parametrize("alert", [True, False])
def test_messages_are_in_the_language_of_whom_they_go_to(
    made_up: str, world: World, settings: Any, alert: bool
) -> None:
    person = world.people["nurse"]
    assert person is not None
    person.language = made_up
    row = AlertMessage(to=person, channel=Channel.EMAIL, alert_id=world.ids["alert_id"] if alert else None)
    said = words_of(row)
    assert all(pseudo_words.OPEN in words for words in said)
    assert list(left_in_english(" ".join(said))) == []
    settings.STAFF_LANGUAGES = ["en"]
    assert [words for words in words_of(row) if pseudo_words.OPEN in words] == []


def test_what_servers_answered_is_read_in_the_language_of_the_reader(made_up: str) -> None:
    row = AlertMessage(answer={"code": "mail_said", "parts": {"code": 550, "words": "5.1.1"}})
    assert row.answer_words == "The mail server said 550: 5.1.1"
    with translation.override(made_up):
        assert [code for code in WORDS if str(WORDS[code]).count(pseudo_words.OPEN) == 0] == []
        assert list(left_in_english(row.answer_words)) == []
