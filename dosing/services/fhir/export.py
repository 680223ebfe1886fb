"""Everything of a unit as NDJSON: a file for each patient and kind of resource, one resource a line."""

from __future__ import annotations

import json
from collections import defaultdict

from dosing.models import Job
from dosing.services.fhir.reading import WantedResources, everything
from sessions.models import Patient


def keys(job: Job) -> list[str]:
    """Every patient, also those who left, in the order of their ids."""
    return [str(pk) for pk in Patient.objects.order_by("pk").values_list("pk", flat=True)]


def part(job: Job, key: str) -> list[tuple[str, bytes]]:
    """The files of one patient."""
    lines: defaultdict[str, list[str]] = defaultdict(list)
    for resource in everything(Patient.objects.get(pk=key), WantedResources()):
        lines[resource["resourceType"]].append(json.dumps(resource, ensure_ascii=False, separators=(",", ":")))
    return [(f"{kind}/{key}.ndjson", ("\n".join(rows) + "\n").encode()) for kind, rows in lines.items()]
