"""The whole record of one patient in open forms: one JSON text, or a zip of CSV tables with that JSON beside them.

Both are made row by row while they are sent, so that a record of many years needs no more memory than one night.
The tables are laid out from the shape of the treatment document: a field added there is in the take-out by itself.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db.backends.postgresql.psycopg_any import Range
from django.db.models import Model, QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _
from rest_framework import serializers

from homedialysis.accounts.services.dates import short_moment
from sessions.models import (
    AccessSite,
    BloodResult,
    Caution,
    Finding,
    Machine,
    Medication,
    Message,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    SupplyCount,
    SupplyDelivery,
    TaskDone,
    Training,
    TreatmentRecord,
    UrineCollection,
    VascularAccess,
    WaterRelease,
    WaterTest,
)
from sessions.services.document import TreatmentDocument
from sessions.texts.ready import words_of

TakeoutRow = dict[str, Any]

BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""A text that begins so is run by spreadsheets (OWASP, "CSV Injection"); a quote in front makes it a text again."""
LEFT_OUT = frozenset({"id", "patient", "message", "entry_ptr"})
"""Columns that say nothing outside this database; a laboratory's message may hold the results of others as well."""
ABOUT = _(
    """This is the whole record of one person, taken out on {made_at}.

record.json holds everything in one text. Each .csv file holds one table of the same: UTF-8, comma between the columns,
the first line names them. The end of a column's name is its unit, such as _kg, _l (litres), _mmhg or _ml_min. Times
are in UTC. Where a table belongs to treatments.csv, its column "treatment" holds the id of the treatment.
A text that begins with =, +, - or @ has a ' put in front, so that no spreadsheet takes it for a formula.
"""
)


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of thing in the record: its name, its columns in order, its rows when asked."""

    name: str
    columns: tuple[str, ...]
    rows: Iterable[TakeoutRow]


def safe_cell(value: Any) -> Any:
    """A value as a cell of a CSV file: lists and objects as JSON, texts that would be formulas made harmless."""
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, datetime):
        return value.isoformat()
    text = value if isinstance(value, str) else json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False)
    return f"'{text}" if text.startswith(BEGINS_A_FORMULA) else text


def tables_of(patient: Patient) -> list[Table]:
    """Every table of one patient's record, treatments and what hangs on them first."""
    return [*_treatment_tables(patient), *_other_tables(patient)]


def _treatments(patient: Patient) -> Iterator[TakeoutRow]:
    found = TreatmentRecord.objects.filter(patient=patient).order_by("started_at", "pk")
    return (_read(record.as_sent) for record in found.select_related("recorded_by").iterator(chunk_size=50))


