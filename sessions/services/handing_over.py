"""What a phone could not hand over: told by the phone, shown to the unit until it came in or somebody saw to it."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.facts.choices import EntryEnd, EntryKind
from sessions.models import NotHandedOver, Patient
from sessions.services.phone_rows import row_of

TOO_LARGE, NOT_LET_THROUGH, SERVERS_FAULT = 413, 403, 500


@transaction.atomic
def tell_not_handed_over(
    *, entry_id: uuid.UUID, patient: Patient, told: dict[str, Any], by: User, at: datetime
) -> NotHandedOver:
    """Keep what a phone tells of an entry; told again, the newest holds, and it stands again. Raises OfSomebodyElse."""
    entry = row_of(NotHandedOver, entry_id, patient)
    for name, value in {**told, "told_by": by, "told_at": at, "over": "", "over_at": None, "over_by": None}.items():
        setattr(entry, name, value)
    entry.save()
    return entry


def entry_is_over(*, entry_id: uuid.UUID, how: EntryEnd, at: datetime, by: User | None = None) -> bool:
    """Note how it ended with an entry; whether it stood until now."""
    standing = NotHandedOver.objects.filter(pk=entry_id, over_at=None)
    return bool(standing.update(over=how, over_at=at, over_by=by))


def why(entry: NotHandedOver) -> str:
    """Why it could not be handed over, in a sentence for the unit's staff."""
    if entry.what == EntryKind.DAMAGED or entry.status is None:
        return _("The phone’s storage gave it back damaged; the phone can take it out as a file.")
    if entry.status == TOO_LARGE:
        return _("Something on the way takes no entry as large as this one (413).")
    if entry.status == NOT_LET_THROUGH:
        return _("The server, or a filter on the way, did not let it through (403).")
    if entry.status >= SERVERS_FAULT:
        return _("The server broke over it (%(status)s): tell who runs it.") % {"status": entry.status}
    words = entry.said or "-"
    return _("It was refused (%(status)s): %(words)s") % {"status": entry.status, "words": words}
