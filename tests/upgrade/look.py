"""Look at every patient of a database as the nephrologist does, and at every kit as its patient does.

For another database than the tests': manage.py shell < tests/upgrade/look.py
"""

from __future__ import annotations

import sys

from django.conf import settings
from django.test import Client
from django.urls import reverse

from homedialysis.accounts.models import Role, User
from sessions.models import Patient, TreatmentRecord

OF_A_PATIENT = ("dosing:patient", "dosing:bloods", "treatments:prescribe", "treatments:access", "alerts:of-patient")
OF_THE_UNIT = ("alerts:triage", "alerts:closed", "dosing:months", "treatments:patients")


def addresses(patient: Patient) -> list[str]:
    newest = TreatmentRecord.objects.filter(patient=patient).newest_first().first()
    night = [reverse("dosing:night", args=[newest.pk])] if newest else []
    return [*(reverse(name, args=[patient.pk]) for name in OF_A_PATIENT), *night]


def looked_at(user: User, places: list[str]) -> list[str]:
    """Those that do not answer with a page."""
    client = Client()
    client.force_login(user)
    return [f"{place}: {status}" for place in places if (status := client.get(place, secure=True).status_code) != 200]


def look() -> None:
    """Print how many pages answered. Raises AssertionError with the addresses that did not."""
    settings.ALLOWED_HOSTS = ["testserver"]
    people = list(Patient.objects.order_by("pk"))
    doctor = User.objects.filter(role=Role.NEPHROLOGIST, is_active=True).order_by("pk")[0]
    places = [*(reverse(name) for name in OF_THE_UNIT), *(place for patient in people for place in addresses(patient))]
    wrong, accounts = looked_at(doctor, places), [patient.account for patient in people if patient.account]
    active = [account for account in accounts if account.is_active]
    wrong += [place for account in active for place in looked_at(account, ["/api/v1/bedside/"])]
    assert not wrong, wrong
    sys.stdout.write(f"{len(places) + len(active)} pages looked at\n")


look()
