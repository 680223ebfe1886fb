"""Who may see what, decided in one place: every page and every API call starts from `visible_to`."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Self

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Count, Q

from homedialysis.accounts.models import User
from sessions.facts.choices import RecordState

Viewer = User | AnonymousUser


class PatientQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: Viewer) -> Self:
        """All patients for the unit's staff; for a patient or a care partner, theirs."""
        if not isinstance(user, User) or not user.is_active:
            return self.none()
        if user.is_unit_staff:
            return self
        return self.filter(Q(account=user) | Q(pk__in=user.cares_for.values("patient")))

    def in_programme(self) -> Self:
        return self.filter(left_on=None)


class OfPatientQuerySet(models.QuerySet[Any]):
    """Rows that hang on a patient, visible to whoever may see that patient."""

    path_to_patient = "patient"

    def visible_to(self, user: Viewer) -> Self:
        if not isinstance(user, User) or not user.is_active:
            return self.none()
        if user.is_unit_staff:
            return self
        path = self.path_to_patient
        mine = Q(**{f"{path}__account": user})
        cared_for = Q(**{f"{path}__in": user.cares_for.values("patient")})
        return self.filter(mine | cared_for)


class StaffOnlyQuerySet(models.QuerySet[Any]):
    """Rows that are the unit's own business: what laboratories sent, and how to read it."""

    def visible_to(self, user: Viewer) -> Self:
        return self if isinstance(user, User) and user.is_unit_staff else self.none()


def _held(at: datetime) -> Q:
    """Of dialysers: those that somebody in the programme is treated with at this moment."""
    return Q(prescription__in_force__contains=at, prescription__patient__left_on=None)


class DialyserQuerySet(StaffOnlyQuerySet):
    def to_prescribe(self) -> Self:
        """Those that a next prescription may name."""
        return self.filter(in_use=True)

    def to_try(self, at: datetime) -> Self:
        """Those that may be prescribed, and those that somebody is treated with now."""
        return self.filter(pk__in=self.filter(_held(at) | Q(in_use=True)).values("pk"))

    def with_patients(self, at: datetime) -> Self:
        """Each with how many are treated with it now, as `patients`."""
        return self.annotate(patients=Count("prescription", filter=_held(at)))


class PrescriptionQuerySet(OfPatientQuerySet):
    def in_force(self, at: datetime) -> Self:
        return self.filter(in_force__contains=at)


class TreatmentQuerySet(OfPatientQuerySet):
    def between(self, since: datetime, until: datetime) -> Self:
        return self.filter(started_at__gte=since, started_at__lt=until)

    def newest_first(self) -> Self:
        return self.order_by("-started_at", "-pk")


class TreatmentsDone(models.Manager.from_queryset(TreatmentQuerySet)):  # type: ignore[misc]
    """Without records that were begun by mistake: nothing was done in them, so nothing counts, judges or lists them."""

    def get_queryset(self) -> TreatmentQuerySet:
        found: TreatmentQuerySet = super().get_queryset()
        return found.exclude(state=RecordState.MISTAKEN)


class BloodsWithBounds(models.Manager.from_queryset(OfPatientQuerySet)):  # type: ignore[misc]
    """Without results that were taken back: they belong to somebody else, so nothing counts, judges or lists them."""

    def get_queryset(self) -> OfPatientQuerySet:
        found: OfPatientQuerySet = super().get_queryset()
        return found.filter(taken_back="")


class BloodsMeasured(BloodsWithBounds):
    """Of those the measured values alone: a bound such as >1650 is no number, so nothing computes with it."""

    def get_queryset(self) -> OfPatientQuerySet:
        return super().get_queryset().filter(bound="")


class EntryQuerySet(OfPatientQuerySet):
    def standing(self) -> Self:
        """Without what was taken back."""
        return self.filter(taken_back="")


class OwnOrUnitQuerySet(models.QuerySet[Any]):
    """Rows of one patient, and of the unit (no patient), which hold for everybody without one of their own."""

    def visible_to(self, user: Viewer) -> Self:
        if not isinstance(user, User) or not user.is_active:
            return self.none()
        if user.is_unit_staff:
            return self
        mine = Q(patient__account=user) | Q(patient__in=user.cares_for.values("patient"))
        return self.filter(Q(patient=None) | mine)


class UnitListQuerySet(models.QuerySet[Any]):
    """The unit's own lists, which everybody signed in may read."""

    def visible_to(self, user: Viewer) -> Self:
        return self if isinstance(user, User) and user.is_active else self.none()
