"""Who read a changed prescription at the bedside, told to staff."""

from __future__ import annotations

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from sessions.facts.local_day import plain_moment
from sessions.models import Prescription


def read_words(prescription: Prescription) -> list[str]:
    """Who said at the bedside that this version was read, and when by the phone's clock, a sentence each; [] for the
    first version, of which no change is told, and for what is not signed.
    """
    if prescription.version == 1 or prescription.pk is None:
        return []
    rows = prescription.acknowledgements.select_related("by").order_by("at")
    said = [
        _("Read by %(person)s on %(at)s.") % {"person": row.by, "at": plain_moment(localtime(row.at))} for row in rows
    ]
    return said or [_("Nobody has said at the bedside that it was read.")]
