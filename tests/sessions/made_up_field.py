"""Run by `test_made_up_field` in a process of its own: two made-up fields are declared, and then looked for.

The declaration is the line that somebody would write into `sessions/facts/fields.py` and `ordered.py`; it is put into
the text of those modules before anything of the product is loaded. The migration is the one that Django finds missing,
carried out in a transaction of which nothing is kept. Prints one JSON object: place → what was found there.
"""

from __future__ import annotations

import importlib.util
import io
import json
import sys
import types
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import django

READING = "glucose_mmol_l"
GLUCOSE = f"""
    "{READING}": Field(
        "Blood glucose", "mmol/L", (1, 40), (3, 12), 0.1, short="Glucose", decimals=1, asked=105, example=6.2
    ),
"""
ORDER = "dialysate_mg_mmol_l"
MAGNESIUM = f"""
    "{ORDER}": Ordered(
        CIRCUIT, Field("Dialysate magnesium", "mmol/L", (0, 2), (0.25, 1), 0.25, decimals=-2), needed=False
    ),
"""


def declare(name: str, opening: str, line: str) -> None:
    """Load a module with one more line after its opening words."""
    spec = importlib.util.find_spec(name)
    assert spec is not None
    assert spec.origin is not None
    text = Path(spec.origin).read_text(encoding="utf-8")
    assert text.count(opening) == 1, opening
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    exec(compile(text.replace(opening, opening + line), spec.origin, "exec"), module.__dict__)  # noqa: S102
    setattr(sys.modules[name.rpartition(".")[0]], name.rpartition(".")[2], module)


def lead_tests_here() -> None:
    """Let `tests` mean this folder: an installed package may own the name."""
    package = types.ModuleType("tests")
    package.__path__ = [str(Path(__file__).parent.parent)]
    sys.modules["tests"] = package


lead_tests_here()
declare("sessions.facts.fields", "READING: dict[str, Field] = {", GLUCOSE)
declare("sessions.facts.ordered", "ORDERED: dict[str, Ordered] = {", MAGNESIUM)
django.setup()

from django.apps import apps  # noqa: E402
from django.conf import settings  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.db.migrations.autodetector import MigrationAutodetector  # noqa: E402
from django.db.migrations.loader import MigrationLoader  # noqa: E402
from django.db.migrations.state import ProjectState  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402
from django.utils import timezone  # noqa: E402
from drf_spectacular.generators import SchemaGenerator  # noqa: E402
from pypdf import PdfReader  # noqa: E402

from alerts.rules.base import Evidence, ReadingRow  # noqa: E402
from alerts.rules.evidence_kinds import label_of_evidence, shown, unit_of  # noqa: E402
from alerts.services.nights import nights_of  # noqa: E402
from dosing.services.decision import report  # noqa: E402
from dosing.services.fhir import resources  # noqa: E402
from dosing.services.night.treatments import as_night  # noqa: E402
from homedialysis.accounts.models import Role  # noqa: E402
from homedialysis.demo import papers  # noqa: E402
from homedialysis.demo.cast import CAST  # noqa: E402
from homedialysis.demo.papers import Sites  # noqa: E402
from sessions.api import examples  # noqa: E402
from sessions.models import Prescription, TreatmentRecord  # noqa: E402
from sessions.pages.forms import PrescriptionForm  # noqa: E402
from sessions.services import prescription_changes, takeout  # noqa: E402
from sessions.services.flow_sheet import flow_sheet_pdf, sheet_of  # noqa: E402
from sessions.services.kit import kit  # noqa: E402
from tests.factories import A_NIGHT, PatientFactory, PrescriptionFactory, UnitFactory, UserFactory, night_body  # noqa: E402
from tests.homedialysis.test_demo_simulator import nights_of as made_up_nights  # noqa: E402
from tests.over_http import put  # noqa: E402

Found = dict[str, Any]


def migrate() -> list[str]:
    """Carry out the migrations that are missing, and name what they add."""
    loader = MigrationLoader(connection)
    state, wanted = loader.project_state(), ProjectState.from_apps(apps)
    missing = MigrationAutodetector(state, wanted).changes(loader.graph)
    done = []
    for label, migrations in missing.items():
        for operation in migrations[0].operations:
            before = state.clone()
            operation.state_forwards(label, state)
            with connection.schema_editor(atomic=False) as editor:
                operation.database_forwards(label, editor, before, state)
            done.append(operation.describe())
    return sorted(each for each in done if each.startswith("Add field"))


