"""A language is one folder: it is offered and spoken without a change of code or a migration."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from babel.messages.pofile import write_po
from django.core.management import call_command
from django.test import Client
from django.utils import translation

from homedialysis import languages, words
from homedialysis.accounts.models import User
from homedialysis.accounts.services.language import language_for
from sessions.models import Patient
from sessions.pages import bedside

CODE = "pt-br"
FOLDER = "pt_BR"
HELLO = "Aparelhos e programas"
"""What the third language calls the page of one's devices."""


def written(domain: str, *, whole: bool = True) -> bytes:
    """A translator's file of the third language: each English text behind a tilde, and one in true words."""
    catalog = words.catalogue("es", domain)
    catalog.locale = FOLDER
    for message in catalog:
        if message.id:
            forms = message.id if message.pluralizable else (message.id,)
            said = tuple(HELLO if form == "Devices and programs" else f"~{form}" for form in forms)
            message.string = said if message.pluralizable else said[0]
    if not whole:
        next(message for message in catalog if message.id and not message.pluralizable).string = ""
    target = io.BytesIO()
    write_po(target, catalog, width=0)
    return target.getvalue()


@pytest.fixture
def locale(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The project's languages and a third one, in a folder of their own, as the settings find them."""
    folder = tmp_path / "locale"
    shutil.copytree(words.LOCALE, folder)
    (folder / FOLDER / "LC_MESSAGES").mkdir(parents=True)
    monkeypatch.setattr(words, "LOCALE", folder)
    shutil.copytree(bedside.FOLDER, tmp_path / "bedside")
    monkeypatch.setattr(bedside, "FOLDER", tmp_path / "bedside")
    monkeypatch.setattr(words, "SCRIPT_WORDS", tmp_path / "bedside" / "words")
    monkeypatch.setattr(words, "FALLBACK_CARDS", tmp_path / "bedside" / "js" / words.FALLBACK_CARDS.name)
    settings.LOCALE_PATHS = [folder]
    bedside._release.cache_clear()
    yield folder
    bedside._release.cache_clear()


def put_down(locale: Path, settings: Any, *, whole_for_staff: bool) -> None:
    """Write the files of the third language, make what is made of them, and let the settings find it."""
    for domain in words.DOMAINS:
        whole = whole_for_staff or domain != "staff"
        words.po_path(FOLDER, domain).write_bytes(written(domain, whole=whole))
    words.write_all()
    settings.LANGUAGES = languages.offered(locale)
    settings.STAFF_LANGUAGES = languages.offered_to_staff(locale)
    translation.trans_real._translations.clear()


def test_the_settings_find_english_and_each_folder() -> None:
    offered = languages.offered(words.LOCALE)
    assert offered[0] == ("en", "English")
    assert ("es", "Español") in offered
    assert len(offered) == 1 + len(words.languages())


def test_a_language_without_a_name_is_called_by_its_code() -> None:
    assert [languages.own_name(code) for code in ("de", "pt-br", "es-xx", "qps-mirror")] == [
        "Deutsch",
        "Português Brasileiro",
        "Español",
        "qps-mirror",
    ]


@pytest.mark.django_db
class TestAThirdFolder:
    def test_is_offered_and_spoken_on_pages_phone_and_kit(
        self, locale: Path, settings: Any, ana: Patient, ana_client: Client
    ) -> None:
        put_down(locale, settings, whole_for_staff=False)
        answer = ana_client.post("/language/", {"language": CODE}, content_type="application/json")
        assert answer.json() == {"language": CODE}
        page = ana_client.get("/devices/")
        assert (page.headers["Content-Language"], HELLO in page.content.decode()) == (CODE, True)
        shell = ana_client.get("/tonight/").content.decode()
        assert "Português Brasileiro" in shell
        assert f"bedside/words/{CODE}.json" in shell
        assert json.loads(words.script_path(FOLDER).read_text(encoding="utf-8"))["Yes"] == "~Yes"
        kit = ana_client.get("/api/v1/bedside/").json()
        assert (kit["language"], kit["event_kinds"]["cramp"]) == (CODE, "~Cramp")

    def test_needs_no_migration(self, locale: Path, settings: Any) -> None:
        put_down(locale, settings, whole_for_staff=True)
        call_command("makemigrations", check=True, dry_run=True, verbosity=0)

    def test_speaks_to_staff_once_all_of_their_words_are_there(
        self, locale: Path, settings: Any, nurse: User, nurse_client: Client
    ) -> None:
        asked = {"Accept-Language": CODE}
        put_down(locale, settings, whole_for_staff=False)
        assert nurse_client.get("/triage/", headers=asked).headers["Content-Language"] == "en"
        put_down(locale, settings, whole_for_staff=True)
        page = nurse_client.get("/triage/", headers=asked)
        assert (page.headers["Content-Language"], "~Month" in page.content.decode()) == (CODE, True)

    def test_staff_choose_it_on_their_account_page_once_it_is_whole(
        self, locale: Path, settings: Any, nurse: User, nurse_client: Client
    ) -> None:
        put_down(locale, settings, whole_for_staff=False)
        assert CODE not in nurse_client.get("/account/").content.decode()
        refused = nurse_client.post("/language/", {"language": CODE}, follow=True)
        assert "Language must be one of en; &#x27;pt-br&#x27; was given." in refused.content.decode()
        put_down(locale, settings, whole_for_staff=True)
        page = nurse_client.get("/account/").content.decode()
        assert f'<option value="{CODE}" lang="{CODE}" > Português Brasileiro </option>' in " ".join(page.split())
        chosen = nurse_client.post("/language/", {"language": CODE}, follow=True)
        assert (chosen.redirect_chain[-1][0], chosen.headers["Content-Language"]) == ("/account/", CODE)
        triage = nurse_client.get("/triage/", headers={"Accept-Language": "en"})
        assert (triage.headers["Content-Language"], "~Month" in triage.content.decode()) == (CODE, True)
        nurse.refresh_from_db()
        assert nurse.language == CODE

    def test_a_choice_whose_folder_is_gone_means_english(self, ana: Patient) -> None:
        assert ana.account is not None
        ana.account.language = CODE
        assert language_for(ana.account) == "en"
        assert language_for(ana.account, wished="es") == "es"
