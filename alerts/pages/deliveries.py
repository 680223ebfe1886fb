"""Messages to staff: what was sent, what failed and why; a test; and the browsers that take them."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from alerts.models import AlertMessage, PushAddress
from alerts.services import push_keys
from alerts.services.escalation import send_test
from alerts.services.push_addresses import sign_up
from alerts.services.waking import wake_on_commit
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only

SHOWN_DAYS = timedelta(days=14)
MOST = 200


@staff_only
@require_safe
def deliveries(request: HttpRequest) -> HttpResponse:
    """The last messages, newest first, those that failed and nobody has read on top."""
    now, person = timezone.now(), signed_in(request)
    rows = AlertMessage.objects.visible_to(person).select_related("to", "push", "alert__patient", "failure_read_by")
    context = {
        "failures": rows.failures_unread(),
        "rows": rows.filter(made_at__gte=now - SHOWN_DAYS)[:MOST],
        "days": SHOWN_DAYS.days,
        "browsers": PushAddress.objects.filter(person=person),
        "push_key": push_keys.public_key(),
    }
    return render(request, "alerts/deliveries.html", context)


@staff_only
@require_POST
def test_message(request: HttpRequest) -> HttpResponse:
    """A test to the reader, over every channel."""
    rows = send_test(signed_in(request), at=timezone.now())
    wake_on_commit("alerts.deliver_due")
    messages.success(
        request,
        ngettext(
            "%(count)s test message on the way: see below what the server says.",
            "%(count)s test messages on the way: see below what the servers say.",
            len(rows),
        )
        % {"count": len(rows)},
    )
    return redirect("alerts:deliveries")


@staff_only
@require_POST
def failures_read(request: HttpRequest) -> HttpResponse:
    """The reader has read what failed: the banner goes, the rows stay."""
    listed = [int(pk) for pk in request.POST.getlist("delivery") if pk.isascii() and pk.isdigit() and len(pk) < 19]
    rows = AlertMessage.objects.visible_to(request.user).failures_unread().filter(pk__in=listed)
    rows.update(failure_read_by=signed_in(request))
    return redirect("alerts:deliveries")


@staff_only
@require_POST
def push_sign_up(request: HttpRequest) -> JsonResponse:
    """A browser of the reader takes messages from now on. The body is what the browser handed out."""
    try:
        given: Any = json.loads(request.body[:4000])
        sign_up(given, person=signed_in(request), at=timezone.now())
    except ValueError:
        return JsonResponse({"detail": _("The body is no JSON.")}, status=400)
    except ValidationError as problem:
        return JsonResponse({"detail": " ".join(problem.messages)}, status=400)
    return JsonResponse({}, status=201)


@staff_only
@require_POST
def push_drop(request: HttpRequest, address_id: int) -> HttpResponse:
    """A browser of the reader takes no more messages."""
    get_object_or_404(PushAddress, pk=address_id, person=signed_in(request)).delete()
    messages.success(request, _("That browser gets no more messages."))
    return redirect("alerts:deliveries")


@require_safe
def staff_worker(request: HttpRequest) -> HttpResponse:
    """The script that shows a message while no page is open. Nothing in it is secret, or about anybody."""
    return render(request, "alerts/staff_worker.js", content_type="text/javascript")
