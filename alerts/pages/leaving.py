"""What a member of the team has in hand, given to somebody else, before or after they were shut out."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from alerts.pages.forms_acting import only_people
from alerts.services.acting import may_take_care
from alerts.services.leaving import hand_over, in_hand_of
from homedialysis.accounts.models import BEDSIDE_ROLES, User, signed_in
from homedialysis.accounts.pages.guards import staff_only


class HandOverForm(forms.Form):
    to = forms.ModelChoiceField(
        label=gettext_lazy("To whom"), queryset=User.objects.none(), empty_label=gettext_lazy("Choose")
    )

    def __init__(self, *args: object, person: User) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        only_people(self.fields["to"], [other for other in may_take_care() if other != person])


@staff_only
@require_http_methods(["GET", "POST"])
def leaving(request: HttpRequest, user_id: int) -> HttpResponse:
    """Read by all staff; handed over by clinical people and the administrator."""
    person = get_object_or_404(User.objects.exclude(role__in=BEDSIDE_ROLES), pk=user_id)
    by = signed_in(request)
    may = by.is_clinical or by.is_administrator
    if request.method == "POST" and not may:
        raise PermissionDenied
    form = HandOverForm(request.POST or None, person=person)
    if form.is_valid():
        try:
            hand_over(person=person, to=form.cleaned_data["to"], by=by, at=timezone.now())
        except ValidationError as problem:
            form.add_error(None, problem)
        else:
            words = _("%(to)s has what %(person)s had in hand.")
            messages.success(request, words % {"to": form.cleaned_data["to"].name, "person": person.name})
            return redirect("alerts:leaving", person.pk)
    context = {"person": person, "held": in_hand_of(person), "form": form if may else None}
    return render(request, "alerts/leaving.html", context)
