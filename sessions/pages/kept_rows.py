"""Rows that staff note, put right and take back on a page: what the row itself refuses is told where it was typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone

from homedialysis.accounts.models import signed_in
from sessions.services import outcomes


def done(form: forms.BaseForm, act: Callable[[], Any]) -> bool:
    """Whether it was done; what was refused stands on the form."""
    try:
        act()
    except ValidationError as problem:
        form.add_error(None, " ".join(problem.messages))
        return False
    return True


def kept(request: HttpRequest, form: forms.BaseForm, row: Any) -> bool:
    """Whether the row that a form filled in was kept."""
    return done(form, lambda: outcomes.keep(row, by=signed_in(request), at=timezone.now()))


def taken_back(request: HttpRequest, row: Any) -> bool:
    """Whether the row was taken back, with the reason that was typed beside the button."""
    try:
        outcomes.take_back(row, why=request.POST.get("why", ""), by=signed_in(request), at=timezone.now())
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
        return False
    return True
