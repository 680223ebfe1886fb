"""Dialysers are entered, changed, and taken out of use. What was prescribed keeps the figures it was signed with."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.models import Dialyser, Prescription
from sessions.models.dialyser import FIGURES


@transaction.atomic
def keep_dialyser(dialyser: Dialyser, *, by: User, at: datetime) -> Dialyser:
    """Save a new dialyser, or a changed one, and answer the row that stands now. Raises ValidationError by field.

    Other figures of a dialyser that was prescribed become a new row: the one before goes out of use under its own
    figures, and prescriptions that name it keep it until a next one is signed.
    """
    dialyser.set_by, dialyser.set_at = by, at
    stood = Dialyser.objects.select_for_update().filter(pk=dialyser.pk).first()
    if stood is None or not _other_figures(stood, dialyser) or not was_prescribed(stood):
        dialyser.full_clean()
        dialyser.save()
        return dialyser
    return _replaced(stood, dialyser, by=by, at=at)


def _other_figures(stood: Dialyser, wanted: Dialyser) -> bool:
    return any(getattr(stood, name) != getattr(wanted, name) for name in FIGURES)


def was_prescribed(dialyser: Dialyser) -> bool:
    return Prescription.objects.filter(dialyser=dialyser).exists()


def _replaced(stood: Dialyser, wanted: Dialyser, *, by: User, at: datetime) -> Dialyser:
    if Dialyser.objects.filter(replaces=stood).exists():
        raise ValidationError(_("Newer figures stand already in the place of these: change those."))
    stood.in_use, stood.set_by, stood.set_at = False, by, at
    stood.save(update_fields=["in_use", "set_by", "set_at"])
    wanted.pk, wanted.replaces = None, stood
    wanted._state.adding = True
    wanted.full_clean()
    wanted.save()
    return wanted


def prescribed_now(dialyser: Dialyser, *, at: datetime) -> list[Prescription]:
    """Prescriptions of people in the programme that hold this dialyser now or later, by the patient's name."""
    held = Prescription.objects.filter(dialyser=dialyser, patient__left_on=None).select_related("patient")
    return [each for each in held.order_by("patient__name") if each.in_force.upper is None or each.in_force.upper > at]


def story_of(dialyser: Dialyser) -> list[Any]:
    """Every state of this row and of those whose place it took, newest first."""
    found: list[Any] = []
    row: Dialyser | None = dialyser
    while row is not None:
        found += row.events.select_related("set_by").order_by("-pgh_id")  # type: ignore[attr-defined]
        row = row.replaces
    return found
