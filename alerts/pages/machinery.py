"""Is the machinery at work, and what did it have to put aside?"""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.models import AlertMessage, PendingEvaluation
from alerts.services import outbox
from alerts.services.escalation import nobody_left
from alerts.services.heartbeat import SILENT_AFTER, state_of_work
from homedialysis.accounts.pages.guards import staff_only


@staff_only
@require_safe
def heartbeat(request: HttpRequest) -> HttpResponse:
    """The part of every staff page that is empty while all is well."""
    state = state_of_work(at=timezone.now())
    context = {
        "state": state,
        "minutes": int(SILENT_AFTER.total_seconds() // 60),
        "messages_failed": AlertMessage.objects.visible_to(request.user).failures_unread().count(),
        "nobody_left": nobody_left(at=timezone.now()),
    }
    return render(request, "alerts/_heartbeat.html", context)


@staff_only
@require_safe
def put_aside(request: HttpRequest) -> HttpResponse:
    """Records whose evaluation failed again and again: nothing is dropped, somebody decides."""
    rows = PendingEvaluation.objects.put_aside().select_related("patient", "record")
    waiting = PendingEvaluation.objects.filter(put_aside_at=None, attempts__gt=0).count()
    return render(request, "alerts/put_aside.html", {"rows": rows, "waiting": waiting})


@staff_only
@require_POST
def try_again(request: HttpRequest, pending_id: int) -> HttpResponse:
    """Back on the list, with all attempts."""
    if outbox.try_again(pending_id=pending_id, at=timezone.now()):
        messages.success(request, _("Back on the list; it is tried within a minute."))
    else:
        messages.warning(request, "It is not here any more: somebody was faster, or it is done.")
    return redirect("alerts:put-aside")
