"""What a patient's record holds as FHIR resources, in an order that stays, a page at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from django.db.models import Q
from django.utils import timezone

from dosing.services.fhir import findings, medications, resources
from dosing.services.fhir.parts import Json
from dosing.services.fhir.searching import KINDS, Wish
from dosing.services.night.treatments import as_night
from sessions.models import BloodResult, Finding, Machine, Medication, Patient, RecordState, TreatmentRecord


@dataclass(frozen=True, slots=True)
class WantedResources:
    """Which resources: of these kinds, changed since a moment (None: all), and as somebody wishes."""

    kinds: tuple[str, ...] = KINDS
    since: datetime | None = None
    wishes: tuple[Wish, ...] = ()

    def fits(self, resource: Json) -> bool:
        return all(wish.fits(resource) for wish in self.wishes)


def everything(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    """All resources of one patient. Records are read in chunks, so memory does not grow with the history."""
    return filter(wanted.fits, _all(person, wanted))


def _all(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    if "Patient" in wanted.kinds:
        yield resources.patient(person)
    if "Device" in wanted.kinds:
        yield from (resources.device(each) for each in Machine.objects.filter(patient=person).order_by("pk"))
    if "Procedure" in wanted.kinds or "Observation" in wanted.kinds:
        yield from _of_treatments(person, wanted)
    if "Observation" in wanted.kinds:
        bloods = BloodResult.with_bounds.filter(patient=person).order_by("drawn_at", "pk")
        if wanted.since:
            bloods = bloods.filter(entered_at__gte=wanted.since)
        yield from (resources.blood(each) for each in bloods.iterator(chunk_size=500))
        found = Finding.objects.standing().filter(patient=person).order_by("found_on", "pk")
        if wanted.since:
            found = found.filter(entered_at__gte=wanted.since)
        yield from (findings.finding(each) for each in found)
    if "MedicationStatement" in wanted.kinds:
        yield from _medications(person, wanted)


def _medications(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    rows = Medication.objects.standing().filter(patient=person).order_by("from_on", "pk")
    if wanted.since:
        rows = rows.filter(entered_at__gte=wanted.since)
    today = timezone.localdate()
    yield from (medications.medication(each, today) for each in rows)


def _of_treatments(person: Patient, wanted: WantedResources) -> Iterator[Json]:
    records = TreatmentRecord.with_mistaken.filter(patient=person).select_related("computed", "prescription")
    if wanted.since:
        records = records.filter(Q(received_at__gte=wanted.since) | Q(computed__computed_at__gte=wanted.since))
    if "Observation" in wanted.kinds:
        records = records.prefetch_related("reading_set", "event_set")
    for record in records.defer("document").order_by("started_at", "pk").iterator(chunk_size=200):
        made = [resources.procedure(record)] if "Procedure" in wanted.kinds else []
        if "Observation" in wanted.kinds:
            made += resources.observations(as_night(record)) if record.state != RecordState.MISTAKEN else []
        yield from (each for each in made if wanted.since is None or changed_at(each) >= wanted.since)


def changed_at(resource: Json) -> datetime:
    """When a resource was last written."""
    return datetime.fromisoformat(resource["meta"]["lastUpdated"])


def people(everybody: Iterable[Patient], wished: Sequence[Wish]) -> list[Json]:
    """Those of some patients who are as wished."""
    found = (resources.patient(each) for each in everybody)
    return [each for each in found if all(wish.fits(each) for wish in wished)]


def page(found: Iterable[Json], *, offset: int, count: int) -> tuple[list[Json], bool]:
    """A page of resources, and whether there are more."""
    cut = list(islice(found, offset, offset + count + 1))
    return cut[:count], len(cut) > count
