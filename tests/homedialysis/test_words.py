"""The words of patients and those who help at home: complete in Spanish, and nothing left outside the catalogues."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from django.test import Client, override_settings
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext, ngettext

from dosing.science.reasons import REASONS, WORDS, Reason
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.numbers.reasons import reason_words
from homedialysis import words
from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.invitations import invite
from homedialysis.accounts.services.language import language_here, reading, spelt
from homedialysis.accounts.services.units import speaking, units_of
from homedialysis.management.commands.words import Command
from homedialysis.spelling import AMERICAN, american
from sessions.facts.fields import TREATMENT
from sessions.models import AccessSite, Patient, Prescription, TreatmentRecord
from sessions.texts import checklist
from tests import pseudo_words
from tests.factories import A_NIGHT, AccessFactory, MachineFactory, SiteFactory, record_night
from tests.left_in_english import left_in_english

PLACEHOLDER = re.compile(r"%\(\w+\)[sdr]|\{\w*(?::[^}]*)?\}|</?\w+>")
LANGUAGES = words.languages()
EVERY = [(language, domain) for language in LANGUAGES for domain in words.DOMAINS]
OF_PATIENTS = [(language, domain) for language, domain in EVERY if domain != "staff"]
"""Words of staff may follow later: until all are there, pages of staff are not offered in that language."""


def messages(language: str, domain: str) -> list[Message]:
    return [message for message in words.catalogue(language, domain) if message.id]


def forms(text: Any) -> list[str]:
    return [text] if isinstance(text, str) else list(text)


class TestCatalogues:
    def test_spanish_is_there(self) -> None:
        assert "es" in LANGUAGES

    @pytest.mark.parametrize(("language", "domain"), OF_PATIENTS)
    def test_nothing_that_patients_read_is_empty_or_doubtful(self, language: str, domain: str) -> None:
        found = messages(language, domain)
        assert len(found) > 500
        assert [each.id for each in found if each.fuzzy or not all(forms(each.string))] == []

    @pytest.mark.parametrize(("language", "domain"), EVERY)
    def test_placeholders_and_tags_are_those_of_the_english(self, language: str, domain: str) -> None:
        wrong = [
            (english, other)
            for each in messages(language, domain)
            for english, other in zip(forms(each.id), forms(each.string), strict=True)
            if other and sorted(PLACEHOLDER.findall(english)) != sorted(PLACEHOLDER.findall(other))
        ]
        assert wrong == []

    @pytest.mark.parametrize(("language", "domain"), EVERY)
    def test_blanks_at_the_ends_are_those_of_the_english(self, language: str, domain: str) -> None:
        def ends(text: str) -> tuple[bool, bool]:
            return text[:1].isspace(), text[-1:].isspace()

        pairs = [(each.id, each.string) for each in messages(language, domain) if isinstance(each.id, str)]
        assert [english for english, other in pairs if other and ends(english) != ends(str(other))] == []

    @pytest.mark.parametrize("language", LANGUAGES)
    def test_what_was_compiled_is_of_these_catalogues(self, language: str) -> None:
        assert words.mo_path(language).read_bytes() == words.compiled(language)
        assert words.script_path(language).read_text(encoding="utf-8") == words.for_scripts(
            words.catalogue(language, "djangojs")
        )

    def test_the_other_spelling_was_made_of_these_words(self) -> None:
        assert words.mo_path(words.RESPELT).read_bytes() == words.compiled_american()
        told = words.for_scripts(words.respelt("djangojs"))
        assert words.RESPELT_SCRIPTS.read_text(encoding="utf-8") == told

    @pytest.mark.parametrize("gathered", [("django", "staff"), ("djangojs",)])
    def test_every_text_of_the_source_is_in_its_catalogue(self, gathered: tuple[str, ...], tmp_path: Path) -> None:
        with override_settings(LOCALE_PATHS=[tmp_path]):
            options = {"ignore_patterns": ["homedialysis/locale/*"], "verbosity": 0}
            Command(stdout=io.StringIO()).gather(gathered[0], ["es"], defaults() | options)
        for domain in gathered:
            with (tmp_path / "es" / "LC_MESSAGES" / f"{domain}.po").open("rb") as file:
                source = {key(each) for each in read_po(file) if each.id}
            assert len(source) > 100
            assert source == {key(each) for each in messages("es", domain)}, "manage.py words gathers them anew"

    def test_numbers_choose_the_form(self) -> None:
        with translation.override("es"):
            said = [
                ngettext(
                    "%(n)d value was refused; nothing was saved.", "%(n)d values were refused; nothing was saved.", n
                )
                % {"n": n}
                for n in (0, 1, 2)
            ]
        assert said == [
            "Se rechazaron 0 valores; no se guardó nada.",
            "Se rechazó 1 valor; no se guardó nada.",
            "Se rechazaron 2 valores; no se guardó nada.",
        ]
        assert catalogue_of("es").plural_expr == "(n != 1)"


def catalogue_of(language: str) -> Catalog:
    return words.catalogue(language, "djangojs")


def key(message: Message) -> tuple[str, ...]:
    return tuple(forms(message.id))


def defaults() -> dict[str, Any]:
    """The options of the command as its own parser gives them."""
    return vars(Command().create_parser("manage.py", "words").parse_args([]))


class TestWhatIsStoredStaysEnglish:
    """Facts are kept in English or by code, whoever reads them in which language."""

    @pytest.mark.django_db
    def test_a_needle_at_a_catheter_is_kept_and_marked(self, ana: Patient, ana_client: Client) -> None:
        lumen = SiteFactory(access=AccessFactory(patient=ana, kind="catheter"), name="Red", use="arterial")
        needle = SiteFactory(access=AccessFactory(patient=ana, abandoned_on=A_NIGHT.date()), name="Old", use="venous")
        rows = [{"site": needle.pk, "use": "venous", "gauge": 15}, {"site": lumen.pk, "use": "arterial", "gauge": 16}]
        record = record_night(ana, sites=rows, confirmed=["sites[1].gauge"])
        mark = {"field": "sites[1].gauge", "given": 16, "limit": "a catheter has no needle", "confirmed": True}
        assert record.marks == [mark]
        page = ana_client.get(f"/nights/{record.pk}/", headers={"Accept-Language": "es"}).content.decode()
        assert "un catéter no lleva aguja" in page

    @pytest.mark.django_db
    def test_marks_are_kept_in_english_and_read_in_spanish(self, ana: Patient, ana_client: Client) -> None:
        with translation.override("es"):
            record = record_night(ana, pre_systolic=200, pre_diastolic=90)
        assert record.marks[0]["limit"] == "usually between 85 and 190 mmHg"
        page = ana_client.get(f"/nights/{record.pk}/", headers={"Accept-Language": "es"}).content.decode()
        assert "normalmente entre 85 y 190 mmHg" in page

    def test_a_refusal_is_in_the_language_and_with_the_decimal_sign_of_the_reader(self) -> None:
        with translation.override("es"):
            why = TREATMENT["rinse_back_l"].refusal(2.5)
        assert why == "Retorno de sangre: debe estar entre 0 y 2 L; se dio 2,5."

    def test_reasons_of_the_science_are_put_into_words_where_they_are_shown(self) -> None:
        missing = Reason("not_given", what="weight_after")
        short = Reason("outside", what="treatment_length", low=30, high=900, unit="minutes")
        with translation.override("es"):
            assert reason_words(missing) == reason_words(missing.as_json()) == "falta un dato: peso después"
            assert reason_words(short) == "duración del tratamiento: fuera de 30 a 900 minutos"
            assert reason_words(Reason("outside", what="age", low=0.5, high=7, unit="years")).endswith("0,5 a 7 años")
        assert reason_words(missing) == "weight after is not given"
        assert reason_words(short) == "treatment length is outside 30 to 900 minutes"

    def test_every_reason_and_every_word_in_it_is_translated(self) -> None:
        with translation.override("es"):
            texts = [*REASONS.values(), *(words for words in WORDS.values() if words not in SAME_IN_SPANISH)]
            assert [text for text in texts if gettext(text) == text] == []

    @pytest.mark.django_db
    def test_every_reason_that_nights_with_little_in_them_give_is_translated(self, ana: Patient) -> None:
        from dosing.services.night.computing import numbers_of
        from dosing.services.night.inputs import gather

        bare = record_night(ana, readings=[], pre_weight_kg=None, post_weight_kg=None, uf_removed_l=None)
        odd = record_night(ana, A_NIGHT.replace(day=1), pre_weight_kg=290, post_weight_kg=21, uf_removed_l=10)
        found = [each["why"] for record in (bare, odd) for each in numbers_of(gather(record)).values() if each["why"]]
        assert len({why["code"] for why in found}) > 5
        english = [reason_words(why) for why in found]
        with translation.override("es"):
            assert [why for why, words in zip(found, english, strict=True) if reason_words(why) == words] == []


SAME_IN_SPANISH = {"urea"}
"""Words of reasons that are the same in both languages."""


@pytest.fixture
def made_up(settings: Any, tmp_path: Path) -> str:
    """A language in which everything that was marked for translation, and is a patient's word, shows it."""
    settings.LOCALE_PATHS = [pseudo_words.write_server(tmp_path, "django")]
    settings.LANGUAGES = [*settings.LANGUAGES, (pseudo_words.CODE, "Mirror")]
    settings.LANGUAGES_BIDI = [*settings.LANGUAGES_BIDI, pseudo_words.CODE.partition("-")[0]]
    return pseudo_words.CODE


