"""Pages on which the unit's nurse and nephrologist read and sign the texts of patients, one after another."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.models import Role, User, signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from homedialysis.accounts.services.language import language_here, reading
from sessions.facts.choices import TextKind
from sessions.models import Patient, TextSignature
from sessions.pages.list_rows import SPECS, ListRows
from sessions.pages.lists import TITLES
from sessions.services.reading_log import note_reading
from sessions.services.text_signing import (
    SIGNERS,
    USUAL,
    Signatures,
    State,
    TextPart,
    fault_of,
    part_named,
    parts,
    prints,
    sign,
)
from sessions.services.unit_texts import TextPlace, Texts

GROUPS = TITLES | {TextKind.RUN_SHEET: _("Run sheets")}
STATES = {
    State.HOLDS: "",
    State.MISSING: _("not signed"),
    State.CHANGED: _("changed since"),
    State.OLD: _("to be read again"),
}
PROVED = "texts_signed_until"
PROVED_SECONDS = 15 * 60
"""The password is asked once for a sitting: many short texts are signed one after another."""


class SignForm(forms.Form):
    languages = forms.MultipleChoiceField(
        label=_("I have read it in"), widget=forms.CheckboxSelectMultiple, choices=settings.LANGUAGES
    )
    read_again_on = forms.DateField(label=_("To be read again on"), widget=forms.DateInput(attrs={"type": "date"}))


def _languages() -> list[str]:
    return [code for code, _name in settings.LANGUAGES]


@staff_only
@require_GET
def signing_index(request: HttpRequest) -> HttpResponse:
    """Every text with who signed it in which language, and what is missing."""
    texts = Texts()
    signed = Signatures(texts, timezone.localdate())
    groups: dict[str, list[dict[str, Any]]] = {}
    for part in parts(texts):
        told = {"part": part, "roles": [list(_cells(signed, part, role)) for role in SIGNERS]}
        groups.setdefault(str(GROUPS[TextKind(part.place.kind)]), []).append(told)
    own = signed_in(request).role
    mine = list(signed.wanting(own, _languages())) if own in SIGNERS else []
    context = {"groups": groups, "roles": [Role(role).label for role in SIGNERS], "count": len(mine)}
    return render(request, "sessions/lists/signing.html", context | {"mine": mine[0] if mine else None})


def _cells(signed: Signatures, part: TextPart, role: str) -> Iterator[dict[str, Any]]:
    """How it stands in each language."""
    for code, name in settings.LANGUAGES:
        with reading(code):
            state, row = signed.state(part, role), signed.of(part, role)
        yield {"language": name, "state": STATES[state], "row": row, "holds": state == State.HOLDS}


@staff_only
@require_http_methods(["GET", "POST"])
def signing_part(request: HttpRequest, name: str) -> HttpResponse:
    """One text as patients read it, to be signed; then the next that is missing."""
    part = part_named(name, Texts())
    if part is None:
        raise Http404
    return _sign(request, part)


@clinical_only
@require_http_methods(["GET", "POST"])
def signing_patient_sheet(request: HttpRequest, patient_id: uuid.UUID, technique: str) -> HttpResponse:
    """The run sheet that was adapted for one patient."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    part = TextPart(TextPlace(TextKind.RUN_SHEET, technique, patient))
    newest = Texts(patient).newest(part.place)
    if newest is None or newest.content is None:
        raise Http404
    return _sign(request, part)


def _sign(request: HttpRequest, part: TextPart) -> HttpResponse:
    if request.method == "POST" and not signed_in(request).is_clinical:
        raise PermissionDenied
    texts = Texts(part.place.patient)
    shown = prints(part, texts, _languages())
    form = SignForm(request.POST if request.method == "POST" else None, initial=_usual(signed_in(request)))
    problem = _problem(request, shown) if request.method == "POST" else fault_of(part, texts, _languages())
    if request.method == "POST" and form.is_valid() and not problem:
        try:
            sign(part, texts=texts, by=signed_in(request), at=timezone.now(), **form.cleaned_data)
        except ValueError as wrong:
            problem = str(wrong)
        else:
            request.session[PROVED] = timezone.now().timestamp() + PROVED_SECONDS
            messages.success(request, gettext("Signed: %(text)s.") % {"text": part.title})
            return redirect(_after(request, part))
    return _shown(request, part, texts, form, problem, shown)


def _problem(request: HttpRequest, shown: dict[str, str]) -> str:
    """Why the signature does not count, or ""."""
    if not was_shown(request, shown):
        return gettext("The text changed while you were reading. Read it again, then sign.")
    return "" if _proved(request) else objection(request)


def _proved(request: HttpRequest) -> bool:
    return float(request.session.get(PROVED, 0)) > timezone.now().timestamp()


def _usual(user: User) -> dict[str, Any]:
    """The languages that this person signed last, else the one of this page; a year from today."""
    last = TextSignature.objects.filter(signed_by=user).first()
    return {
        "languages": list(last.fingerprints) if last else [language_here()],
        "read_again_on": timezone.localdate() + USUAL,
    }


def _after(request: HttpRequest, part: TextPart) -> str:
    """The next text that this role has not signed in these languages, from this one on; then the list of them."""
    texts = Texts()
    wanted = [each.name for each in Signatures(texts, timezone.localdate()).wanting(
        signed_in(request).role, request.POST.getlist("languages")
    )]  # fmt: skip
    order = [each.name for each in parts(texts)]
    here = order.index(part.name) if part.name in order and not part.place.patient else -1
    coming = [name for name in order[here + 1 :] + order[: here + 1] if name in wanted]
    if part.place.patient or not coming:
        return reverse("treatments:signing")
    return reverse("treatments:signing-part", args=[coming[0]])


def _shown(
    request: HttpRequest, part: TextPart, texts: Texts, form: SignForm, problem: str, shown: dict[str, str]
) -> HttpResponse:
    signed = Signatures(texts, timezone.localdate(), part.place.patient)
    order = [] if part.place.patient else [each.name for each in parts(texts)]
    at = order.index(part.name) if order else 0
    context = {
        "part": part,
        "readings": [_reading(part, texts, code, name) for code, name in settings.LANGUAGES],
        "roles": [(Role(role).label, list(_cells(signed, part, role))) for role in SIGNERS],
        "form": form,
        "problem": problem,
        "seen": fingerprint(shown),
        "proved": _proved(request),
        "may_sign": signed_in(request).role in SIGNERS,
        "number": at + 1,
        "all": len(order),
        "next": order[at + 1] if at + 1 < len(order) else "",
    }
    return render(
        request,
        "sessions/lists/signing_part.html",
        context,
        status=400 if form.is_bound and (problem or form.errors) else 200,
    )


def _reading(part: TextPart, texts: Texts, code: str, name: str) -> dict[str, Any]:
    """The words in one language, as rows to be read under headings of the page's own."""
    with reading(code):
        content = part.content(texts)
    return {"code": code, "name": name, "rows": ListRows.of_content(SPECS[part.place.kind], content).forms}
