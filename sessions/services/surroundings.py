"""Note, correct and take back what surrounds the treatment. Noting twice under one id is noting once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Generic, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day, short_moment
from sessions.facts import plausible
from sessions.facts.choices_surroundings import MachineKind, WaterFluid, WaterKind, WaterPlace
from sessions.models import Entry, Machine, Patient, SupplyDelivery
from sessions.signals import surroundings_noted

E = TypeVar("E", bound=Entry)
CLOCKS_APART = timedelta(minutes=plausible.MINUTES_BETWEEN_FUTURE_AND_NOW)


class NotedDifferently(Exception):
    """Something else stands under this id."""

    def __init__(self) -> None:
        super().__init__(_("Something else was noted under this id: make a new one, or correct what stands."))


@dataclass(frozen=True, slots=True)
class NotedEntry(Generic[E]):
    """What came of it: the row as it stands, and whether it is new."""

    entry: E
    created: bool


@transaction.atomic
def note(entry: E, *, by: User, at: datetime) -> NotedEntry[E]:
    """Save a new entry; the same one sent again is answered with the row that stands.

    Raises ValidationError, by field, for what cannot be, and NotedDifferently when the id is taken.
    """
    standing = _standing(entry)
    if standing is not None:
        return NotedEntry(standing, created=False)
    entry.entered_by, entry.entered_at = by, at
    refuse_time(getattr(entry, entry.moment), field=entry.moment, at=at)
    entry.full_clean()
    try:
        with transaction.atomic():
            entry.save(force_insert=True)
    except IntegrityError:
        standing = _standing(entry)  # sent twice at the same moment
        if standing is None:
            raise
        return NotedEntry(standing, created=False)
    _tell(entry.patient, at)
    return NotedEntry(entry, created=True)


def _standing(entry: E) -> E | None:
    """What stands under the entry's id, None where nothing does. Raises NotedDifferently."""
    found: E | None = type(entry).objects.filter(pk=entry.pk).first()
    if found is None:
        return None
    entry.clean()
    first = found.events.filter(pgh_label="insert").first()  # type: ignore[attr-defined]
    if all(_said(row, entry) != entry.content for row in (found, first)):
        raise NotedDifferently
    return found


def _said(row: models.Model | None, entry: Entry) -> dict[str, Any]:
    """What a row says in the fields of the entry; a row corrected since is still the same entry by its first words."""
    return {name: getattr(row, name, None) for name in entry.content}


@transaction.atomic
def correct(entry: Entry, *, by: User, at: datetime) -> None:
    """Save changed values in the place of what stood; the triggers keep that. Raises ValidationError."""
    entry.entered_by, entry.entered_at = by, at
    refuse_time(getattr(entry, entry.moment), field=entry.moment, at=at)
    entry.full_clean()
    entry.save()
    _tell(entry.patient, at)


@transaction.atomic
def take_back(entry: Entry, *, why: str, by: User, at: datetime) -> None:
    """Mark an entry as one that should never have been noted: it counts no more and is kept. Raises ValidationError."""
    if not why.strip():
        raise ValidationError({"taken_back": _("Say why it is taken back.")})
    entry.taken_back = why.strip()
    entry.entered_by, entry.entered_at = by, at
    entry.save(update_fields=["taken_back", "entered_by", "entered_at"])
    _tell(entry.patient, at)


@transaction.atomic
def deliver(delivery: SupplyDelivery, *, arrived_at: datetime, arrived: int | None, by: User, at: datetime) -> bool:
    """Note that a delivery came, and how many where that differs; said again, nothing changes and False comes back."""
    locked = SupplyDelivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    if locked.arrived_at is not None:
        return False
    locked.arrived_at, locked.arrived = arrived_at, arrived
    correct(locked, by=by, at=at)
    return True


@transaction.atomic
def keep(row: models.Model, *, at: datetime, by: User) -> None:
    """Save a machine, an interval, a panel or an item of a list. Raises ValidationError by field."""
    if hasattr(row, "set_by_id"):
        row.set_by, row.set_at = by, at  # type: ignore[attr-defined]
    row.full_clean()
    row.save()
    patient = getattr(row, "patient", None)
    if patient is not None:
        _tell(patient, at)


@transaction.atomic
def give_up_own(row: models.Model, *, at: datetime) -> None:
    """Delete a patient's own interval or panel, so that the unit's holds again; the triggers keep what it was."""
    patient: Patient | None = row.patient  # type: ignore[attr-defined]
    row.delete()
    if patient is not None:
        _tell(patient, at)


def usual_fluid(patient: Patient, place: str, on: date) -> WaterFluid:
    """What a sample from a place is, by the machine that stood there: ultrapure where that machine is kept so."""
    at_port = place == WaterPlace.FLUID_PORT
    kind = MachineKind.DIALYSIS if at_port else MachineKind.WATER
    there = Machine.objects.filter(patient=patient, kind=kind, since__lte=on).exclude(until__lt=on)
    ultrapure = there.filter(ultrapure=True).exists()
    if at_port:
        return WaterFluid.ULTRAPURE_FLUID if ultrapure else WaterFluid.DIALYSIS_FLUID
    return WaterFluid.ULTRAPURE_WATER if ultrapure else WaterFluid.DIALYSIS_WATER


def usual_place(kind: str) -> WaterPlace:
    """Where a test is sampled unless something else is said: chlorine after the first carbon bed."""
    return WaterPlace.FIRST_CARBON if kind == WaterKind.TOTAL_CHLORINE else WaterPlace.PRODUCT


def refuse_time(given: datetime | date | None, *, field: str, at: datetime) -> None:
    """Raise ValidationError for a time before home dialysis, or further ahead of `at` than clocks may be apart."""
    if given is None:
        return
    latest, earliest = at + CLOCKS_APART, plausible.EARLIEST
    too_late = given > latest if isinstance(given, datetime) else given > latest.date()
    too_early = given < earliest if isinstance(given, datetime) else given < earliest.date()
    if too_late:
        words = _("It lies ahead of now, %(now)s UTC; %(given)s was given.")
        raise ValidationError({field: words % {"now": short_moment(at.astimezone(UTC)), "given": short_day(given)}})
    if too_early:
        words = _("It must not lie before %(limit)s; %(given)s was given.")
        raise ValidationError({field: words % {"limit": short_day(earliest), "given": short_day(given)}})


def _tell(patient: Patient, at: datetime) -> None:
    surroundings_noted.send(sender=Patient, patient=patient, at=at)
