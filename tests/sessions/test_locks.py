"""Work that must wait for another's, and work that must pass it by: seen while somebody else holds the row."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import psycopg
import pytest
from django.db import OperationalError, connection, models, transaction
from django.utils import timezone

from dosing.models import PatientMonth
from dosing.services.month import computing
from homedialysis.accounts.models import User
from sessions.models import Patient
from sessions.services.prescribing import sign_prescription
from tests.factories import PrescriptionFactory

pytestmark = pytest.mark.django_db(transaction=True)


@contextmanager
def held_by_another(row: models.Model) -> Iterator[None]:
    """Another connection has this row under lock; ours gives up waiting after a moment."""
    named = connection.settings_dict
    ways = ("host", "port", "user", "password")
    where: dict[str, Any] = {name: named[name.upper()] for name in ways if named[name.upper()]}
    table, key = row._meta.db_table, row._meta.pk.column  # type: ignore[union-attr]
    with psycopg.connect(dbname=named["NAME"], **where) as other:
        other.execute(f"SELECT 1 FROM {table} WHERE {key} = %s FOR NO KEY UPDATE", [row.pk])  # noqa: S608  # type: ignore[arg-type]
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '300ms'")
        try:
            yield
        finally:
            other.rollback()
            with connection.cursor() as cursor:
                cursor.execute("SET lock_timeout = 0")


def test_of_two_signers_the_second_waits(ana: Patient, nephrologist: User) -> None:
    order = PrescriptionFactory.build(patient=ana, dialyser=PrescriptionFactory().dialyser, signed_by=nephrologist)
    with held_by_another(ana), pytest.raises(OperationalError, match="lock timeout"):
        sign_prescription(prescription=order, by=nephrologist, at=timezone.now())
    assert not ana.prescriptions.exists()
    assert sign_prescription(prescription=order, by=nephrologist, at=timezone.now()).version == 1


def test_a_month_under_another_s_hands_is_passed_by(
    ana: Patient, ben: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without waiting for it: a month that gave up waiting would be told to the log as one that failed."""
    told: list[object] = []
    monkeypatch.setattr(computing.logger, "exception", lambda *said, **_: told.append(said))
    now = timezone.now()
    rows = [
        PatientMonth.objects.create(patient=each, month=date(2026, 3, 1), stale=True, computed_at=now)
        for each in (ana, ben)
    ]
    with held_by_another(rows[0]):
        computing.compute_some(at=now)
    assert told == []
    with transaction.atomic():
        assert [PatientMonth.objects.get(pk=row.pk).stale for row in rows] == [True, False]
