"""Judge history again: begin, watch, stop, go on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from alerts.models import Replay, ReplayChunk
from alerts.models.choices import ReplayState
from alerts.pages.forms import WhyForm
from alerts.services import replaying
from alerts.services.waking import wake_on_commit
from homedialysis.accounts.models import User
from homedialysis.accounts.pages.guards import clinical_only, staff_only

LATELY = 10
"""Runs on the page."""


@dataclass(frozen=True, slots=True)
class ReplayShown:
    """A run with how far it is."""

    run: Replay
    chunks: int
    done: int
    given_up: int
    records: int
    seconds: float

    @property
    def left(self) -> int:
        return self.chunks - self.done

    @property
    def per_second(self) -> float:
        return self.records / self.seconds if self.seconds > 0 else 0.0


def _shown(run: Replay, now: datetime) -> ReplayShown:
    seconds = ((run.ended_at or now) - run.started_at).total_seconds()
    return ReplayShown(run=run, seconds=seconds, **replaying.progress(run))


@staff_only
@require_http_methods(["GET", "POST"])
def replays(request: HttpRequest) -> HttpResponseBase:
    """All runs, and the way to begin one."""
    if request.method == "POST" and not getattr(request.user, "is_clinical", False):
        return clinical_only(_page)(request)
    return _page(request)


@staff_only
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """The runs alone: the part that renews itself while one is at work."""
    return render(request, "alerts/_replays.html", _context(request))


@clinical_only
@require_POST
def stop(request: HttpRequest, replay_id: int) -> HttpResponse:
    """No more chunks."""
    return _act(request, replay_id, replaying.stop, _("Stopped. What was judged stays; it can go on later."))


@clinical_only
@require_POST
def resume(request: HttpRequest, replay_id: int) -> HttpResponse:
    """Go on where it stopped."""
    answer = _act(request, replay_id, replaying.resume, _("Going on."))
    _call_workers()
    return answer


def _act(request: HttpRequest, replay_id: int, do: Callable[..., None], words: str) -> HttpResponse:
    run = get_object_or_404(Replay.objects.visible_to(request.user), pk=replay_id)
    try:
        do(run=run, by=request.user, at=timezone.now())
    except replaying.NotThere:
        messages.warning(request, _("Nothing to do: somebody was faster, or it is done."))
    except replaying.AlreadyRunning:
        messages.warning(request, "Another run is at work: one at a time.")
    else:
        messages.success(request, words)
    return redirect("alerts:replays")


def _page(request: HttpRequest) -> HttpResponse:
    form = WhyForm(request.POST or None)
    if form.is_valid() and _began(request, form):
        return redirect("alerts:replays")
    context = _context(request) | {"form": form}
    return render(request, "alerts/replays.html", context, status=400 if form.errors else 200)


def _began(request: HttpRequest, form: WhyForm) -> bool:
    assert isinstance(request.user, User)
    try:
        run = replaying.start(why=form.cleaned_data["why"], by=request.user, at=timezone.now())
    except ValidationError as problem:
        form.add_error("why", problem)
        return False
    except replaying.AlreadyRunning:
        form.add_error(None, _("Another run is at work: one at a time."))
        return False
    _call_workers()
    parts: int = run.chunks.count()  # type: ignore[attr-defined]
    told = ngettext("Begun: %(count)s part to judge.", "Begun: %(count)s parts to judge.", parts)
    messages.success(request, told % {"count": parts})
    return True


def _call_workers() -> None:
    """One message for each worker that may take part, no more than there are parts."""
    open_chunks = ReplayChunk.objects.open()[: replaying.AT_ONCE]
    wake_on_commit(replaying.TASK, workers=len(open_chunks))


def _context(request: HttpRequest) -> dict[str, object]:
    now = timezone.now()
    runs = list(Replay.objects.visible_to(request.user).select_related("started_by", "stopped_by")[:LATELY])
    failed = ReplayChunk.objects.given_up().filter(replay__in=runs).select_related("patient")[:50]
    return {
        "shown": [_shown(run, now) for run in runs],
        "running": any(run.state == ReplayState.RUNNING for run in runs),
        "failed": failed,
        "outdated": replaying.judged_by_other_rules(),
    }
