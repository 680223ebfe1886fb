"""Lets months pass for the demo's unit, through the real services.

One patient after another, each in the order of time: nothing that happens to one touches another. News is
evaluated at once where a rule may have something to say about it; the rest waits until then, as it would for a
worker that was away, and is evaluated together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.db import transaction
from django.utils import timezone

from alerts.models import LookedOver, PendingEvaluation
from alerts.models.looked_over import Part
from alerts.services import outbox
from alerts.services.evaluation import evaluate_pending
from alerts.services.waking import no_calls
from homedialysis.accounts.models import Unit
from homedialysis.demo.bedside import sign_texts, write_checks
from homedialysis.demo.cast import Member
from homedialysis.demo.diary import Window
from homedialysis.demo.enrolment import Enrolled, Team, enrol, found_unit
from homedialysis.demo.happenings import Happening, Life
from homedialysis.demo.lives import EVERYBODY
from homedialysis.demo.month import NephrologistsDesk
from homedialysis.demo.nurse import NursesDesk
from homedialysis.demo.surroundings import Home, set_up_lists

Scheduled = tuple[NursesDesk, Happening]
"""What happens to a patient, with the desk at which nurses look at that patient."""
Track = Callable[[list[Scheduled]], Iterable[Scheduled]]


class NotNow(Exception):
    """Says why nothing is made up here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedingPlan:
    """seed of all that is drawn; days up to `until`; the patients, each one of EVERYBODY.

    watched: whether rules and nurses look at what comes as it comes; otherwise the rules do once, at the end, as
    after a worker was away.
    """

    seed: int
    until: datetime
    days: int
    members: Sequence[Member]
    watched: bool = True


def plan_of(*, seed: int, until: datetime, days: int, patients: int) -> SeedingPlan:
    """The plan, if it can be carried out. Raises NotNow naming the limit and what was given."""
    if until.tzinfo is None:
        raise NotNow(f"--until {until.isoformat()}: add a time zone, as in 2026-03-01T09:00:00+00:00.")
    if not 7 <= days <= 730:
        raise NotNow(f"--days must be between 7 and 730; {days} was given.")
    if not 1 <= patients <= len(EVERYBODY):
        raise NotNow(f"--patients must be between 1 and {len(EVERYBODY)}; {patients} was given.")
    return SeedingPlan(seed=seed, until=until, days=days, members=EVERYBODY[:patients])


def seed(plan: SeedingPlan, track: Track = lambda scheduled: scheduled) -> None:
    """Make up everything, or nothing at all where it fails half way. `track` may show how far it is.

    Raises NotNow when a unit is there already.
    """
    if Unit.objects.current() is not None:
        raise NotNow("A unit is set up here already: nothing was made up.")
    with no_calls(), transaction.atomic():
        team = found_unit()
        write_checks(team, plan.until - timedelta(days=plan.days + 3))
        sign_texts(team, plan.until - timedelta(days=20))
        set_up_lists(by=team.technologist, at=plan.until - timedelta(days=plan.days))
        _look_over(team, plan.until - timedelta(days=plan.days))
        moments = [*_scheduled(plan, team)]
        PendingEvaluation.objects.all().delete()  # each story is looked at as a whole when it is looked at first
        for desk, happening in track(moments):
            desk.mornings_until(happening.at)
            happening.do(happening.at)
            if happening.wants_a_look and (plan.watched or happening.at == plan.until):
                _evaluate(desk, happening.at)
        NephrologistsDesk(team, plan.until, plan.days).lay_out()
        PendingEvaluation.objects.fresh(timezone.now()).update(due_at=plan.until)
        evaluate_pending(at=plan.until)
        if failed := PendingEvaluation.objects.first():
            raise RuntimeError(f"Evaluating what was made up failed: {failed}, {failed.last_error}")


def _look_over(team: Team, at: datetime) -> None:
    """What comes with the program was read before the first treatment."""
    for part, by in (
        (Part.LIMITS, team.nephrologist), (Part.RANGES, team.nephrologist), (Part.INTERVALS, team.technologist),
    ):  # fmt: skip
        LookedOver.objects.create(part=part, by=by, at=at)


def _scheduled(plan: SeedingPlan, team: Team) -> Iterator[Scheduled]:
    window = Window(plan.until, plan.days)
    for member in plan.members:
        own, rng = window.of(member), np.random.default_rng([plan.seed, EVERYBODY.index(member)])
        enrolled = enrol(member, at=own.begins - timedelta(days=3), until=plan.until, team=team, rng=rng)
        _furnish(member, enrolled, own.begins, plan, team)
        found = sorted(Life(enrolled, own, team, rng).happenings(), key=lambda happening: happening.at)
        desk = NursesDesk(team=team, window=own, patient=enrolled.patient, story=member.story, rng=rng)
        yield from ((desk, happening) for happening in found)


def _furnish(member: Member, enrolled: Enrolled, begins: datetime, plan: SeedingPlan, team: Team) -> None:
    """A home with its machines and supplies; drawn apart, so that nothing else of the patient depends on it."""
    rng = np.random.default_rng([plan.seed, 1000 + EVERYBODY.index(member)])
    nurse, patient = team.nurse(plan.until), enrolled.patient
    Home(member, patient, begins, plan.until, team.technologist, nurse, rng).furnish()


def _evaluate(desk: NursesDesk, at: datetime) -> None:
    """All news of the patient, and whether something is missing by now. The story has a clock of its own."""
    outbox.add(patient_id=desk.patient.pk, why="demo", at=at)
    PendingEvaluation.objects.filter(patient=desk.patient).update(due_at=at)
    evaluate_pending(at=at)
    desk.look_up()
