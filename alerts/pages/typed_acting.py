"""What stands typed in the two forms of a patient's page and is not used by the button that was pressed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, QueryDict

from alerts.pages.forms_acting import ABOUT, OfferedAlert
from homedialysis.accounts.pages.typed_beside import keep_typed, take_typed
from sessions.models import Patient

ACT, CALL = "act", "call"
OUTCOME = "outcome_"
USES = {"close": ("words", OUTCOME), "aside": ("words", "until"), "assign": ("words", "to"), "note": ("words",)}
"""What each deed uses of the form of deeds."""
Typed = dict[str, dict[str, Any]]
"""By form: {name of a field: what was typed, "parts": the alerts ticked}; a form without words is left out."""


def typed_in(data: QueryDict) -> Typed:
    """What was sent of both forms."""
    acts = [name for name in data if name in ("words", "until", "to") or name.startswith(OUTCOME)]
    found = {
        ACT: _filled(data, acts) | _ticked(data, "parts"),
        CALL: _filled(data, ("result", "said", "plan", "next_call_at")) | _ticked(data, ABOUT),
    }
    return {form: typed for form, typed in found.items() if typed.keys() != {"parts"}}


def _filled(data: QueryDict, names: Iterable[str]) -> dict[str, Any]:
    return {name: data[name] for name in names if data.get(name, "").strip()}


def _ticked(data: QueryDict, name: str) -> dict[str, list[int]]:
    alerts = (part.partition("-")[0] for part in data.getlist(name))
    return {"parts": [int(alert) for alert in alerts if alert.isascii() and alert.isdigit()]}


def left_by_deed(data: QueryDict) -> Typed:
    """What a deed that was done leaves unused: the call, and the fields that belong to other deeds."""
    typed = typed_in(data)
    used = USES.get(data.get("do", ""), ())
    acts = {name: value for name, value in typed.pop(ACT, {}).items() if not name.startswith(used or ("-",))}
    return typed | ({ACT: acts} if acts.keys() - {"parts"} else {})


def left_by_call(data: QueryDict) -> Typed:
    """What a call that was noted leaves unused."""
    return {form: typed for form, typed in typed_in(data).items() if form != CALL}


def keep(request: HttpRequest, patient: Patient, typed: Typed) -> None:
    keep_typed(request, _page(patient), typed)


def typed_of(request: HttpRequest, patient: Patient) -> Typed:
    """What the forms are to show: what was just sent, else what was left over the last time."""
    return typed_in(request.POST) if request.method == "POST" else take_typed(request, _page(patient))


def as_initial(typed: dict[str, Any], offered: Iterable[OfferedAlert]) -> dict[str, Any]:
    """For a form: with the boxes of the alerts as they are offered now."""
    ticked = typed.get("parts", [])
    return typed | {"parts": [each.part for each in offered if each.key in ticked]}


def _page(patient: Patient) -> str:
    return f"triage {patient.pk}"
