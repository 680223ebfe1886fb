"""A signature: the person proves once more who they are, and signs exactly what was shown before."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from allauth.core import ratelimit
from django.core.serializers.json import DjangoJSONEncoder
from django.http import HttpRequest
from django.utils.translation import gettext as _

from homedialysis.accounts.models import signed_in


def fingerprint(shown: Any) -> str:
    """A short text that stands for what was shown (anything that JSON can hold): another text, another thing."""
    whole = json.dumps(shown, sort_keys=True, cls=DjangoJSONEncoder)
    return hashlib.sha256(whole.encode()).hexdigest()


def was_shown(request: HttpRequest, shown: Any) -> bool:
    """Whether the form that was sent is of exactly this, shown before."""
    return request.POST.get("seen", "") == fingerprint(shown)


def objection(request: HttpRequest) -> str:
    """Why the signature does not count, or "": the password that came with the form is judged, ten tries a minute."""
    user = signed_in(request)
    if not ratelimit.consume(request, action="reauthenticate", user=user):
        return _("Too many tries: wait a minute.")
    if not user.check_password(request.POST.get("password", "")):
        return _("The password is not right. Nothing was signed.")
    return ""
