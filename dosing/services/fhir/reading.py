"""What a patient's record holds as FHIR resources, in an order that stays, a page at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from dosing.services.fhir import resources
from dosing.services.fhir.parts import Json
from dosing.services.night.treatments import as_night
from sessions.models import BloodResult, Machine, Patient, TreatmentRecord

KINDS = ("Patient", "Device", "Procedure", "Observation")


@dataclass(frozen=True, slots=True)
class WantedResources:
    """Which resources: of these kinds, changed since a moment (None: all), of this category ("": all)."""

    kinds: tuple[str, ...] = KINDS
    since: datetime | None = None
    category: str = ""


def everything(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    """All resources of one patient. Records are read in chunks, so memory does not grow with the history."""
    if "Patient" in wanted.kinds:
        yield resources.patient(person)
    if "Device" in wanted.kinds:
        yield from (resources.device(each) for each in Machine.objects.filter(patient=person).order_by("pk"))
    if "Procedure" in wanted.kinds or "Observation" in wanted.kinds:
        yield from _of_treatments(person, wanted)
    if "Observation" in wanted.kinds and wanted.category in ("", "laboratory"):
        bloods = BloodResult.objects.filter(patient=person).order_by("drawn_at", "pk")
        if wanted.since:
            bloods = bloods.filter(entered_at__gte=wanted.since)
        yield from (resources.blood(each) for each in bloods.iterator(chunk_size=500))


def _of_treatments(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    records = TreatmentRecord.objects.filter(patient=person).select_related("computed", "prescription")
    if wanted.since:
        records = records.filter(received_at__gte=wanted.since)
    if "Observation" in wanted.kinds:
        records = records.prefetch_related("reading_set")
    for record in records.defer("document").order_by("started_at", "pk").iterator(chunk_size=200):
        if "Procedure" in wanted.kinds:
            yield resources.procedure(record)
        if "Observation" in wanted.kinds:
            found = resources.observations(as_night(record))
            yield from (each for each in found if wanted.category in ("", _category(each)))


def _category(observation: Json) -> str:
    return str(observation["category"][0]["coding"][0]["code"])


def page(person: Patient, wanted: WantedResources, *, offset: int, count: int) -> tuple[list[Json], bool]:
    """A page of resources, and whether there are more."""
    found = list(islice(everything(person, wanted), offset, offset + count + 1))
    return found[:count], len(found) > count
