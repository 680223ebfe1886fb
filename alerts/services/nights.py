"""Read nights with no more of each than the rules at hand look at.

Rows that are many are read as tuples, and the computed numbers without what went into them: that is what makes it
quick, for one patient as for all.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

from django.db.models import JSONField, Model, QuerySet
from django.db.models.expressions import RawSQL

from alerts.rules.base import JudgedNight, ReadingRow
from dosing.models import RecordNumbers
from sessions.models import AnsweredCheck, Event, Prescription, Reading, SiteUsed, TreatmentRecord

UNUSED = ("document", "marks", "notes")
"""Columns of a record that no rule looks at."""
NUMBERS = RawSQL(
    "(SELECT jsonb_object_agg(key, value - '{inputs,function}'::text[]) FROM jsonb_each(numbers))",
    (),
    output_field=JSONField(),
)
"""The numbers of a record with the reasons of the unknown ones, without what went into them."""
Rows = dict[uuid.UUID, list[Any]]


def nights_of(
    records: QuerySet[TreatmentRecord], prescriptions: Iterable[Prescription], reads: frozenset[str]
) -> list[JudgedNight]:
    """The nights of some records, oldest first: a query for each part of `reads`, and one more.

    reads: names of `READERS`; others are left aside.
    """
    by_id = {order.pk: order for order in prescriptions}
    parts = {name: read(records) if name in reads else {} for name, read in READERS.items()}
    found = records.order_by("started_at", "pk").defer(*UNUSED)  # the model's own order is newest first
    return [_night(record, by_id, parts) for record in found]


def _night(record: TreatmentRecord, by_id: dict[int, Prescription], parts: dict[str, Any]) -> JudgedNight:
    return JudgedNight(
        record=record,
        prescription=by_id.get(record.prescription_id) if record.prescription_id else None,
        readings=parts["readings"].get(record.pk, ()),
        events=parts["events"].get(record.pk, ()),
        sites=parts["sites"].get(record.pk, ()),
        checks=parts["checks"].get(record.pk, ()),
        numbers=parts["numbers"].get(record.pk, {}),
    )


def _readings(records: QuerySet[TreatmentRecord]) -> Rows:
    rows = Reading.objects.filter(record__in=records).order_by("at", "pk").values_list(*ReadingRow._fields)
    return _grouped(map(ReadingRow._make, rows))


def _numbers(records: QuerySet[TreatmentRecord]) -> dict[uuid.UUID, Any]:
    rows = RecordNumbers.objects.filter(record__in=records).annotate(slim=NUMBERS)
    return {pk: slim or {} for pk, slim in rows.values_list("pk", "slim")}


def _part(model: type[Model], *order: str) -> Callable[[QuerySet[TreatmentRecord]], Rows]:
    return lambda records: _grouped(model._default_manager.filter(record__in=records).order_by(*order))


def _grouped(rows: Iterable[Any]) -> Rows:
    found: Rows = defaultdict(list)
    for row in rows:
        found[row.record_id].append(row)
    return found


READERS: dict[str, Callable[[QuerySet[TreatmentRecord]], Any]] = {
    "readings": _readings,
    "events": _part(Event, "at", "pk"),
    "sites": _part(SiteUsed, "pk"),
    "checks": _part(AnsweredCheck, "pk"),
    "numbers": _numbers,
}
PARTS_OF_NIGHT = frozenset(READERS)
