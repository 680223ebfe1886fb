"""What every answer needs: fragments that leave a signed-out page, and pages that no cache keeps."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone, translation

from homedialysis.accounts.models import Unit
from homedialysis.accounts.services.language import language_for, languages_for, reading
from homedialysis.accounts.services.units import SI, canonical_of, speaking, units_of

Respond = Callable[[HttpRequest], HttpResponse]
SCREENS_IN = "X-Bedside-Language"


def unit_of(request: HttpRequest) -> Unit | None:
    """The unit, read once a request."""
    if not hasattr(request, "unit"):
        request.unit = Unit.objects.current()  # type: ignore[attr-defined]
    found: Unit | None = request.unit  # type: ignore[attr-defined]
    return found


class UserLanguage:
    """Pages speak the language that a person chose, else the browser's.

    A phone says in each request which language its screens are in: the unit's texts must not come in another.
    """

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponse:
        language = language_of(request)
        request.LANGUAGE_CODE = language
        with reading(language):
            response = self.respond(request)
        response.headers.setdefault("Content-Language", language)
        return response


def language_of(request: HttpRequest) -> str:
    """One of settings.LANGUAGES."""
    screens = request.headers.get(SCREENS_IN, "")
    if screens in languages_for(request.user):
        return screens
    return language_for(request.user, wished=translation.get_language_from_request(request))


class UnitTime:
    """Pages of signed-in people have the units and the clock of the unit; those of one patient the patient's clock.

    What programs are answered has canonical units and UTC; its sentences have the dates and the spelling of the unit.
    """

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponse:
        units = SI
        if request.path.startswith("/api/"):
            units = canonical_of(Unit.objects.first())
        elif request.user.is_authenticated and (unit := unit_of(request)):
            timezone.activate(ZoneInfo(unit.time_zone))
            units = units_of(unit, request.user)
        try:
            with speaking(units):
                return self.respond(request)
        finally:
            timezone.deactivate()


class SignedOutFragments:
    """A fragment asked for after signing out would show the sign-in page inside a table: send the whole page there."""

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.respond(request)
        if not request.headers.get("HX-Request"):
            return response
        if urlsplit(response.headers.get("Location", "")).path != reverse("account_login"):
            return response
        return HttpResponse(status=204, headers={"HX-Redirect": reverse("account_login")})


class WipedAtSignOut:
    """A phone that signs out and asks for it (wipe=1) is told to clear what the site keeps in it.

    Only when asked: the bedside first sees to nights that were not sent.
    """

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.respond(request)
        if request.method == "POST" and request.path == reverse("account_logout") and request.POST.get("wipe") == "1":
            response.headers["Clear-Site-Data"] = '"storage"'
        return response


class NeverStored:
    """Patient data must not stay in a browser's or a proxy's cache; the phone keeps its own drafts on purpose."""

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.respond(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response