def _read(value: Any) -> Any:
    """A document with its ready-made words in the language of the moment."""
    if isinstance(value, dict):
        return {name: _read(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_read(inner) for inner in value]
    return words_of(value) if isinstance(value, str) else value


def _treatment_tables(patient: Patient) -> list[Table]:
    fields: dict[str, Any] = dict(TreatmentDocument().fields)
    lists: dict[str, Any] = {
        name: field.child for name, field in fields.items() if isinstance(field, serializers.ListSerializer)
    }
    plain = [name for name in fields if name not in lists]
    parts = [Table(name, ("treatment", *child.fields), _parts(patient, name)) for name, child in lists.items()]
    return [Table("treatments", (*sorted(TreatmentDocument.ignored), *plain), _treatments(patient)), *parts]


def _parts(patient: Patient, name: str) -> Iterator[TakeoutRow]:
    for document in _treatments(patient):
        for row in document.get(name) or []:
            yield {"treatment": document["id"], **row}


def _other_tables(patient: Patient) -> list[Table]:
    """What is kept of a patient beside the treatments, each in order of its own time."""
    mine = {"patient": patient}
    found: dict[str, QuerySet[Any]] = {
        "prescriptions": Prescription.objects.filter(**mine).order_by("version"),
        "acknowledgements": PrescriptionAcknowledgement.objects.filter(prescription__patient=patient).order_by("at"),
        "messages": Message.objects.filter(**mine).order_by("sent_at", "pk"),
        "bloods": BloodResult.with_bounds.filter(**mine).order_by("drawn_at", "pk"),
        "medications": Medication.objects.filter(**mine).order_by("from_on", "pk"),
        "findings": Finding.objects.filter(**mine).order_by("found_on", "pk"),
        "urine_collections": UrineCollection.objects.filter(**mine).order_by("ended_at"),
        "accesses": VascularAccess.objects.filter(**mine).order_by("created_on", "pk"),
        "needle_sites": AccessSite.objects.filter(access__patient=patient).order_by("pk"),
        "machines": Machine.objects.filter(**mine).order_by("since", "pk"),
        "water_tests": WaterTest.objects.filter(**mine).order_by("sampled_at", "pk"),
        "water_releases": WaterRelease.objects.filter(**mine).order_by("released_at", "pk"),
        "cautions": Caution.objects.filter(**mine).order_by("written_at", "pk"),
        "tasks_done": TaskDone.objects.filter(**mine).order_by("done_at", "pk"),
        "supply_counts": SupplyCount.objects.filter(**mine).order_by("counted_at", "pk"),
        "deliveries": SupplyDelivery.objects.filter(**mine).order_by("entered_at", "pk"),
        "trainings": Training.objects.filter(**mine).order_by("done_on", "pk"),
    }
    return [_of_rows(name, rows) for name, rows in found.items()]


def _of_rows(name: str, found: QuerySet[Any]) -> Table:
    """A table of a model's own columns; whatever points elsewhere is written by its name."""
    fields = [field for field in found.model._meta.concrete_fields if field.name not in LEFT_OUT]
    columns = tuple(field.name for field in fields)
    pointing = [field.name for field in fields if field.is_relation]
    rows = found.select_related(*pointing) if pointing else found
    return Table(name, columns, (_columns_of(row, columns) for row in rows.iterator(chunk_size=200)))


def _columns_of(row: Model, columns: tuple[str, ...]) -> TakeoutRow:
    return {name: _plain(getattr(row, name)) for name in columns}


def _plain(value: Any) -> Any:
    if isinstance(value, TreatmentRecord):
        return str(value.pk)
    if isinstance(value, Range):
        return {"from": value.lower, "until": value.upper}
    return str(value) if isinstance(value, Model) else value


def _as_json(value: Any) -> str:
    return json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False)


def _who(patient: Patient) -> TakeoutRow:
    names = ("name", "hospital_number", "birth_date", "sex", "height_cm", "phone", "time_zone", "joined_on", "left_on")
    return {name: getattr(patient, name) for name in names}


def as_json(patient: Patient, *, at: datetime) -> Iterator[str]:
    """The whole record as one JSON object, piece by piece; treatments whole, their codes of ready-made words read."""
    yield f'{{"made_at": {_as_json(at)},\n"patient": {_as_json(_who(patient))}'
    whole = [Table("treatments", (), _treatments(patient)), *_other_tables(patient)]
    for table in whole:
        yield f',\n"{table.name}": ['
        for index, row in enumerate(table.rows):
            yield ("," if index else "") + "\n" + _as_json(row)
        yield "]"
    yield "}\n"


def as_csv(table: Table) -> Iterator[str]:
    """One table as CSV text, line by line."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow([safe_cell(row.get(name)) for name in table.columns])
        yield _emptied(buffer)
    yield _emptied(buffer)


def _emptied(buffer: io.StringIO) -> str:
    text = buffer.getvalue()
    buffer.seek(0)
    buffer.truncate()
    return text


class _Outlet(io.RawIOBase):
    """Where the zip is written to: keeps the bytes until they are sent on. Cannot be rewound, as a stream cannot."""

    def __init__(self) -> None:
        self.waiting = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.waiting += data
        return len(data)

    def take(self) -> bytes:
        taken = bytes(self.waiting)
        self.waiting.clear()
        return taken


def as_zip(patient: Patient, *, at: datetime) -> Iterator[bytes]:
    """A zip of about.txt, record.json and one CSV for each table, piece by piece."""
    files: dict[str, Iterable[str]] = {
        "about.txt": [gettext(ABOUT).format(made_at=f"{short_moment(at.astimezone(UTC))} UTC")]
    }
    files["record.json"] = as_json(patient, at=at)
    files |= {f"{table.name}.csv": as_csv(table) for table in tables_of(patient)}
    outlet = _Outlet()
    with zipfile.ZipFile(outlet, "w", zipfile.ZIP_DEFLATED) as whole:
        for name, pieces in files.items():
            entry = zipfile.ZipInfo(name, date_time=at.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            with whole.open(entry, "w") as inside:
                for piece in pieces:
                    inside.write(piece.encode())
                    yield outlet.take()
    yield outlet.take()
