"""From an empty database to the first signed review: each page is reached by the link that the pages before it show.

Nothing is made behind the pages but the first administrator, whom the document of running makes by a command, and what
workers do.
"""

from __future__ import annotations

import json
import re
import uuid
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.management import call_command
from django.utils import timezone

from alerts.tasks import sweep
from dosing.models import MonthlyReview
from dosing.tasks import compute_months
from homedialysis.accounts.models import Unit, User
from sessions.models import TreatmentRecord
from tests.factories import PASSWORD, night_body
from tests.over_http import JSON
from tests.plain_browser import Hands

pytestmark = pytest.mark.django_db
WALL = "%Y-%m-%dT%H:%M"
LINK = re.compile(r"<code class=\"token\">[^<]*?(/join/[^<]+)</code>")
TO_THE_FIRST = "/unit/first/"
"""Where the administrator lands, which the page of the unit links for everybody."""


def signed_in(email: str) -> Hands:
    return Hands().open("/").send("Sign in", login=email, password=PASSWORD)


def joined(link: str) -> Hands:
    """Somebody opens the link of an invitation, chooses a password, and is in."""
    return Hands().open(link).send(new_password1=PASSWORD, new_password2=PASSWORD)


def link_on(hands: Hands) -> str:
    found = LINK.search(hands.html)
    assert found, hands.html
    return found[1]


def to_do(hands: Hands) -> Hands:
    return hands.reach("Unit", "To the first treatment")


def set_the_unit_up(adi: Hands) -> None:
    assert adi.address == TO_THE_FIRST, "the administrator lands on what is missing"
    adi.follow("Name, time zone and units").send(
        "Save", name="Unit of Denver", time_zone="America/Denver", unit_system="us", weight_unit="lb",
        temperature_unit="°F", day_order="mdy", hour_clock="12", week_begins="6", english="en-us",
        emergency_number="911", on_call_number="+1 303 555 0142",
        **{f"opening_hours-{row}-opens": "08:00" for row in range(7)},
        **{f"opening_hours-{row}-closes": "17:00" for row in range(7)},
    )  # fmt: skip
    assert Unit.objects.get().opening_hours.count() == 7


def invite_staff(adi: Hands) -> dict[str, Hands]:
    come = {}
    for role, step in (("nurse", "A nurse"), ("nephrologist", "A nephrologist")):
        to_do(adi).follow(step).send(name=f"First {role}", email=f"{role}@example.org", role=role)
        come[role] = joined(link_on(adi))
    return come


def sign_texts(person: Hands) -> None:
    """Texts that patients read, one after another, as the pages lead; all of them would take the rest of the day."""
    person.open("/").follow("Bedside texts").follow("Read and sign").follow("Read and sign")
    for _text in range(3):
        proof = {"password": PASSWORD} if 'name="password"' in person.html else {}
        person.send("I have read it and sign it", **proof)


def make_ready(nurse: Hands, nephrologist: Hands) -> None:
    to_do(nurse).follow("Dialyzers").follow("Add a dialyzer").send(
        name="Made-up 190", koa_ml_min="1200", surface_m2="1.9", source="data sheet of the maker",
    )  # fmt: skip
    to_do(nurse).follow("Laboratories").follow("Add a laboratory").send(name="Denver laboratory")
    rota = to_do(nurse).follow("Rota")
    turn = {"person": rota.choice("person", "First nurse"), "weekday": rota.choice("weekday", "Monday")}
    rota.send("Put on the rota", begins="08:00", ends="12:00", **turn)
    for _part in range(4):
        to_do(nurse).send("Right")
    assert missing(to_do(nurse)) == ["The first patient"]


def enrol(nurse: Hands) -> None:
    to_do(nurse).follow("The first patient").send(
        "Take into the program", name="Ana Verdemar", hospital_number="H-1", birth_date="1970-05-17", sex="female",
        height_cm="165", phone="303 555 0199",
        joined_on=f"{timezone.now() - timedelta(days=2):%Y-%m-%d}",
    )  # fmt: skip


def ready_list(person: Hands) -> Hands:
    return person.reach("Patients", "Ana Verdemar", "Invite")


def missing(hands: Hands) -> list[str]:
    """What a list of steps calls missing, in its order."""
    rows = re.findall(r"<tr>(.*?)</tr>", hands.html, re.DOTALL)
    return [found[1].strip() for row in rows if ">missing<" in row and (found := re.search(r"<a[^>]*>([^<]+)", row))]