@pytest.fixture
def night(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> TreatmentRecord:
    sites = [{"site": anas_sites[0].pk, "use": "arterial", "attempts": 2, "pain": 3, "bleeding_minutes": 8}]
    checks = [{"name": "Hands and access arm washed", "key": "hands", "part": "setup", "passed": True}]
    events = [{"at": A_NIGHT.isoformat(), "kind": "cramp", "note": "", "saline_l": 0.1}]
    extra = {"sites": sites, "checks": checks, "events": events, "checklist_version": 0, "pre_systolic": 200}
    return record_night(ana, **extra)


@pytest.mark.django_db
class TestPagesOfPatients:
    def page(self, client: Client, path: str, status: int = 200) -> str:
        answer = client.get(path, headers={"Accept-Language": pseudo_words.CODE})
        assert answer.status_code == status, path
        text: str = answer.content.decode()
        return text

    def test_nothing_on_the_pages_of_a_patient_is_left_in_english(
        self, made_up: str, ana: Patient, ana_client: Client, night: TreatmentRecord, unit: Unit
    ) -> None:
        assert ana.account is not None
        type(ana.account).objects.filter(pk=ana.account.pk).update(language=made_up)
        paths = [
            "/tonight/offline/",
            "/devices/",
            f"/nights/{night.pk}/",
            f"/nights/{night.pk}/versions/",
            *(f"/nights/{night.pk}/numbers/{number.key}/" for number in list(NIGHT_NUMBERS.values())[:3]),
            f"/letters/{ana.pk}/",
            "/accounts/password/change/",
            "/accounts/email/",
            "/accounts/logout/",
        ]
        for path in paths:
            page = self.page(ana_client, path)
            assert '<html lang="qps-mirror"' in page, path
            names = (
                "Lower",
                "hands",
                str(checklist.NAMES["hands"]),
                unit.name,
                unit.emergency_number,
                ana.account.name,
                ana.account.email,
                *known_sources(),
            )
            assert (path, list(left_in_english(page, *names))) == (path, [])

    def test_nothing_on_the_way_in_is_left_in_english(self, made_up: str, unit: Unit, nurse: Any) -> None:
        paths = ["/accounts/login/", "/accounts/password/reset/", "/accounts/password/reset/done/", "/accounts/signup/"]
        for path in paths:
            page = self.page(Client(), path)
            assert pseudo_words.OPEN in page, path
            assert list(left_in_english(page, unit.name)) == [], path

    def test_nothing_of_an_invitation_is_left_in_english(self, made_up: str, unit: Unit, nurse: Any) -> None:
        from django.utils import timezone

        person, secret = invite(
            name="Ana Verdemar", email="new@example.org", role="patient", by=nurse, at=timezone.now()
        )
        page = self.page(Client(), f"/join/{secret}/")
        assert pseudo_words.mirrored("Choose a password") in page or pseudo_words.OPEN in page
        assert list(left_in_english(page, unit.name, person.email)) == []
        over = self.page(Client(), "/join/nothing/", 410)
        assert list(left_in_english(over, unit.name)) == []

    def test_nothing_on_the_pages_of_errors_is_left_in_english(
        self, made_up: str, ana: Patient, ana_client: Client, unit: Unit
    ) -> None:
        assert ana.account is not None
        type(ana.account).objects.filter(pk=ana.account.pk).update(language=made_up)
        for path, status in (("/nowhere/", 404), ("/triage/", 403)):
            assert list(left_in_english(self.page(ana_client, path, status), unit.name)) == [], path

    def test_pages_of_a_language_written_from_the_right_say_so(
        self, made_up: str, ana: Patient, ana_client: Client
    ) -> None:
        assert ana.account is not None
        type(ana.account).objects.filter(pk=ana.account.pk).update(language=made_up)
        assert '<html lang="qps-mirror" dir="rtl">' in self.page(ana_client, "/devices/")

    def test_nothing_of_the_kit_that_people_read_is_left_in_english(
        self, made_up: str, ana: Patient, ana_client: Client, night: TreatmentRecord
    ) -> None:
        assert ana.account is not None
        type(ana.account).objects.filter(pk=ana.account.pk).update(language=made_up)
        MachineFactory(patient=ana)
        kit = ana_client.get("/api/v1/bedside/").json()
        assert kit["language"] == made_up
        read = [
            *(limits["label"] for limits in kit["limits"].values()),
            *(item[name] for item in kit["checklist"]["items"] for name in ("name", "hint", "if_failed")),
            *(step[name] for step in kit["run_sheet"]["steps"] for name in ("words", "hint")),
            *(line for card in kit["cards"] for line in (card["title"], *card["now"], card["say"])),
            *kit["first_aid"].values(),
            *kit["event_kinds"].values(),
            *kit["ready"].values(),
            *(each["label"] for each in kit["due"]),
        ]
        assert kit["due"]
        assert len(read) > 150
        assert [text for text in read if text and not text.startswith(pseudo_words.OPEN)] == []

    def test_refusals_of_a_record_are_in_the_language_of_the_sender(
        self, made_up: str, ana: Patient, ana_client: Client
    ) -> None:
        assert ana.account is not None
        type(ana.account).objects.filter(pk=ana.account.pk).update(language=made_up)
        body = {
            "status": "finished",
            "started_at": "2026-03-01T22:00:00Z",
            "pre_weight_kg": 7,
            "post_weight_kg": "heavy",
            "readings": [{"at": "2026-03-01T22:00:00Z", "venous_mmhg": 9000}],
            "nonsense": 1,
        }
        path = "/api/v1/treatments/00000000-0000-4000-8000-000000000001/"
        told = ana_client.put(path, body, content_type="application/json").json()
        assert told["detail"].startswith(pseudo_words.OPEN)
        assert len(told["errors"]) > 1 or told["errors"][0]["field"] == "nonsense"
        assert [each for each in told["errors"] if not each["message"].startswith(pseudo_words.OPEN)] == []


def known_sources() -> set[str]:
    """Where equations come from: titles of papers stay as they were printed."""
    return {number.origin for number in NIGHT_NUMBERS.values() if gettext(number.origin) == number.origin}


def test_dates_are_written_in_spanish() -> None:
    with translation.override("es"):
        assert date_format(A_NIGHT, "l j F", use_l10n=False).split()[0] in {
            "lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"
        }  # fmt: skip


def test_the_made_up_language_keeps_placeholders_and_grows_by_a_third() -> None:
    english = "%(n)s values of {name}, <strong>kept</strong>"
    made = pseudo_words.mirrored(english)
    assert PLACEHOLDER.findall(made) == PLACEHOLDER.findall(english)
    assert len(pseudo_words.mirrored("Call the unit")) > len("Call the unit") * 4 / 3
    assert pseudo_words.unmarked(f"a {made} b {pseudo_words.mirrored(made)}") == "a b"


BRITISH = re.compile(
    r"(?i)\b\w*(?:h?aem(?!orr?age)|oedem|oesoph|diarrhoea|anaesth|paediatr|colour|favour|behaviour|litre|metre|centre|fibre|"
    r"programme\b|dialys(?:er|e\b|ed\b|ing\b)|analys(?:e\b|ed\b|ing\b)|catheteris|organis|recognis|minimis|"
    r"sterilis|normalis|labelled|travell|cancell|signall|modelled|dialled|practis|judgement|towards\b|whilst\b|grey\b)\w*"
)
"""Spellings of our trade that are British alone (from memory)."""
ENGLISH_WORDS = {
    words_
    for domain in words.DOMAINS
    for message in messages(LANGUAGES[0], domain)
    for words_ in (message.id if message.pluralizable else (message.id,))
}


def test_nothing_is_left_in_british_spelling() -> None:
    left = {
        found[0].lower() for each in ENGLISH_WORDS for found in BRITISH.finditer(PLACEHOLDER.sub("", american(each)))
    }
    assert left == set(), "a new word wants its row in homedialysis/spelling.py"


@pytest.mark.parametrize("stem", AMERICAN)
def test_each_spelling_is_one_of_a_word_of_ours(stem: str) -> None:
    assert any(stem in each.lower() for each in ENGLISH_WORDS)


def test_only_what_is_spelt_otherwise_is_there_and_placeholders_stay() -> None:
    for domain in words.DOMAINS:
        for message in words.respelt(domain):
            if message.id:
                given, told = (str(each) for each in (message.id, message.string))
                assert given != told
                assert PLACEHOLDER.findall(given) == PLACEHOLDER.findall(told)


def test_a_unit_that_spells_the_american_way_is_read_so_everywhere(
    nurse_client: Client, ana_client: Client, unit: Unit
) -> None:
    Unit.objects.update(english="en-us")
    page = nurse_client.get("/unit/dialysers/").content.decode()
    shown = re.sub(r"<[^>]+>", " ", page)
    assert ('<html lang="en-latn-us"' in page, "Dialyzers" in shown, "ialyser" in shown) == (True, True, False)
    kit = ana_client.get("/api/v1/bedside/").json()
    assert (kit["language"], kit["unit"]["english"]) == ("en", "en-us")
    told = json.dumps([kit["limits"], kit["cards"], kit["checklist"], kit["run_sheet"], kit["prescription"]])
    told = re.sub(r'"kept": "[^"]*"', "", told)  # what a record keeps is the same in every language
    assert re.findall(r"\b[\w ]*ialyser\b(?!\")", told) == []
    spanish = ana_client.get("/api/v1/bedside/", headers={"X-Bedside-Language": "es"}).json()
    assert spanish["language"] == "es"
    assert json.loads(words.RESPELT_SCRIPTS.read_text(encoding="utf-8"))


def test_a_text_is_signed_in_the_spelling_in_which_it_is_read(nurse: User, unit: Unit) -> None:
    """Where no word of it differs, the signature of the other spelling holds."""
    with speaking(units_of(unit)):
        before = {code: spelt(code) for code in ("en", "es")}
    unit.english = "en-us"
    with speaking(units_of(unit)), reading("en"):
        assert (language_here(), spelt("en"), spelt("es")) == ("en", "en-latn-us", "es")
        assert gettext("Haemoglobin") == "Hemoglobin"
    assert before == {"en": "en", "es": "es"}
