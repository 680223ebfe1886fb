"""The phones as a second backup: which of what they delivered does the unit not have, or no longer?"""

from __future__ import annotations

import uuid
from collections.abc import Mapping

from homedialysis.accounts.models import User
from sessions.models import TreatmentRecord
from sessions.models.treatment import etag_of, moment_in


def unknown_here(copies: Mapping[uuid.UUID, str], reader: User) -> list[uuid.UUID]:
    """Of records by their ETag, those that never stood here so, as far as the reader may see. One query.

    A version that was replaced since is known: what stands now grew from it. What was delivered between a backup and
    its being brought back is not. Raises ValueError for an ETag that is none of ours.
    """
    moments = {moment_in(etag) for etag in copies.values()}
    versions = (
        TreatmentRecord.with_mistaken.visible_to(reader)
        .filter(pk__in=copies, events__received_at__in=moments)
        .values_list("pk", "events__revision", "events__received_at")
    )
    known = {(pk, etag_of(revision, at)) for pk, revision, at in versions}
    return [pk for pk, etag in copies.items() if (pk, etag) not in known]
