"""One member of the team: name, address and role corrected; the link made again or withdrawn; what stood before."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.models import BEDSIDE_ROLES, User, signed_in
from homedialysis.accounts.pages.forms import STAFF_ROLES
from homedialysis.accounts.pages.guards import administrator_only
from homedialysis.accounts.pages.people import link_for
from homedialysis.accounts.services import invitations
from homedialysis.accounts.services.people import correct_person, has_come, story_of, withdraw


class PersonForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=120)
    email = forms.EmailField(label=gettext_lazy("E-mail address"))
    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=STAFF_ROLES)


@administrator_only
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, user_id: int) -> HttpResponse:
    """Correct a member of the team, or deal with the invitation while they have not come."""
    who = get_object_or_404(User.objects.exclude(role__in=BEDSIDE_ROLES), pk=user_id)
    task = request.POST.get("task", "")
    if task == "withdraw":
        return _withdrawn(request, who)
    link = ""
    if task == "link" and not has_come(who):
        link = link_for(request, invitations.new_link(user=who, by=signed_in(request), at=timezone.now()))
    start = {"name": who.name, "email": who.email, "role": who.role}
    form = PersonForm(request.POST if request.method == "POST" and not task else None, initial=start)
    if form.is_valid() and _corrected(request, who, form):
        return redirect("accounts:person", who.pk)
    context = {"person": who, "form": form, "link": link, "come": has_come(who), "story": story_of(who)}
    return render(request, "accounts/person.html", context | {"open": who.invitations.filter(used_at=None).first()})


def _withdrawn(request: HttpRequest, who: User) -> HttpResponse:
    withdraw(who)
    messages.success(request, _("The link of %(person)s works no more.") % {"person": who.name})
    return redirect("accounts:person", who.pk)


def _corrected(request: HttpRequest, who: User, form: PersonForm) -> bool:
    if who == request.user and form.cleaned_data["role"] != who.role:
        form.add_error("role", _("Another administrator changes your own role."))
        return False
    try:
        correct_person(who, **form.cleaned_data)
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    messages.success(request, _("Saved."))
    return True
