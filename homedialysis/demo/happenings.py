"""What happens to one made-up patient, as a list of moments, each with what is done then through the services."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial

from numpy.random import Generator

from homedialysis.accounts.models import User
from homedialysis.demo import bedside, laboratory, medicines
from homedialysis.demo.body import TrueTreatment, live
from homedialysis.demo.cast import CAST, How, Member, Stay
from homedialysis.demo.circuit import outflow_rise
from homedialysis.demo.diary import Orders, Window, at_clock, next_working, orders, starts, unanswered
from homedialysis.demo.enrolment import Enrolled, Team, uuid_from
from homedialysis.demo.handing_in import Sending, sendings
from homedialysis.demo.papers import Document, as_left_open, write_down
from sessions.api.treatments import judged
from sessions.facts.choices import Anticoagulant, LeftReason
from sessions.models import BloodResult, Dialyser, HospitalStay, Prescription, TreatmentRecord, UrineCollection
from sessions.services import outcomes
from sessions.services.bloods import enter_bloods
from sessions.services.enrolment import end_help
from sessions.services.prescribing import sign_prescription
from sessions.services.recording import record_treatment

LAB_ANSWERS, LAB_TAKES = time(14, 30), timedelta(hours=18)
HANDED_IN_LATE = 0.008
"""Share of records that the phone hands over a day or two later, when it is on the network again (assumption)."""
SENT_TWICE = 0.01
MISSED_AFTER = timedelta(hours=30)
NOON = time(12, 0)


@dataclass(frozen=True, slots=True)
class Happening:
    """At that moment this is done; `do` gets the moment. wants_a_look: whether it is evaluated at once."""

    at: datetime
    do: Callable[[datetime], object]
    wants_a_look: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """One patient's part of the demo."""

    enrolled: Enrolled
    window: Window
    team: Team
    rng: Generator

    def happenings(self) -> Iterator[Happening]:
        """Everything that happens, in no particular order."""
        member, rng = self.enrolled.member, self.rng
        given = orders(member, self.window)
        for order in given:
            if order.at.date() < (self.window.left_on or date.max):
                yield Happening(order.at, partial(self._sign, order))
        begin = starts(member, self.window, rng)
        nights = live(member, window=self.window, starts=begin, orders=given, rng=rng)
        ways = {self.window.last_before(begin, each.ago): each.how for each in member.story.handed_in}
        for turn, night in enumerate(nights):
            yield from self._hand_in(night, turn, ways.get(night.start))
        yield from self._bloods(nights)
        yield from self._beside_the_treatments()
        for missed in unanswered(member, self.window, begin):
            yield Happening(missed, _nothing, wants_a_look=True)
        if member is CAST[0]:
            yield from self._waiting_on_the_phone()
        yield Happening(self.window.until, _nothing, wants_a_look=True)

    def _beside_the_treatments(self) -> Iterator[Happening]:
        """Medicines, stays in hospital, bloods of long ago, a partner who goes, leaving."""
        story, window = self.enrolled.member.story, self.window
        told = (self.enrolled.member, self.enrolled.patient, self.team)
        yield Happening(window.begins, partial(medicines.write_down, *told))
        if window.begins < medicines.changed_at(window.until) and not window.left_on:
            yield Happening(medicines.changed_at(window.until), partial(medicines.change, *told))
        for stay in story.stays:
            if window.begins < window.until - timedelta(days=stay.ago):
                yield Happening(window.until - timedelta(days=stay.ago), partial(self._admit, stay))
        if story.old_bloods:
            yield Happening(window.until - timedelta(days=story.old_bloods), self._draw_apart)
        if story.partner_goes:
            yield Happening(window.until - timedelta(days=story.partner_goes), self._let_the_partner_go)
        if window.left_on:
            yield Happening(at_clock(window.until - (window.until.date() - window.left_on), NOON), self._leave)

    def _admit(self, stay: Stay, at: datetime) -> None:
        admitted = at.date()
        row = HospitalStay(
            patient=self.enrolled.patient,
            admitted_on=admitted,
            discharged_on=admitted + timedelta(days=stay.days),
            words="Pneumonia",
        )
        outcomes.keep(row, by=self.team.nurse(at), at=at)

    def _draw_apart(self, at: datetime) -> None:
        self._enter(laboratory.apart(self.enrolled.member, self.enrolled.patient, at, rng=self.rng), at)

    def _let_the_partner_go(self, at: datetime) -> None:
        for helper in self.enrolled.patient.carepartner_set.all():
            end_help(helper=helper, by=self.team.nurse(at), at=at)

    def _leave(self, at: datetime) -> None:
        patient = self.enrolled.patient
        patient.left_on, patient.left_reason = self.window.left_on, LeftReason.TRANSPLANT
        patient.save(update_fields=["left_on", "left_reason"])

    def _waiting_on_the_phone(self) -> Iterator[Happening]:
        """An old message, a new one, and a change of the prescription that nobody has acknowledged."""
        until, patient, team = self.window.until, self.enrolled.patient, self.team
        for hours, do in (
            (7 * 24, partial(bedside.write_and_see, patient, team, bedside.OLD_MESSAGE)),
            (3, partial(bedside.write_to, patient, team, bedside.NEW_MESSAGE)),
            (1, partial(bedside.sign_cooler, patient, team)),
        ):
            yield Happening(until - timedelta(hours=hours), do)

    def _sign(self, order: Orders, at: datetime) -> None:
        sign_prescription(prescription=self._prescription(order), by=self.team.nephrologist, at=at)

    def _prescription(self, order: Orders) -> Prescription:
        member = self.enrolled.member
        regime, target = member.regime, order.target_kg
        first = order.target_kg == member.target_kg
        return Prescription(
            patient=self.enrolled.patient,
            days_per_week=regime.days_per_week,
            weekdays=list(regime.weekdays),
            minutes=regime.minutes,
            max_minutes=regime.minutes + 60,
            qb_ml_min=regime.qb,
            qd_ml_min=regime.qd,
            dialyser=Dialyser.objects.get(name=regime.dialyser.name),
            dialysate_k_mmol_l=regime.potassium,
            dialysate_ca_mmol_l=1.5,
            dialysate_buffer=regime.buffer,
            dialysate_buffer_mmol_l=regime.buffer_mmol_l,
            dialysate_na_mmol_l=138,
            dialysate_temperature_c=36.5,
            target_weight_kg=target,
            uf_rate_limit_ml_kg_h=regime.uf_limit,
            anticoagulant=Anticoagulant.HEPARIN,
            bolus_units=round(regime.bolus_per_kg * target, -2),
            rate_units_h=round(regime.heparin_per_kg_h * target, -1) or None,
            stop_minutes_before_end=None if member.catheter else 30,
            needle_gauge=None if member.catheter else member.gauge,
            reading_interval_minutes=regime.interval,
            quiet_at_night=regime.nocturnal,
            note="" if first else "Target weight moved at the monthly review.",
        )

    def _hand_in(self, night: TrueTreatment, turn: int, how: How | None) -> Iterator[Happening]:
        """The record as it comes in, in the one way that the story has for it, or as they mostly do."""
        member, until, rng = self.enrolled.member, self.window.until, self.rng
        ago, record_id = self.window.ago(night.start), uuid_from(rng)
        document = write_down(member, night, ago=ago, sites=self.enrolled.sites, turn=turn, rng=rng)
        late = timedelta(minutes=float(rng.uniform(4, 35)))
        offline = timedelta(hours=float(rng.uniform(14, 40))) if rng.random() < HANDED_IN_LATE else timedelta()
        twice = rng.random() < SENT_TWICE
        if night.end > until:
            document, offline = as_left_open(document, until), timedelta()
        first = Sending(min(night.end + late + offline, until), record_id, document, writer=turn)
        if how is not None and night.end <= until:
            for sending in sendings(how, first, until):
                yield Happening(sending.at, partial(self._record, sending), wants_a_look=True)
            return
        send, look = partial(self._record, first), striking(member, night, document)
        if offline and night.end + late + MISSED_AFTER < first.at:
            yield Happening(night.end + late + MISSED_AFTER, _nothing, wants_a_look=True)
        yield Happening(first.at, send, look or outflow_rise(member.story, ago) > 10)
        if twice:
            yield Happening(min(first.at + timedelta(minutes=1), until), send)

    def _record(self, sending: Sending, at: datetime) -> None:
        patient, writers = self.enrolled.patient, self._writers(at)
        record_treatment(
            record_id=sending.record_id,
            patient=patient,
            document=judged(sending.document, patient, at),
            by=writers[sending.writer % len(writers)],
            at=at,
            replaces=TreatmentRecord.objects.get(pk=sending.record_id).etag if sending.replaces else None,
        )

    def _writers(self, at: datetime) -> tuple[User, ...]:
        """Who may write at a moment: a partner who went does not."""
        gone, writers = self.enrolled.member.story.partner_goes, self.enrolled.writers
        return writers[:1] if gone and self.window.ago(at) <= gone else writers

    def _bloods(self, nights: list[TrueTreatment]) -> Iterator[Happening]:
        """Drawn at about one treatment a month, entered by a nurse when the laboratory has answered."""
        member, window = self.enrolled.member, self.window
        drawn = laboratory.drawn_at(member, nights, window)
        urea = laboratory.urea_through(member, nights, window) if drawn else []
        for count, index in enumerate(drawn):
            night = nights[index]
            answered = next_working(night.end + LAB_TAKES, LAB_ANSWERS)
            found = laboratory.results(
                member,
                self.enrolled.patient,
                night,
                urea[index],
                ago=window.ago(night.start),
                full=count % 3 == 0,
                rng=self.rng,
            )
            if answered < window.until:
                yield Happening(answered, partial(self._enter, found))
                if member.kidney and index and count % 2 == 0:
                    collected = laboratory.urine(member, self.enrolled.patient, nights, urea, index)
                    yield Happening(answered, partial(self._collect, *collected))

    def _enter(self, found: list[BloodResult], at: datetime) -> None:
        enter_bloods(results=found, by=self.team.nurse(at), at=at)

    def _collect(self, collection: UrineCollection, found: list[BloodResult], at: datetime) -> None:
        enter_bloods(results=found, by=self.team.nurse(at), at=at)
        collection.entered_by, collection.entered_at = self.team.nurse(at), at
        collection.full_clean()
        collection.save()


def _nothing(at: datetime) -> None:
    """Time alone passes."""


def striking(member: Member, night: TrueTreatment, document: Document) -> bool:
    """Whether a rule may have something to say: looser than any rule, for it only decides when they are asked."""
    lowest = [row["systolic"] for row in document["readings"] if row["systolic"] is not None]
    lowest += [document[name] for name in ("post_systolic", "post_standing_systolic") if document.get(name)]
    venous = [row["venous_mmhg"] for row in document["readings"] if row["venous_mmhg"] is not None]
    return (
        bool(document["events"])
        or night.uf_rate > 0.95 * member.regime.uf_limit
        or abs(night.scale_after - night.target_kg) > min(0.95, 0.018 * night.target_kg)
        or min(lowest, default=200) < 100
        or document.get("pre_systolic", 0) > 175
        or max(venous, default=0) > 220
        or night.minutes < 0.92 * member.regime.minutes
    )
