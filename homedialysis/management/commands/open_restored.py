"""Does the product run on this database? Asked of one that was restored, by `prove_backup`."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.test import Client

from homedialysis.accounts.models import BEDSIDE_ROLES, User
from homedialysis.running.schema import fit_of_database


class Command(BaseCommand):
    help = "Sign somebody of the unit in and read their first page."

    def handle(self, *args: Any, **options: Any) -> None:
        fit = fit_of_database()
        if not fit.fits:
            raise CommandError(f"The database does not fit this version: {fit.words}")
        person = User.objects.filter(is_active=True).exclude(role__in=BEDSIDE_ROLES).order_by("pk").first()
        if person is None:
            raise CommandError("Nobody of the unit could sign in: there is no active member of staff")
        client = Client(headers={"host": settings.SITE_HOST})
        client.force_login(person)
        page = client.get("/", follow=True, secure=settings.HTTPS)
        if page.status_code != 200 or page.wsgi_request.user != person:
            raise CommandError(f"The first page answers {page.status_code}")