def of_a_reading(found: Found) -> None:
    """Hand in a treatment with the made-up number, and look for it wherever readings are."""
    ana = PatientFactory(name="Ana Verdemar", account__email="ana@example.org")
    order = PrescriptionFactory(patient=ana, version=1, **{ORDER: 0.5})
    client, nurse = Client(), Client()
    client.force_login(ana.account)
    nurse.force_login(UserFactory(role=Role.NURSE))
    at = (A_NIGHT + timedelta(hours=1)).isoformat()
    record_id = uuid.uuid4()

    def sent(value: Any) -> Any:
        return put(client, record_id, night_body(readings=[{"at": at, "pulse": 70, READING: value}]))

    found["refusal"] = [fault["message"] for fault in sent(99).json()["errors"]]
    found["a word is no number"] = [fault["message"] for fault in sent("much").json()["errors"]]
    answer = sent(15.4)
    assert answer.status_code == 201, answer.content
    found["API, out"] = answer.json()["readings"][0][READING]
    found["unusual"] = [mark["field"] for mark in answer.json()["marks"]]
    record = TreatmentRecord.objects.get(pk=record_id)
    found["column"] = getattr(record.reading_set.get(), READING)
    on_the_phone(found, kit(ana, ana.account, timezone.now()))
    on_paper(found, ana)
    page = nurse.get(f"/nights/{record.pk}/").content.decode()
    found["night's table"] = [each for each in ("Glucose, mmol/L", ">15.4</td>") if each in page]
    found["night's page, unusual"] = "Blood glucose (reading 1): 15.4" in page
    told = list(resources.observations(as_night(record)))
    found["FHIR"] = [part for each in told for part in each.get("component", []) if READING in json.dumps(part)]
    found["versions"] = "Blood glucose (reading 1)" in nurse.get(f"/nights/{record.pk}/versions/").content.decode()
    of_the_take_out(found, ana)
    (night,) = nights_of(TreatmentRecord.objects.filter(pk=record.pk), [order], frozenset({"readings"}))
    found["rules' rows"] = [READING in ReadingRow._fields, getattr(night.readings[0], READING)]
    seen = Evidence(f"reading.{READING}", A_NIGHT, record.night, 15.44)
    found["evidence of an alert"] = [label_of_evidence(seen), unit_of(seen), shown(seen)]
    of_a_prescription(found, order, client)


def on_the_phone(found: Found, sent: Any) -> None:
    found["kit, limits"] = sent["limits"][f"readings.{READING}"]
    found["kit, reading screen"] = sent["asked"]["readings"]
    found["kit, paper page"] = sent["asked"]["paper"]["readings"]
    found["kit, last reading"] = sent["history"][0]["last_reading"][READING]
    lines = sent["prescription"]["lines"]["other"]
    found["kit, prescription's lines"] = [each for each in lines if "magnesium" in each["label"]]


def on_paper(found: Found, ana: Any) -> None:
    found["flow sheet"] = sheet_of(ana, at=timezone.now(), blank=False)["reading_columns"]
    printed = PdfReader(io.BytesIO(flow_sheet_pdf(ana, at=timezone.now())))
    pages = [page.extract_text() for page in printed.pages]
    found["flow sheet, printed"] = ["Glucose" in pages[0], "Dialysate magnesium" in pages[0], len(pages) > 1]
    found["flow sheet, blank"] = "Dialysate magnesium, mmol/L" in str(sheet_of(ana, at=timezone.now(), blank=True))


def of_the_take_out(found: Found, ana: Any) -> None:
    tables = {table.name: table for table in takeout.tables_of(ana)}
    found["take-out"] = [READING in tables["readings"].columns, "15.4" in "".join(takeout.as_csv(tables["readings"]))]
    found["take-out, prescriptions"] = ORDER in tables["prescriptions"].columns


def of_a_prescription(found: Found, order: Prescription, client: Client) -> None:
    """Look for the made-up order wherever prescriptions are."""
    other = Prescription(**{field.attname: getattr(order, field.attname) for field in order._meta.fields})
    setattr(other, ORDER, 0.75)
    found["what changes"] = [each.line for each in prescription_changes.differences(order, other)]
    form = PrescriptionForm(data={ORDER: 3})
    found["form"] = [form[ORDER].label, ORDER in form.errors, ORDER in PrescriptionForm(data={ORDER: 2}).errors]
    found["form, its group"] = [title for title, fields in form.groups if ORDER in [each.name for each in fields]]
    setattr(other, ORDER, 3)
    try:
        other.clean()
    except django.core.exceptions.ValidationError as refused:
        found["order, refusal"] = refused.message_dict[ORDER]
    found["review"] = [row for row in report._prescription(order) if "magnesium" in row[0]]
    found["prescriptions of the API"] = client.get("/api/v1/prescriptions/current/").json()[ORDER]
    physician = Client()
    physician.force_login(UserFactory(role=Role.NEPHROLOGIST))
    page = physician.get(f"/patients/{order.patient_id}/prescription/").content.decode()
    found["page"] = [page.count("Dialysate magnesium"), f'name="{ORDER}"' in page]


def of_what_is_made_up(found: Found) -> None:
    """Schema, examples and demo, which need no row."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    found["schema"] = [name for name, each in schema["components"]["schemas"].items() if READING in str(each)]
    found["schema, prescription"] = [n for n, each in schema["components"]["schemas"].items() if ORDER in str(each)]
    found["examples"] = examples.NIGHT.value["readings"][0][READING]
    rng = __import__("numpy").random.default_rng(1)
    sites = Sites(arterial=[1], venous=[2])
    document = papers.write_down(CAST[0], made_up_nights(CAST[0])[0], ago=3.0, sites=sites, turn=0, rng=rng)
    found["demo"] = [row[READING] for row in document["readings"]]


def main() -> None:
    setup_test_environment()
    settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    found: Found = {}
    with transaction.atomic():
        found["migration"] = migrate()
        UnitFactory()
        of_a_reading(found)
        of_what_is_made_up(found)
        transaction.set_rollback(True)
    sys.stdout.write(json.dumps(found))


if __name__ == "__main__":
    main()
