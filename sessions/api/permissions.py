"""Who may write what, among those who are signed in; who may read what is `visible_to`."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework.permissions import SAFE_METHODS, IsAuthenticated
from rest_framework.request import Request

from homedialysis.accounts.models import BEDSIDE_ROLES, Role

WRITES_TREATMENTS = BEDSIDE_ROLES | {Role.NURSE, Role.NEPHROLOGIST}


class MayRecord(IsAuthenticated):
    """Reading for all who can see; writing a treatment for bedside and clinical roles."""

    message = _("Only the patient, a care partner, a nurse or a nephrologist fills in a treatment.")

    def has_permission(self, request: Request, view: Any) -> bool:
        writes = getattr(request.user, "role", "") in WRITES_TREATMENTS
        return super().has_permission(request, view) and (request.method in SAFE_METHODS or writes)


class MayEnterBloods(IsAuthenticated):
    message = _("Only a nurse or a nephrologist enters blood results.")

    def has_permission(self, request: Request, view: Any) -> bool:
        writes = bool(getattr(request.user, "is_clinical", False))
        return super().has_permission(request, view) and (request.method in SAFE_METHODS or writes)


class MayNoteSurroundings(IsAuthenticated):
    message = _("Only the patient, a care partner, a technologist, a nurse or a nephrologist notes this.")

    def has_permission(self, request: Request, view: Any) -> bool:
        user = request.user
        writes = getattr(user, "is_bedside", False) or getattr(user, "is_technologist_or_clinical", False)
        return super().has_permission(request, view) and (request.method in SAFE_METHODS or writes)


class IsStaff(IsAuthenticated):
    message = _("Only for the unit's staff.")

    def has_permission(self, request: Request, view: Any) -> bool:
        return bool(getattr(request.user, "is_unit_staff", False))
