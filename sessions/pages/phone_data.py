"""What the scripts of the phone pages get from the server, as JSON in the page."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.middleware.csrf import get_token
from django.urls import reverse

from sessions import checklist, plausible
from sessions.choices import EventKind
from sessions.local_time import zone_of
from sessions.models import AccessSite, Patient, Prescription, RecordState, TreatmentRecord

PLACEHOLDER = uuid.UUID(int=0)
"""Stands in addresses where the script puts a record's id."""

Json = dict[str, Any]


def small(request: HttpRequest, patient: Patient) -> Json:
    """Who, where, and how to send: enough to bring waiting records to the unit."""
    return {
        "account": request.user.pk,
        "patient": {"id": str(patient.pk), "name": patient.name},
        "zone": zone_of(patient).key,
        "csrfCookie": settings.CSRF_COOKIE_NAME,
        "csrfToken": get_token(request),
        "placeholder": str(PLACEHOLDER),
        "urls": {
            "treatment": reverse("api:treatment", args=[PLACEHOLDER]),
            "night": reverse("dosing:night", args=[PLACEHOLDER]),
            "record": reverse("treatments:record"),
            "signIn": reverse("account_login"),
        },
        "checks": [{"name": item.name, "unit": item.unit} for item in checklist.DEFAULT],
    }


def whole(
    request: HttpRequest,
    patient: Patient,
    prescription: Prescription | None,
    record: TreatmentRecord | None,
    open_ones: list[TreatmentRecord],
) -> Json:
    """Everything the record page works with while there is no network."""
    return small(request, patient) | {
        "numbers": list(plausible.TREATMENT),
        "limits": plausible.for_scripts(),
        "eventKinds": dict(EventKind.choices),
        "prescription": prescription and {name: getattr(prescription, name) for name in FOR_THE_PLAN},
        "last": {"reading": last_values(request, patient)["reading"]},
        "record": record.as_sent if record else None,
        "open": [{"id": str(each.pk), "started_at": each.started_at.isoformat()} for each in open_ones],
    }


FOR_THE_PLAN = ("minutes", "target_weight_kg", "uf_rate_limit_ml_kg_h")


def last_values(request: HttpRequest, patient: Patient) -> Json:
    """Numbers of the last night handed over, to compare with: {"facts": {field: number}, "reading": {}}."""
    finished = TreatmentRecord.objects.visible_to(request.user).filter(patient=patient, state=RecordState.FINISHED)
    last = finished.newest_first().first()
    if last is None:
        return {"facts": {}, "reading": {}}
    readings = last.document["readings"]
    facts = {name: last.document[name] for name in plausible.TREATMENT if last.document[name] is not None}
    return {"facts": facts, "reading": readings[-1] if readings else {}}


def sites_of(request: HttpRequest, patient: Patient) -> list[AccessSite]:
    """The places of the access in use where needles go in."""
    visible = AccessSite.objects.visible_to(request.user)
    return list(visible.filter(access__patient=patient, access__abandoned_on=None).select_related("access"))
