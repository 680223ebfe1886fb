"""Set a limit for the unit or one patient: who, why, and until when."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.limits.kinds import KINDS
from alerts.models import Limit
from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day
from sessions.models import Patient


@transaction.atomic
def set_limit(
    *,
    name: str,
    patient: Patient | None,
    value: float | None,
    why: str,
    by: User,
    at: datetime,
    until: datetime | None = None,
) -> Limit:
    """From now on this limit holds; without a value, the wider one again. Earlier nights keep theirs.

    The patient is judged anew, or for a limit of the unit everybody in the programme: what is judged by the limit of
    the day (due days, missing records) may open or end an alert at once.

    Raises as `limit_row`.
    """
    row = limit_row(name=name, patient=patient, value=value, why=why, by=by, at=at, until=until)
    row.save()
    return row


def limit_row(
    *,
    name: str,
    patient: Patient | None,
    value: float | None,
    why: str,
    by: User,
    at: datetime,
    until: datetime | None = None,
) -> Limit:
    """The row that would be set, judged and not saved.

    Raises PermissionDenied, and ValidationError by field, saying the limit and what was given.
    """
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist sets a limit."))
    problems = {}
    if name not in KINDS:
        problems["name"] = _("“%(name)s” is no limit.") % {"name": name}
    elif value is not None and (refusal := KINDS[name].refusal(value)):
        problems["value"] = refusal
    if not why.strip():
        problems["why"] = _("Say why.")
    if until is not None and until <= at:
        problems["until"] = _("Must be after today; %(given)s was given.") % {"given": short_day(until)}
    if problems:
        raise ValidationError(problems)
    return Limit(name=name, patient=patient, value=value, why=why.strip(), since=at, until=until, set_by=by)
