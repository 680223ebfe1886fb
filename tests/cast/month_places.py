"""What each place says of a month of a member of the cast, and of what holds for the patient now."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from tests.cast.page_text import PageText
from tests.cast.places import Places, Said, pdf_text
from tests.cast.shown import GRADES, Shown, whole, written

MONTHS_IN_TABLE = 6
EXPLAINED = (
    "nights",
    "time",
    "measured_week_kidney",
    "modelled_week",
    "uf_rate_mean",
    "single_pool_ktv_last",
    "potassium",
)
"""Numbers of a month whose own page is opened as well."""
FIGURE = r"[-−]?\d+(?:\.\d+)?"
INTERVAL = rf" \({FIGURE} to {FIGURE}\)"
CELL = rf"(–|{'|'.join(GRADES)}|{FIGURE})(?:{INTERVAL})?\??(?: (?:\(?[▲▼] (?:above|below)\)?|[△▽]))*"
"""Of the review on paper: a number, where the true one lies, a mark where it is doubtful, and those of its range."""
POTASSIUM = "2823-3"


def board_of(page: PageText) -> dict[str, dict[str, Shown]]:
    """By patient's id, each number that the board shows."""
    heads = next(row for row in page.rows if row and row[0].text == "Patient")
    found = {}
    for row in page.rows:
        person = re.search(r"/patients/([0-9a-f-]{36})/$", row[0].links[0]) if row and row[0].links else None
        if person and len(row) == len(heads):
            found[person[1]] = {head.key: written(cell.text) for head, cell in zip(heads[3:], row[3:], strict=True)}
    return found


def of_month(places: Places, month: str, board: dict[str, Shown]) -> dict[str, Said]:
    """By key, what board, review, PDF and the number's own page say of it."""
    person, found = places.patient.pk, defaultdict[str, Said](dict)
    address = f"/patients/{person}/months/{month}/"
    review = places.page(f"{address}review/")
    pdf = pdf_text(places.ask(f"{address}review/review.pdf"))
    labels: dict[str, str] = {}
    for row in review.rows:
        if row and row[0].key and len(row) == MONTHS_IN_TABLE + 2:
            labels[row[0].key] = row[0].text
            found[row[0].key]["review"] = written(row[1].text)  # the newest month comes first
    for key, label in labels.items():
        found[key]["board"] = board[key]
        found[key]["PDF"] = _in_pdf(pdf, label)
    for key in EXPLAINED:
        found[key]["page of the number"] = written(places.page(f"{address}{key}/").said_of("Result"))
    return found


def _in_pdf(text: str, label: str) -> Shown:
    """The first of the six months that stand beside a label: the newest."""
    row = re.search(rf"{re.escape(label)}(?:, [^–]{{1,18}}?)? {' '.join([CELL] * MONTHS_IN_TABLE)}", text)
    assert row, f"“{label}” with its six months is not in the PDF: {text.partition('Six months')[2]}"
    return written(row[1])


def treatments_done(places: Places, month: str, board: dict[str, Shown]) -> Said:
    """How many finished treatments a month had, by each that counts them."""
    address = f"/patients/{places.patient.pk}/months/{month}/"
    done, asked = places.page(f"{address}review/").said_of("Treatments done, of prescribed").split(" of ")
    explained = {term.text: said.text for term, said in places.page(f"{address}nights/").terms}
    of_api = counted(
        (each["started_at"], each["ended_at"]) for each in places.records if each["night"].startswith(month)
    )
    return {
        "review": written(done),
        "page of the number": written(next(text for what, text in explained.items() if "treatments done" in what)),
        "API": whole(of_api),
        "FHIR": whole(counted(_procedures(places, month))),
        "board, times prescribed": _rounded(board["nights"], asked),
    }


LEAST = timedelta(minutes=30)
"""What is shorter was broken off and counts as no treatment."""


def counted(spans: Iterable[tuple[str, str]]) -> int:
    """How many treatments these are, by start and end: none that was broken off, and one written twice only once."""
    moments = sorted((datetime.fromisoformat(start), datetime.fromisoformat(end)) for start, end in spans)
    whole_ones = [(start, end) for start, end in moments if end - start >= LEAST]
    return sum(at == 0 or start >= whole_ones[at - 1][1] for at, (start, _end) in enumerate(whole_ones))


def _rounded(share: Shown, asked: str) -> Shown:
    return Shown(None if share.value is None else round(share.value / 100 * float(asked)), 0)


