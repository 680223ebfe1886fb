"""A person says in which language the pages shall be."""

from __future__ import annotations

import json
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.services.language import languages_for


@login_required
@require_POST
def choose_language(request: HttpRequest) -> JsonResponse:
    """Takes {"language": code} as a form or as JSON; "" goes by the browser again. Twice changes nothing."""
    given = _given(request)
    user = signed_in(request)
    known = languages_for(user)
    if given != "" and given not in known:
        words = _("Language must be one of %(known)s; %(given)r was given.")
        message = words % {"known": ", ".join(known), "given": given}
        return JsonResponse({"errors": [{"field": "language", "message": message, "given": given}]}, status=400)
    user.language = given
    user.save(update_fields=["language"])
    return JsonResponse({"language": given})


def _given(request: HttpRequest) -> Any:
    if request.content_type != "application/json":
        return request.POST.get("language")
    try:
        return json.loads(request.body)["language"]
    except (ValueError, KeyError, TypeError):
        return None
