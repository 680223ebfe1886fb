"""Who wants a call first, and why."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from alerts.models import Alert, PendingEvaluation
from alerts.models.choices import Urgency
from alerts.services import acting
from alerts.showing.presenting import ShownAlert, bundles
from alerts.showing.sparklines import calls_due
from dosing.services.month.reviewing import plan_given_to
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only
from sessions.pages.handing_over import standing_entries

CLOSED_DAYS = timedelta(days=30)
CLOSED_A_PAGE = 50
BESIDE = (
    ("alerts:closed", _("Closed lately")),
    ("alerts:rota", _("Rota")),
    ("alerts:deliveries", _("Messages")),
    ("alerts:quality", _("How good the alerts are")),
    ("alerts:unit-limits", _("Limits")),
)


@dataclass(frozen=True, slots=True)
class TriageFilter:
    """What the reader wants to see of what is open."""

    urgency: Urgency | None
    mine: bool
    aside: bool

    @classmethod
    def of(cls, query: QueryDict) -> TriageFilter:
        urgency = next((one for one in Urgency if one.slug == query.get("urgency")), None)
        return cls(urgency, query.get("mine") == "1", query.get("aside") == "1")

    @property
    def query(self) -> str:
        """As an address carries it, each part with an ampersand before it."""
        parts = [f"urgency={self.urgency.slug}"] if self.urgency else []
        return "".join(f"&{part}" for part in [*parts, *(["mine=1"] * self.mine), *(["aside=1"] * self.aside)])


@staff_only
@require_safe
def triage(request: HttpRequest) -> HttpResponse:
    """All patients with open alerts; the list in it renews itself."""
    undo = acting.may_be_undone(by=signed_in(request), at=timezone.now())
    return render(request, "alerts/triage.html", _list(request) | {"undo": undo})


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
    context = {"page": page, "closed": [ShownAlert(alert) for alert in page], "days": CLOSED_DAYS.days}
    return render(request, "alerts/closed.html", context)


def _list(request: HttpRequest) -> dict[str, Any]:
    """The list as it stands, with a mark by which a page can tell whether it has changed."""
    wanted, user, now = TriageFilter.of(request.GET), signed_in(request), timezone.now()
    found = list(Alert.objects.visible_to(user).open().for_page())
    mine = {alert.patient_id for alert in found if alert.assigned_to_id == user.pk}
    theirs = [alert for alert in found if not wanted.mine or alert.patient_id in mine]
    chosen = [alert for alert in theirs if wanted.urgency is None or alert.urgency == wanted.urgency]
    made = bundles(chosen, at=now, zone=_zone(), set_aside=wanted.aside)
    shown = [bundle for bundle in made if (bundle.aside if wanted.aside else bundle.alerts)]
    on_table = [alert for alert in theirs if alert.set_aside_until is None and alert.stands]
    today = _end_of_today(now)
    context = {
        "bundles": [bundle for bundle in shown if wanted.aside or not bundle.over],
        "over": [] if wanted.aside else [bundle for bundle in shown if bundle.over],
        "filters": _filters(on_table),
        "all_count": len({alert.patient_id for alert in on_table}),
        "aside_count": len({alert.patient_id for alert in theirs if alert.set_aside_until is not None}),
        "mine_count": len(mine),
        "wanted": wanted,
        "calls_due": calls_due(until=today),
        "given": plan_given_to(user),
        "today": timezone.localdate(),
        "now": now,
        "put_aside": PendingEvaluation.objects.put_aside().count(),
        "not_handed_over": standing_entries(user),
    }
    content = render_to_string("alerts/_triage_list.html", context, request=request)
    mark = hashlib.blake2b(content.encode(), digest_size=8).hexdigest()
    return {"content": content, "mark": mark, "wanted": wanted, "beside": BESIDE}


def _zone() -> ZoneInfo:
    zone = timezone.get_current_timezone()
    return zone if isinstance(zone, ZoneInfo) else ZoneInfo("UTC")


def _end_of_today(now: datetime) -> datetime:
    local = timezone.localtime(now)
    return local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)


def _filters(alerts: list[Alert]) -> list[tuple[Urgency, int]]:
    """How many patients each urgency would show."""
    return [(one, len({alert.patient_id for alert in alerts if alert.urgency == one})) for one in Urgency]
