"""Rows whose id a phone made: sent again it is the same row, and never that of another patient."""

from __future__ import annotations

import uuid
from typing import TypeVar

from sessions.models import LeftOut, NotHandedOver, Patient

R = TypeVar("R", LeftOut, NotHandedOver)


class OfSomebodyElse(Exception):
    """The id belongs to a row of another patient."""


def row_of(model: type[R], row_id: uuid.UUID, patient: Patient) -> R:
    """The row under this id, locked, or a new one that is not saved yet. In a transaction; raises OfSomebodyElse."""
    known: R | None = model.objects.select_for_update().filter(pk=row_id).first()
    if known is not None and known.patient_id != patient.pk:
        raise OfSomebodyElse
    return known or model(pk=row_id, patient=patient)
