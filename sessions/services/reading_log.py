"""Note who read whose record."""

from __future__ import annotations

import uuid

from django.http import HttpRequest

from homedialysis.accounts.models import ReadLog, User


def note_reading(request: HttpRequest, *patient_ids: uuid.UUID) -> None:
    """One row for each patient whose record a page or an answer shows to the unit's staff."""
    user = request.user
    if isinstance(user, User) and user.is_unit_staff:
        path = request.path[:200]
        ReadLog.objects.bulk_create(ReadLog(user=user, patient_id=each, path=path) for each in set(patient_ids))