def _procedures(places: Places, month: str) -> Iterator[tuple[str, str]]:
    """Start and end of each that is over."""
    bundle = places.json(f"/api/v1/fhir/Procedure?patient={places.patient.pk}&_count=1000")
    for entry in bundle.get("entry", []):
        found = entry["resource"]
        if found["status"] == "completed" and found["performedPeriod"]["start"].startswith(month):
            period = found["performedPeriod"]
            yield period["start"], period["end"]


def of_prescription(places: Places) -> dict[str, dict[str, str]]:
    """The lines of what is in force, by each place that shows all of them: {place: {label: text}}."""
    person = places.patient.pk
    pages = {
        "patient page": places.overview,
        "prescription page": places.page(f"/patients/{person}/prescription/"),
        "review": places.page(f"/patients/{person}/months/2026-03/review/"),
    }
    found = {}
    for place, page in pages.items():
        texts = [(term.text, said.text) for term, said in page.terms]
        last = [label for label, _ in texts].index("Signed")
        found[place] = dict(texts[: last + 1])
    return found


def papers_of_prescription(places: Places) -> dict[str, str]:
    """What the papers say, without the spaces at which lines end."""
    person = places.patient.pk
    papers = {
        "PDF": f"/patients/{person}/months/2026-03/review/review.pdf",
        "paper sheet": f"/takeout/{person}/flow-sheet.pdf",
    }
    return {place: without_spaces(pdf_text(places.ask(path))) for place, path in papers.items()}


def without_spaces(text: str) -> str:
    return "".join(text.split())


def numbers_of_prescription(places: Places, lines: dict[str, str]) -> dict[str, Said]:
    """What programs are told, beside the lines of a page."""
    answers = {
        "kit of the phone": places.kit["prescription"],
        "API": places.json("/api/v1/prescriptions/current/", places.own),
    }
    found = defaultdict[str, Said](dict)
    for place, answer in answers.items():
        found["target weight"][place] = whole(answer["target_weight_kg"])
        found["UF limit"][place] = whole(answer["uf_rate_limit_ml_kg_h"])
        found["version"][place] = whole(answer["version"])
    found["target weight"]["page"] = written(lines["Target weight"])
    found["UF limit"]["page"] = written(lines["UF rate, at most"])
    found["version"]["page"] = written(lines["Signed"].rpartition("(version ")[2])
    return found


def access_in_use(places: Places) -> dict[str, str]:
    """The kind of access in use, and whether the dose of the last night took it for a catheter."""
    person = places.patient.pk
    kinds = ("catheter", "fistula", "graft")
    page = places.page(f"/patients/{person}/access/").text
    overview = places.overview.text
    texts = {
        "access page": page.partition("In use: ")[2][:60],
        "patient page": overview.partition("Access: ")[2][:60],
        "kit of the phone": places.kit["access"]["kind"],
    }
    found = {place: next(kind for kind in kinds if kind in text.lower()) for place, text in texts.items()}
    terms = places.page(f"/nights/{places.records[0]['id']}/numbers/equilibrated_ktv/").terms
    dose = next(said.text for term, said in terms if term.text.startswith("Access"))
    return found | {"dose": "catheter" if dose == "catheter" else _needles(found["kit of the phone"])}


def _needles(kind: str) -> str:
    """The dose does not tell a fistula from a graft."""
    return kind if kind != "catheter" else "needles"


def last_potassium(places: Places) -> Said:
    """The newest potassium, by each that shows one."""
    person = places.patient.pk
    of_api = places.json(f"/api/v1/bloods/?patient={person}")["results"]
    known = [each for each in of_api if each["analyte"] == POTASSIUM]
    bloods = [row for row in places.page(f"/patients/{person}/bloods/").rows if row[0].text.startswith("Potassium")]
    on_page = [cell.text for row in bloods for cell in row[1:] if cell.text]
    terms = [said.text for term, said in places.overview.terms if term.text.startswith("Potassium")]
    fhir = [each for each in places.observations if each["code"]["coding"][0]["code"] == POTASSIUM]
    fhir.sort(key=lambda each: each["effectiveDateTime"])
    return {
        "API": whole(known[0]["value"] if known else None),
        "bloods page": written(on_page[0]) if on_page else Shown(None),
        "patient page": written(terms[0]) if terms else Shown(None),
        "FHIR": whole(fhir[-1]["valueQuantity"]["value"] if fhir else None),
    }
