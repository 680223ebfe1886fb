"""Pages of people, devices and the unit."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from homedialysis.accounts.models import BEDSIDE_ROLES, BedsideDevice, DeviceToken, Unit, User, signed_in
from homedialysis.accounts.pages.forms import DeviceForm, FirstPasswordForm, InviteStaffForm
from homedialysis.accounts.pages.forms_unit import UnitForm, closed_days_of, hours_of
from homedialysis.accounts.pages.guards import administrator_only, staff_only
from homedialysis.accounts.services import bedside_devices, invitations, leaving


def link_for(request: HttpRequest, secret: str) -> str:
    """The whole address of an invitation, to be handed to the person."""
    return request.build_absolute_uri(reverse("accounts:join", args=[secret]))


@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """An invited person sets the first password and is signed in."""
    invitation = invitations.open_invitation(secret=secret, at=timezone.now())
    if invitation is None:
        return render(request, "accounts/join_over.html", status=410)
    form = FirstPasswordForm(invitation.user, request.POST or None)
    if not form.is_valid():
        return render(request, "accounts/join.html", {"form": form, "person": invitation.user})
    try:
        user = invitations.accept(invitation=invitation, password=form.cleaned_data["new_password1"], at=timezone.now())
    except invitations.NotInvitable:  # used from elsewhere while this request was under way
        return render(request, "accounts/join_over.html", status=410)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    return redirect("home")


@staff_only
@require_http_methods(["GET", "POST"])
def team(request: HttpRequest) -> HttpResponseBase:
    """Who works at the unit; the administrator invites."""
    user = signed_in(request)
    may_invite = user.is_administrator
    if request.method == "POST" and not may_invite:
        return administrator_only(team)(request)
    form = InviteStaffForm(request.POST or None)
    link = ""
    if form.is_valid():
        try:
            _, secret = invitations.invite(**form.cleaned_data, by=user, at=timezone.now())
            link = link_for(request, secret)
            form = InviteStaffForm()
        except invitations.NotInvitable as problem:
            form.add_error("email", str(problem))
    people = User.objects.exclude(role__in=BEDSIDE_ROLES)
    return render(
        request,
        "accounts/team.html",
        {"people": people, "form": form, "link": link, "may_invite": may_invite},
    )


@administrator_only
@require_POST
def switch_person(request: HttpRequest, user_id: int) -> HttpResponse:
    """Let a member of the team in again, or no longer."""
    person = get_object_or_404(User.objects.exclude(role__in=BEDSIDE_ROLES), pk=user_id)
    if person == request.user:
        messages.error(request, _("You cannot shut yourself out."))
    else:
        if person.is_active:
            leaving.shut_out(user=person, by=signed_in(request), at=timezone.now())
        else:
            leaving.let_in(user=person)
        told = _("%(person)s can sign in again.") if person.is_active else _("%(person)s can no longer sign in.")
        messages.success(request, told % {"person": person.name})
        if not person.is_active:
            return redirect("alerts:leaving", person.pk)  # what they had in hand is somebody's
    return redirect("accounts:team")


@staff_only
@require_http_methods(["GET", "POST"])
def unit(request: HttpRequest) -> HttpResponseBase:
    """The unit's name, zone, numbers and hours: read by all staff, changed by the administrator."""
    may_change = signed_in(request).is_administrator
    if request.method == "POST" and not may_change:
        return administrator_only(unit)(request)
    current = Unit.objects.current()
    form = UnitForm(request.POST or None, instance=current)
    hours, closed = hours_of(current, request.POST or None), closed_days_of(current, request.POST or None)
    parts = [form, hours, closed] if closed.is_bound else [form, hours]
    if request.method == "POST" and all(part.is_valid() for part in parts):
        with transaction.atomic():
            hours.instance = closed.instance = form.save()
            for part in parts[1:]:
                part.save()
        messages.success(request, _("Saved."))
        return redirect("accounts:unit")
    return render(
        request,
        "accounts/unit.html",
        {"form": form, "hours": hours, "closed": closed, "may_change": may_change, "now": timezone.now()},
    )


@login_required
@require_http_methods(["GET", "POST"])
def devices(request: HttpRequest) -> HttpResponse:
    """This person's phones with the bedside, and tokens for devices and programs."""
    form = DeviceForm(request.POST or None)
    token = ""
    if form.is_valid():
        try:
            _, token = invitations.add_device(user=signed_in(request), at=timezone.now(), **form.cleaned_data)
            form = DeviceForm()
        except invitations.TooManyDevices as problem:
            form.add_error("name", str(problem))
    held = DeviceToken.objects.filter(user=request.user)
    bedside = getattr(request.user, "role", "") in BEDSIDE_ROLES
    base = "phone_base.html" if bedside else "unit_base.html"
    phones = BedsideDevice.objects.visible_to(request.user).filter(user=signed_in(request))
    here = request.session.session_key
    context = {"devices": held, "form": form, "token": token, "base": base, "phones": phones, "here": here}
    return render(request, "accounts/devices.html", context)


@login_required
@require_POST
def take_bedside_back(request: HttpRequest, bedside_id: uuid.UUID) -> HttpResponse:
    """One of one's own phones is signed out; what is kept on it goes at its next contact."""
    device = get_object_or_404(BedsideDevice, user=signed_in(request), pk=bedside_id)
    bedside_devices.take_back(device=device, by=signed_in(request), at=timezone.now())
    words = _("{name} is signed out and deletes what it keeps at its next contact.")
    messages.success(request, words.format(name=device.name))
    return redirect("accounts:devices")


@login_required
@require_POST
def revoke_device(request: HttpRequest, device_id: uuid.UUID) -> HttpResponse:
    """The device's token stops working at once."""
    device = get_object_or_404(DeviceToken, user=request.user, public_id=device_id)
    device.delete()
    messages.success(request, _("“%(name)s” can no longer sign in.") % {"name": device.name})
    return redirect("accounts:devices")
