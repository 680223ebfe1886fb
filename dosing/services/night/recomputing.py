"""Which stored numbers belong to an earlier science, and computing them again, a patient's together."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby

from django.db import DatabaseError, transaction
from django.db.models import Q, prefetch_related_objects

from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night.computing import computed, keep
from dosing.services.night.inputs import courses_for
from sessions.models import Patient, TreatmentRecord

CHUNK = 200
"""Records a task takes: some seconds of work, so a stopped worker loses little and a fresh record never waits long."""
TOGETHER = 50
"""Records of a patient that are computed at once: news of that patient waits so long."""
SURROUNDINGS = ("reading_set", "event_set", "siteused_set")
STALE = Q(computed=None) | ~Q(computed__science_version=SCIENCE_VERSION)
logger = logging.getLogger(__name__)


def chunk_after(after: uuid.UUID | None) -> list[TreatmentRecord]:
    """The next records without numbers of the present science, patient by patient and in order of time.

    after: the last record of the chunk before; one that is gone begins anew.
    """
    waiting = TreatmentRecord.objects.filter(STALE).order_by("patient_id", "started_at", "pk")
    last = TreatmentRecord.objects.filter(pk=after).first() if after else None
    if last is not None:
        same = Q(patient=last.patient_id)
        later = Q(started_at__gt=last.started_at) | Q(started_at=last.started_at, pk__gt=last.pk)
        waiting = waiting.filter(Q(patient__gt=last.patient_id) | same & later)
    return list(waiting.only("pk", "patient_id", "started_at")[:CHUNK])


def recompute(records: Sequence[TreatmentRecord], *, at: datetime) -> int:
    """Compute the numbers of these records, each patient's one after another; returns how many."""
    done = 0
    for patient_id, own in groupby(records, key=lambda each: each.patient_id):
        keys = [each.pk for each in own]
        done += sum(
            _recompute(keys[first : first + TOGETHER], patient_id, at) for first in range(0, len(keys), TOGETHER)
        )
    return done


@transaction.atomic
def _recompute(keys: Sequence[uuid.UUID], patient_id: uuid.UUID, at: datetime) -> int:
    """Nothing of the patient is computed elsewhere meanwhile, so that nothing newer is overwritten.

    What another worker has done since they were looked for is not done twice.
    """
    Patient.objects.select_for_update(no_key=True).get(pk=patient_id)
    found = TreatmentRecord.objects.filter(STALE, pk__in=keys).select_related("patient", "prescription")
    records = list(found.order_by("started_at"))
    prefetch_related_objects(records, *SURROUNDINGS)
    made = list(_computed(records, at))
    keep(made)
    return len(made)


def _computed(records: Sequence[TreatmentRecord], at: datetime) -> Iterator[RecordNumbers]:
    """A record that fails is told to the log and waits on; the others go on."""
    courses = courses_for(records) if records else None
    for record in records:
        try:
            yield computed(record, at=at, courses=courses)
        except DatabaseError:
            raise
        except Exception:
            logger.exception("The numbers of a record could not be computed", extra={"record": str(record.pk)})
