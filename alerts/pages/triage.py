"""Who wants a call first, and why."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.choices import Urgency
from alerts.models import Alert, PendingEvaluation
from alerts.presenting import Shown, bundles
from homedialysis.accounts.guards import staff_only

CLOSED_DAYS = timedelta(days=30)
CLOSED_A_PAGE = 50


@staff_only
@require_safe
def triage(request: HttpRequest) -> HttpResponse:
    """All patients with open alerts; the list in it renews itself."""
    return render(request, "alerts/triage.html", _list(request))


@staff_only
@require_safe
def triage_list(request: HttpRequest) -> HttpResponse:
    """The list alone. Nothing (204) when the page that asks has it already, so that a reader is not disturbed."""
    context = _list(request)
    if request.GET.get("have") == context["mark"]:
        return HttpResponse(status=204)
    return render(request, "alerts/_triage_live.html", context)


@staff_only
@require_safe
def closed(request: HttpRequest) -> HttpResponse:
    """What was closed lately, and what was done."""
    since = timezone.now() - CLOSED_DAYS
    alerts = Alert.objects.visible_to(request.user).closed().filter(closed_at__gte=since).for_page()
    page = Paginator(alerts.order_by("-closed_at"), CLOSED_A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "closed": [Shown(alert) for alert in page], "days": CLOSED_DAYS.days}
    return render(request, "alerts/closed.html", context)


def _list(request: HttpRequest) -> dict[str, Any]:
    """The list as it stands, with a mark by which a page can tell whether it has changed."""
    wanted = next((one for one in Urgency if one.slug == request.GET.get("urgency")), None)
    found = list(Alert.objects.visible_to(request.user).open().for_page())
    chosen = [alert for alert in found if wanted is None or alert.urgency == wanted]
    context = {
        "bundles": bundles(chosen, at=timezone.now()),
        "filters": _filters(found),
        "wanted": wanted,
        "put_aside": PendingEvaluation.objects.put_aside().count(),
    }
    content = render_to_string("alerts/_triage_list.html", context, request=request)
    mark = hashlib.blake2b(content.encode(), digest_size=8).hexdigest()
    return {"content": content, "mark": mark, "wanted": wanted}


def _filters(alerts: list[Alert]) -> list[tuple[Urgency, int]]:
    return [(one, sum(alert.urgency == one for alert in alerts)) for one in Urgency]
