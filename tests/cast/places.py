"""What each place of the product says of a member of the cast, as numbers by record and key.

Only what comes over HTTP is read, so that nothing here can share a mistake with the pages.
"""

from __future__ import annotations

import io
import re
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.http import HttpResponse
from django.test import Client
from pypdf import PdfReader

from dosing.services.night.catalogue import NIGHT_NUMBERS
from sessions.models import Patient
from tests.cast.page_text import PageText
from tests.cast.shown import Shown, whole, written

Said = dict[str, Shown]
"""By place."""
OfNights = defaultdict[tuple[str, str], Said]
"""By record and key of a number, what each place says."""

HEADINGS = {number.heading: number.key for number in NIGHT_NUMBERS.values()}
SINGLE_POOL_LOINC = "70965-9"
EXPLAINED = ("uf_volume", "uf_rate", "single_pool_ktv", "standard_ktv")
"""Numbers whose own page is opened as well."""
NOTED = ("pre_weight_kg", "post_weight_kg", "pre_systolic", "pre_diastolic", "post_systolic", "post_diastolic")
SITTING = {"8459-0": "systolic", "8453-3": "diastolic"}
"""LOINC of the parts of a blood pressure."""
NIGHT = re.compile(r"/nights/([0-9a-f-]{36})/")


@dataclass
class Places:
    """The pages and answers about one patient, as a nurse, and as the patient."""

    patient: Patient
    nurse: Client
    own: Client

    def page(self, path: str, client: Client | None = None) -> PageText:
        return PageText(self.ask(path, client).content.decode())

    def ask(self, path: str, client: Client | None = None) -> HttpResponse:
        answer = (client or self.nurse).get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return answer

    def json(self, path: str, client: Client | None = None) -> Any:
        return self.ask(path, client).json()  # type: ignore[attr-defined]  # of the test client

    @cached_property
    def records(self) -> list[dict[str, Any]]:
        """Finished treatments by the API, newest first."""
        found = self.json(f"/api/v1/treatments/?patient={self.patient.pk}&limit=100")["results"]
        return [each for each in found if each["status"] == "finished"]

    @cached_property
    def kit(self) -> dict[str, Any]:
        found: dict[str, Any] = self.json("/api/v1/bedside/", self.own)
        return found

    @cached_property
    def observations(self) -> list[dict[str, Any]]:
        """Of FHIR, all pages of them."""
        path, found = f"/api/v1/fhir/Observation?patient={self.patient.pk}&_count=1000", []
        while path:
            bundle = self.json(path)
            found += [entry["resource"] for entry in bundle.get("entry", [])]
            path = next((link["url"] for link in bundle["link"] if link["relation"] == "next"), "")
        return found

    @cached_property
    def overview(self) -> PageText:
        return self.page(f"/patients/{self.patient.pk}/?days=182")

    def night_page(self, record: str, client: Client | None = None) -> PageText:
        return self.page(f"/nights/{record}/", client)


def of_nights(places: Places) -> OfNights:
    """The computed numbers of all nights, as far as lists show them, and of the last night all that is said of it."""
    found: OfNights = defaultdict(dict)
    for from_list in (_patient_page, _kit, _fhir, _alerts):
        for record, key, shown, place in from_list(places):
            found[record, key][place] = shown
    last = places.records[0]["id"]
    for client, place in ((places.nurse, "night page"), (places.own, "night page of the patient")):
        for term, said in places.night_page(last, client).terms:
            if term.key:
                found[last, term.key][place] = written(said.text)
    for key in EXPLAINED:
        result = places.page(f"/nights/{last}/numbers/{key}/").said_of("Result")
        found[last, key]["page of the number"] = written(result)
    for line in places.json(f"/api/v1/bedside/nights/{last}/answer/", places.own)["lines"]:
        found[last, line["key"]]["answer on the phone"] = whole(line["value"])
    return found


def _patient_page(places: Places) -> Any:
    heads: list[str] = []
    for row in places.overview.rows:
        if row and row[0].text == "Night":
            heads = [HEADINGS[cell.text] for cell in row[1:]]
        elif heads and row and row[0].links and (night := NIGHT.search(row[0].links[0])):
            yield from (
                (night[1], key, written(cell.text), "patient page") for key, cell in zip(heads, row[1:], strict=True)
            )


def _kit(places: Places) -> Any:
    for night in places.kit["history"]:
        yield from ((night["id"], key, whole(night[key]), "kit of the phone") for key in NIGHT_NUMBERS if key in night)


def _fhir(places: Places) -> Any:
    known: dict[tuple[str, str], float | None] = {}
    for each in places.observations:
        code = each["code"]["coding"][0]
        computed = code["system"].endswith("/number")
        if computed or code["code"] == SINGLE_POOL_LOINC:
            record = each["partOf"][0]["reference"].removeprefix("Procedure/")
            value = each["valueQuantity"]["value"] if "dataAbsentReason" not in each else None
            known[record, code["code"] if computed else "single_pool_ktv"] = value
    keys = {key for _, key in known}
    for record in (each["id"] for each in places.records):
        yield from ((record, key, whole(known.get((record, key))), "FHIR") for key in keys)


def _alerts(places: Places) -> Any:
    """Evidence that bears the name of a number, from the pages of the open alerts."""
    terms = places.night_page(places.records[0]["id"]).terms
    keys = {term.text: term.key for term, _ in terms if term.key}
    for link in set(re.findall(r"/alerts/\d+/", places.ask(f"/patients/{places.patient.pk}/alerts/").content.decode())):
        for row in places.page(link).rows:
            night = NIGHT.search(row[0].links[0]) if row and row[0].links else None
            key = keys.get(row[2].text) if night and len(row) == 5 else None
            if night and key:
                yield night[1], key, written(row[3].text), "alert"


def of_notes(places: Places) -> OfNights:
    """What was noted before and after the last night, by the same names everywhere."""
    last = places.records[0]
    found: OfNights = defaultdict(dict)
    for name in NOTED:
        found[last["id"], name]["API"] = whole(last[name])
        found[last["id"], name]["kit of the phone"] = whole(places.kit["history"][0][name])
    for client, place in ((places.nurse, "night page"), (places.own, "night page of the patient")):
        rows = {row[0].text: row for row in places.night_page(last["id"], client).rows if len(row) == 3}
        for when, cell in (("pre", 1), ("post", 2)):
            found[last["id"], f"{when}_weight_kg"][place] = written(rows["Weight, kg"][cell].text)
            pair = ([*rows["Pressure sitting, mmHg"][cell].text.split("/"), "–"])[:2]
            for name, text in zip(("systolic", "diastolic"), pair, strict=True):
                found[last["id"], f"{when}_{name}"][place] = written(text)
    for key, shown in _fhir_notes(places, last["id"]):
        found[last["id"], key]["FHIR"] = shown
    return found


def _fhir_notes(places: Places, record: str) -> Any:
    known: dict[str, float] = {}
    for each in places.observations:
        name = each["id"].removeprefix(f"{record}-")
        if name in ("pre-weight-kg", "post-weight-kg"):
            known[name.replace("-", "_")] = each["valueQuantity"]["value"]
        if name in ("pre-systolic", "post-systolic"):
            for part in each["component"]:
                end = SITTING[part["code"]["coding"][0]["code"]]
                known[f"{name.removesuffix('-systolic')}_{end}"] = part["valueQuantity"]["value"]
    yield from ((name, whole(known.get(name))) for name in NOTED)


def pdf_text(answer: HttpResponse) -> str:
    """All that a PDF says, in one line."""
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content  # type: ignore[attr-defined]
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())