def prepare(nurse: Hands, nephrologist: Hands) -> None:
    """What the list of this patient asks for, each from the list."""
    ready_list(nurse).follow("Allergies and dangers").send("Save", no_allergies="on", no_dangers="on")
    ready_list(nurse).follow("Access").send(
        "Note", kind="fistula", side="left", place="forearm", created_on="2025-05-01"
    )
    for use in ("arterial", "venous"):
        ready_list(nurse).follow("Sites for both needles").send(
            "Add", name=f"The {use} one", use=use, technique="rope_ladder"
        )
    ready_list(nurse).follow("Machine at home").send("Save", kind="dialysis", name="Made-up machine", serial="M-1")
    water = ready_list(nurse).follow("Water tested")
    taken = {
        "kind": water.choice("kind", "Total chlorine"),
        "place": water.choice("place", "after the first carbon"),
        "fluid": water.choice("fluid", "water for dialysis"),
    }
    water.send("Save", value="0.02", **taken)
    ready_list(nurse).follow("Training").send("Save", topic="The whole treatment")
    prescribe(ready_list(nephrologist).follow("Prescription"))


def prescribe(page: Hands) -> None:
    """In pounds, as the unit reads weights."""
    dialyser = page.choice("dialyser", "Made-up 190")
    page.send(
        "Show what changes", dialyser=dialyser, days_per_week="5", minutes="240", max_minutes="300",
        reading_interval_minutes="60", qb_ml_min="300", qd_ml_min="500",
        target_weight_kg="154.3", uf_rate_limit_ml_kg_h="10", dialysate_na_mmol_l="138", dialysate_k_mmol_l="2",
        dialysate_ca_mmol_l="1.25", dialysate_buffer="bicarbonate", dialysate_buffer_mmol_l="35",
        dialysate_temperature_c="36.5", anticoagulant="none", needle_gauge="16",
    )  # fmt: skip
    page.send("Sign and put in force", password=PASSWORD)


def treated(ana: Hands) -> str:
    """The phone fetches its kit and hands a night over, and the workers do their work."""
    kit = ana.client.get("/api/v1/bedside/").json()
    assert (kit["prescription"]["version"], kit["unit"]["on_call_number"]) == (1, "+1 303 555 0142")
    began = timezone.now().replace(microsecond=0) - timedelta(hours=6)
    record = str(uuid.uuid4())
    night = night_body(began, pre_weight_kg=72.0, post_weight_kg=70.0)
    answer = ana.client.put(f"/api/v1/treatments/{record}/", json.dumps(night), content_type=JSON)
    assert answer.status_code == 201, answer.json()
    sweep()
    return record


def review_of(nurse: Hands, nephrologist: Hands, record: str) -> None:
    """The nurse reads the night and enters bloods; when the month is computed the nephrologist judges it and signs."""
    night = nurse.reach("Patients", "Ana Verdemar")
    began = TreatmentRecord.objects.get(pk=record)
    night.follow(f"{began.night:%a, %b} {began.night.day}, {began.night.year}")
    wall = {"pre_drawn_at": began.started_at, "post_drawn_at": began.ended_at}
    drawn = {name: f"{at.astimezone(ZoneInfo('America/Denver')):%Y-%m-%dT%H:%M}" for name, at in wall.items()}
    bloods = nurse.reach("Patients", "Ana Verdemar").follow("Bloods")
    bloods.send(
        "Enter", urea="62", post_urea="24", post_method="slow_flow", potassium="5.1", phosphate="5.2",
        haemoglobin="10.8", albumin="3.9", **drawn,
    )  # fmt: skip
    compute_months()
    board = nephrologist.open("/").follow("Month")
    if f"{began.night:%B %Y}" not in board.html.partition("<h1>")[2].partition("</h1>")[0]:
        board.follow(f"{began.night:%B}")
    review = board.follow("Judge one after another")
    assert "Hemoglobin" in review.html
    words = {"words": "A good beginning.", "for_patient": "Well done.", "password": PASSWORD}
    review.send("Sign", **words)
    signed = MonthlyReview.objects.get()
    assert (signed.words, str(signed.signed_by)) == ("A good beginning.", "First nephrologist")
    assert "signed by" in review.html


def test_from_nothing_to_the_first_signed_review() -> None:
    call_command("createsuperuser", "--no-input", email="adi@example.org", name="Adi First")
    first = User.objects.get()
    first.set_password(PASSWORD)  # the command asks for it where somebody sits before it
    first.save()
    adi = signed_in("adi@example.org")
    set_the_unit_up(adi)
    staff = invite_staff(adi)
    nurse, nephrologist = staff["nurse"], staff["nephrologist"]
    make_ready(nurse, nephrologist)
    for person in (nurse, nephrologist):
        sign_texts(person)
    enrol(nurse)
    prepare(nurse, nephrologist)
    assert missing(ready_list(nurse)) == ["Invitation"]
    ana = joined(link_on(ready_list(nurse).send("Make a link", email="ana@example.org")))
    record = treated(ana)
    review_of(nurse, nephrologist, record)
