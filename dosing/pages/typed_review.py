"""What stands typed on the page of a review and is not used by the button that was pressed: none of it may be lost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.http import HttpRequest

from dosing.models import MonthlyReview
from homedialysis.accounts.pages.signing import fingerprint
from homedialysis.accounts.pages.typed_beside import keep_typed, take_typed
from sessions.models import Patient

JUDGEMENT, PLAN = "judgement", "plan"
Sent = Mapping[str, str]


def as_written(found: MonthlyReview | None) -> dict[str, str]:
    """The judgement as it stands."""
    return {"words": found.words, "for_patient": found.for_patient} if found else {}


def mark_of(found: MonthlyReview | None) -> str:
    """Stands for the judgement that a page showed: so it is seen when somebody else changed it meanwhile."""
    return fingerprint(as_written(found))


def judgement_in(data: Sent) -> dict[str, str]:
    """As it was typed; a browser ends lines in its own way."""
    return {name: "\n".join(data.get(name, "").splitlines()).strip() for name in ("words", "for_patient")}


def differs(data: Sent, found: MonthlyReview | None) -> bool:
    """Whether the judgement was sent along and is not the one that is kept."""
    return "words" in data and judgement_in(data) != judgement_in(as_written(found))


def changed_meanwhile(data: Sent, found: MonthlyReview) -> bool:
    """Whether somebody else changed the judgement since the page was shown, and it is not what was typed."""
    return "judged" in data and data["judged"] != mark_of(found) and differs(data, found)


def _plan_in(data: Sent) -> dict[str, str]:
    return {name: data[f"plan-{name}"] for name in ("words", "owner", "due_on") if data.get(f"plan-{name}", "").strip()}


def has_plan(data: Sent) -> bool:
    """Whether a plan stands typed, whole or not."""
    return bool(_plan_in(data))


def keep_plan(request: HttpRequest, patient: Patient, month: date) -> bool:
    """Keep a plan that was typed and not added, to be shown again; whether there was one."""
    plan = _plan_in(request.POST)
    keep_typed(request, _page(patient, month, PLAN), plan)
    return bool(plan)


def keep_judgement(request: HttpRequest, patient: Patient, month: date) -> None:
    """Keep a judgement that could not be saved, to be shown again."""
    keep_typed(request, _page(patient, month, JUDGEMENT), judgement_in(request.POST))


def typed_of(request: HttpRequest, patient: Patient, month: date) -> dict[str, dict[str, str]]:
    """What the forms are to show: what was just sent, else what was left over the last time."""
    if request.method == "POST":
        return {JUDGEMENT: judgement_in(request.POST) if "words" in request.POST else {}, PLAN: _plan_in(request.POST)}
    return {form: take_typed(request, _page(patient, month, form)) for form in (JUDGEMENT, PLAN)}


def _page(patient: Patient, month: date, form: str) -> str:
    return f"review {patient.pk} {month:%Y-%m} {form}"
