"""Doors of pages: signed-out people are sent to sign in, others who may not pass get 403."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase

View = Callable[..., HttpResponseBase]


def _door(may_pass: str) -> Callable[[View], View]:
    def guard(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not getattr(request.user, may_pass, False):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return login_required(checked)

    return guard


staff_only = _door("is_unit_staff")
clinical_only = _door("is_clinical")
technologist_or_clinical = _door("is_technologist_or_clinical")
nephrologist_only = _door("is_nephrologist")
administrator_only = _door("is_administrator")
bedside_only = _door("is_bedside")
