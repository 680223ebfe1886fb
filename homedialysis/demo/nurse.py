"""What the demo's nurses do with alerts: every working morning they look through them, and write down what was done."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from numpy.random import Generator

from alerts.models import Alert
from alerts.models.choices import CallResult, Outcome, Urgency
from alerts.rules import safety
from alerts.services import acting
from homedialysis.accounts.models import User
from homedialysis.demo.cast import Story
from homedialysis.demo.diary import Window, next_working
from homedialysis.demo.enrolment import Team
from sessions.models import Patient

MORNING = time(9, 15)
DAYS_TO_CLOSE = {Urgency.CALL_TODAY: (1, 1), Urgency.THIS_WEEK: (2, 7), Urgency.AT_REVIEW: (3, 12)}
"""From first sight to what is written when it is done (assumption)."""


@dataclass(frozen=True, slots=True)
class WrittenAnswer:
    outcome: Outcome
    words: str


SPOKEN, VISIT, PHYSICIAN, KNOWN = Outcome.SPOKEN, Outcome.VISIT, Outcome.PHYSICIAN, Outcome.KNOWN
ANSWERS: dict[str, tuple[WrittenAnswer, ...]] = {
    "uf_rate": (
        WrittenAnswer(SPOKEN, "Went through the week's gains. Will take off the rest over two treatments, as trained."),
        WrittenAnswer(
            SPOKEN, "Visitors at the weekend, drank more. Knows to stay longer rather than take it off faster."
        ),
    ),
    "off_target": (
        WrittenAnswer(
            SPOKEN, "Could not get down to target after the long gap. Feels well, no swelling; on target by Friday."
        ),
        WrittenAnswer(PHYSICIAN, "Two treatments off target, feels well. Target weight to be looked at in clinic."),
    ),
    "systolic_low": (
        WrittenAnswer(SPOKEN, "Light-headed, stopped fluid removal as trained, better in ten minutes. No fall."),
        WrittenAnswer(SPOKEN, "Had skipped supper and taken the tablet early. Knows when to ring."),
        WrittenAnswer(PHYSICIAN, "Low towards the end. Asked for the tablets to be looked at."),
    ),
    "pressure_high": (
        WrittenAnswer(SPOKEN, "No headache, no breathlessness. Had run out of tablets for two days, has them again."),
        WrittenAnswer(PHYSICIAN, "High before treatment although weight after is on target. Passed on."),
    ),
    "arterial_low": (WrittenAnswer(SPOKEN, "Needle sat against the wall, turned it, fine since."),),
    "venous_high": (WrittenAnswer(SPOKEN, "Needle tip against the wall that once; next treatment as usual."),),
    "venous_rise": (WrittenAnswer(VISIT, "Comes on Thursday: look, feel, listen, and measure the flow."),),
    "access_story": (WrittenAnswer(VISIT, "Comes on Thursday: look, feel, listen, and measure the flow."),),
    "bleeding": (WrittenAnswer(VISIT, "Comes in with the next bloods so that we can examine the arm."),),
    "short": (
        WrittenAnswer(SPOKEN, "Family matter, stopped early. Will add the time to the next one."),
        WrittenAnswer(SPOKEN, "Alarm that would not clear, gave the blood back and stopped, as trained."),
        WrittenAnswer(KNOWN, "Told us beforehand; next treatment was full length."),
    ),
    "missing": (
        WrittenAnswer(SPOKEN, "Was treated a day later, away with family. All well."),
        WrittenAnswer(SPOKEN, "Treated as ever, the phone is broken. Keeps notes on paper meanwhile."),
    ),
    "cramp": (WrittenAnswer(SPOKEN, "Cramps near the end. Gains and target weight are on the list for clinic."),),
    "low_noted": (WrittenAnswer(SPOKEN, "Lay down, feet up, over in ten minutes. Eats before treatment now."),),
    "infiltration": (
        WrittenAnswer(SPOKEN, "Swelling is going down, thrill is there. Rests that stretch for a fortnight."),
    ),
    "needle_dislodged": (
        WrittenAnswer(
            VISIT,
            "Rang at once. Lost about 150 mL, pressure fine, no dizziness. Haemoglobin taken the same day. Taping, "
            "loop and wetness sensor gone through again at the unit before the next treatment; reported.",
        ),
    ),
    "access_redness": (
        WrittenAnswer(
            VISIT, "Came in the same day. Swab and blood cultures taken; that buttonhole rests until we say so."
        ),
    ),
    "breathless": (
        WrittenAnswer(
            VISIT, "Came in at once, seen by the nephrologist, treated an extra time here, home the same day."
        ),
    ),
    "hard_bleeding": (
        WrittenAnswer(VISIT, "Stopped with pressure. Came in, thrill normal; heparin dose passed to the nephrologist."),
    ),
    "fever": (
        WrittenAnswer(
            Outcome.HOSPITAL,
            "Sent in at once. Cultures taken and treated there, home after three days; water sample was clean.",
        ),
    ),
}
"""By rule."""
URGENT_EVENTS = (*(rule.key for rule in safety.RULES), "fever", "access_redness")
UNSETTLED = {
    "venous_rise": "Climbs on. Comes in on Thursday: look, feel, listen, and measure the flow.",
    "access_story": "Climbs on. Comes in on Thursday: look, feel, listen, and measure the flow.",
    "uf_rate": "Spoke about drinking again. Nephrologist to look at a fourth day; until then longer after the weekend.",
    "pressure_high": "Weight after is on target, pressure climbs all the same, eats little and clothes are loose. "
    "Asked the nephrologist to look at the target weight.",
    "short": "Cannot sleep with it and stops early. Appointment to talk about another schedule.",
    "missing": "Rang twice, no answer. Her sister says she is treated as ever, the phone is lost. Home visit arranged.",
}
"""What is noted of alerts that stay open because their story is not over."""
WAITS_FOR = {"pressure_high": "Waits for the nephrologist's look at the target weight in clinic."}
"""What is set aside until then, of the alerts that stay open."""
STOPPED = WrittenAnswer(KNOWN, "Stopped because of what happened that night; dealt with there.")
CORRECTED = WrittenAnswer(Outcome.RECORD_WRONG, "Slip of the finger, corrected by the patient.")
CAME_LATE = WrittenAnswer(KNOWN, "The phone had no network; the record is there now.")
FORTNIGHT = 14
OTHERWISE = (WrittenAnswer(SPOKEN, "Rang, all well; nothing to do now."),)


def _answers(alert: Alert) -> tuple[WrittenAnswer, ...]:
    return ANSWERS.get(alert.rule) or OTHERWISE


@dataclass(slots=True, kw_only=True)
class NursesDesk:
    """The nurses' mornings, as far as one patient is concerned."""

    team: Team
    window: Window
    patient: Patient
    story: Story
    rng: Generator
    _last: datetime | None = None
    _open: list[Alert] = field(default_factory=list)
    _settled: dict[int, datetime] = field(default_factory=dict)
    """Alert → when its matter is settled; there from the first look."""

    def look_up(self) -> None:
        """Which alerts are open now; called after each evaluation."""
        self._open = list(Alert.objects.open().filter(patient=self.patient).order_by("opened_at", "pk"))

    def mornings_until(self, at: datetime) -> None:
        """Live through every working morning since the last call."""
        morning = next_working(self._last or self.window.begins, MORNING)
        while self._open and morning < at:
            self._look_through(morning)
            morning = next_working(morning, MORNING)
        self._last = at

    def _look_through(self, at: datetime) -> None:
        """See what is new, close what is settled."""
        by = self.team.nurse(at)
        for alert in list(self._open):
            if alert.pk not in self._settled:
                acting.see(alert=alert, by=by, at=at)
                least, most = DAYS_TO_CLOSE[Urgency(alert.urgency)]
                self._settled[alert.pk] = at + timedelta(days=int(self.rng.integers(least, most + 1)))
            elif alert.looked_at is None:  # it grew more urgent, or came back
                acting.see(alert=alert, by=by, at=at)
            if acting.to_be_done(alert) or (self._settled[alert.pk] > at and not alert.cause_gone_at):
                continue
            if self._goes_on(alert, at):
                self._leave_open(alert, by, at)
                self._settled[alert.pk] = self.window.until
            else:
                self._close(alert, by, at)

    def _leave_open(self, alert: Alert, by: User, at: datetime) -> None:
        """What is known so far; who takes care of it, the calls without an answer, what waits for an appointment."""
        acting.note(alerts=[alert], by=by, words=UNSETTLED[alert.rule], at=at)
        if alert.rule in WAITS_FOR:
            until = (self.window.until + timedelta(days=4)).date()
            acting.set_aside(alerts=[alert], by=by, until=until, words=WAITS_FOR[alert.rule], at=at)
            return
        acting.assign(alerts=[alert], by=by, to=by, at=at)
        if alert.rule == "missing":
            again = self.window.until + timedelta(hours=2)
            for later, result in ((0, CallResult.NO_ANSWER), (3, CallResult.MESSAGE)):
                acting.log_call(
                    patient=self.patient,
                    by=by,
                    result=result,
                    at=at + timedelta(hours=later),
                    plan="Home visit, unless the sister rings back." if later else "",
                    next_call_at=again if later else None,
                    alerts=[alert],
                )

    def _goes_on(self, alert: Alert, at: datetime) -> bool:
        return alert.rule in self.story.unsettled and self.window.ago(at) < FORTNIGHT and not alert.cause_gone_at

    def _close(self, alert: Alert, by: User, at: datetime) -> None:
        answers = _answers(alert)
        answer = answers[int(self.rng.integers(len(answers)))]
        if alert.cause_gone_at:
            answer = CAME_LATE if alert.rule == "missing" else CORRECTED
        elif alert.rule == "short" and self._had_to_stop(alert):
            answer = STOPPED
        if answer.outcome == SPOKEN and answers is not OTHERWISE:
            acting.log_call(
                patient=self.patient, by=by, result=CallResult.REACHED, said=answer.words, at=at, alerts=[alert]
            )
        acting.close(alerts=[alert], by=by, outcome=answer.outcome, words=answer.words, at=at)
        self._settled.pop(alert.pk, None)
        self._open.remove(alert)

    def _had_to_stop(self, alert: Alert) -> bool:
        same_night = Alert.objects.filter(patient=self.patient, rule__in=URGENT_EVENTS, last_night=alert.last_night)
        return same_night.exists()
