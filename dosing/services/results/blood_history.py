"""What became of a patient's blood results since they were entered: what was corrected, and what was taken back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby, pairwise
from typing import Any

from django.db.models import Q

from dosing.services.numbers.blood_units import spoken_of
from sessions.models import BloodResult, Patient


@dataclass(frozen=True, slots=True)
class BloodChange:
    """One change of one result: was and became in the reader's units; became is empty where it was taken back.

    Who entered what was, and when, and who changed it, and when; why where somebody gave a reason.
    """

    label: str
    drawn_at: datetime
    was: str
    was_by: str
    was_at: datetime
    became: str
    by: str
    at: datetime
    why: str


def changes_of(patient: Patient) -> list[BloodChange]:
    """Newest first, of all results of a patient, also of those that a laboratory corrected. One query."""
    events = BloodResult.events.rel.related_model.objects.filter(patient=patient)  # type: ignore[attr-defined]  # by pghistory
    changed = events.filter(Q(pgh_label="update")).values("pgh_obj_id")
    rows = events.filter(pgh_obj_id__in=changed).select_related("entered_by").order_by("pgh_obj_id", "pgh_id")
    groups = groupby(rows, key=lambda event: event.pgh_obj_id)
    found = [change for _, versions in groups for change in _between(list(versions))]
    return sorted(found, key=lambda change: change.at, reverse=True)


def changes_of_one(result: BloodResult) -> list[BloodChange]:
    """Newest first, of one result."""
    versions = result.events.select_related("entered_by").order_by("pgh_id")  # type: ignore[attr-defined]
    return list(_between(list(versions)))[::-1]


def _between(versions: list[Any]) -> Iterator[BloodChange]:
    """Only what a person changed: that a result was tied to a treatment is no change of it."""
    for before, after in pairwise(versions):
        if _said(before) != _said(after):
            yield _change(before, after)


def _said(version: Any) -> tuple[Any, ...]:
    return (version.value, version.bound, version.drawn_at, version.post_method, version.post_minutes,
            version.taken_back)  # fmt: skip


def _change(before: Any, after: Any) -> BloodChange:
    return BloodChange(
        label=spoken_of(before.analyte).label,
        drawn_at=before.drawn_at,
        was=_text(before),
        was_by=before.entered_by.name,
        was_at=before.entered_at,
        became="" if after.taken_back else _text(after),
        by=after.entered_by.name,
        at=after.entered_at,
        why=after.taken_back or _why_corrected(before, after),
    )


def _why_corrected(before: Any, after: Any) -> str:
    why: str = after.corrected_because
    return "" if why == before.corrected_because else why


def _text(version: Any) -> str:
    """Number and unit, and how a sample after a treatment was drawn."""
    shown = spoken_of(version.analyte)
    drawn = f" ({version.get_post_method_display()})" if version.post_method else ""
    return f"{shown.text(version)} {shown.unit}{drawn}"
