"""The demo's unit and people, put into the database the way staff would: accounts, patients, accesses, sites."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.contrib.auth.hashers import make_password
from numpy.random import Generator

from alerts.models import RotaTurn
from homedialysis.accounts.choices import UnitSystem
from homedialysis.accounts.models import OpeningHours, Role, Unit, User
from homedialysis.accounts.services.invitations import accept, open_invitation
from homedialysis.demo import people
from homedialysis.demo.cast import GivenUp, Member
from homedialysis.demo.diary import joined_on
from homedialysis.demo.lives import EVERYBODY
from homedialysis.demo.papers import Sites
from homedialysis.demo.regimes import DIALYSERS
from sessions.api.examples import DEMO_PATIENT
from sessions.facts.choices import Side, SiteUse, Technique
from sessions.models import AccessSite, Dialyser, Patient, VascularAccess
from sessions.pages.forms import limb_of
from sessions.services.enrolment import invite_care_partner, invite_patient

SITE_NAMES: dict[Technique, dict[SiteUse, tuple[str, ...]]] = {
    Technique.BUTTONHOLE: {SiteUse.ARTERIAL: ("Buttonhole, lower",), SiteUse.VENOUS: ("Buttonhole, upper",)},
    Technique.ROPE_LADDER: {
        SiteUse.ARTERIAL: ("Lower 1", "Lower 2", "Lower 3"),
        SiteUse.VENOUS: ("Upper 1", "Upper 2", "Upper 3"),
    },
    Technique.CATHETER: {SiteUse.ARTERIAL: ("Red lumen",), SiteUse.VENOUS: ("Blue lumen",)},
}
PLACES = {"fistula": "forearm", "graft": "upper arm", "catheter": "neck, tunnelled"}


@dataclass(frozen=True, slots=True)
class Team:
    """The unit's people, and the hash that spares every other account the work of its own."""

    nurses: tuple[User, ...]
    nephrologist: User
    technologist: User
    password_hash: str

    def nurse(self, at: datetime) -> User:
        """Who is on duty: they take turns by the day."""
        return self.nurses[at.toordinal() % len(self.nurses)]


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A patient as the database knows it; writers hand in the records in turn."""

    member: Member
    patient: Patient
    sites: Sites
    writers: tuple[User, ...]


def uuid_from(rng: Generator) -> uuid.UUID:
    return uuid.UUID(bytes=rng.bytes(16), version=4)


def found_unit() -> Team:
    """The unit with its hours, its staff and its dialysers."""
    unit = Unit.objects.create(
        name=people.UNIT_NAME,
        time_zone=people.TIME_ZONE,
        unit_system=UnitSystem.SI,
        emergency_number=people.EMERGENCY_NUMBER,
        on_call_number=people.ON_CALL_NUMBER,
    )
    for weekday in range(5):
        OpeningHours.objects.create(unit=unit, weekday=weekday, opens=people.OPENS, closes=people.CLOSES)
    for kind in DIALYSERS:
        figures = {"koa_ml_min": kind.koa_ml_min, "surface_m2": kind.surface_m2}
        Dialyser.objects.create(name=kind.name, source="made up, as the unit is", **figures)
    password_hash = make_password(people.PASSWORD)
    staff = [_account(who.email, who.name, who.role, password_hash) for who in people.STAFF]
    nurses = [user for user in staff if user.role == Role.NURSE]
    for weekday, place, nurse in ((day, place, nurses[(day + place) % 2]) for day in range(5) for place in (1, 2)):
        RotaTurn.objects.create(person=nurse, weekday=weekday, begins=people.OPENS, ends=people.CLOSES, place=place)
    return Team(
        nurses=tuple(user for user in staff if user.role == Role.NURSE),
        nephrologist=next(user for user in staff if user.role == Role.NEPHROLOGIST),
        technologist=next(user for user in staff if user.role == Role.TECHNOLOGIST),
        password_hash=password_hash,
    )


def _account(email: str, name: str, role: Role, password_hash: str) -> User:
    user = User.objects.create_user(email=email, name=name, role=role)
    user.password = password_hash
    user.save(update_fields=["password"])
    return user


def enrol(member: Member, *, at: datetime, until: datetime, team: Team, rng: Generator) -> Enrolled:
    """A patient with account, access and sites. `at`: when; `until`: the end of what is made up."""
    index = EVERYBODY.index(member)
    joined = joined_on(member, until)
    patient = Patient.objects.create(
        id=uuid.UUID(DEMO_PATIENT) if index == 0 else uuid_from(rng),
        name=member.name,
        hospital_number=f"OSK-{1001 + 7 * index}",
        birth_date=date(until.year - member.age, int(rng.integers(1, 11)), int(rng.integers(1, 28))),
        sex=member.sex,
        height_cm=member.height_cm,
        phone=f"+44 1632 960{200 + index}",
        joined_on=joined,
    )
    access = VascularAccess.objects.create(
        patient=patient,
        kind=member.access,
        side=member.side,
        place=PLACES[member.access],
        limb=limb_of(member.access, PLACES[member.access]),
        created_on=joined - timedelta(days=int(rng.integers(90, 400))),
    )
    if member.given_up:
        _make_and_give_up(member.given_up, patient, until.date())
    sites = {use: _sites(member, access, use) for use in SiteUse}
    writers = _writers(member, patient, at=at, team=team)
    return Enrolled(member, patient, Sites(sites[SiteUse.ARTERIAL], sites[SiteUse.VENOUS]), writers)


def _make_and_give_up(other: GivenUp, patient: Patient, today: date) -> None:
    VascularAccess.objects.create(
        patient=patient,
        kind=other.kind,
        side=other.side,
        place=PLACES[other.kind],
        limb=limb_of(other.kind, PLACES[other.kind]),
        created_on=today - timedelta(days=other.made),
        abandoned_on=today - timedelta(days=other.given_up),
    )


def _sites(member: Member, access: VascularAccess, use: SiteUse) -> list[int]:
    made = [
        AccessSite(access=access, name=name, use=use, technique=member.technique, x=x, y=y)
        for index, name in enumerate(SITE_NAMES[member.technique][use])
        for x, y in [place_of(member, use, index)]
    ]
    return [site.pk for site in AccessSite.objects.bulk_create(made)]


def place_of(member: Member, use: SiteUse, index: int) -> tuple[float, float]:
    """Where a site lies on the drawn limb, as shares of the picture: arterial ones nearer the hand."""
    if member.technique == Technique.CATHETER:
        x, y = (0.47, 0.6) if use == SiteUse.ARTERIAL else (0.53, 0.6)
    else:
        x, y = 0.44, (0.7 if use == SiteUse.ARTERIAL else 0.44) - 0.07 * index
    return (x if member.side == Side.LEFT else round(1 - x, 3)), round(y, 3)


def _writers(member: Member, patient: Patient, *, at: datetime, team: Team) -> tuple[User, ...]:
    """The first patient comes in by invitation, as does every care partner."""
    nurse = team.nurse(at)
    if member is EVERYBODY[0]:
        link = invite_patient(patient=patient, email=people.PATIENT_EMAIL, by=nurse, at=at)
        return (_come_in(link, at),)
    account = _account(people.email_of(patient.name), patient.name, Role.PATIENT, team.password_hash)
    patient.account = account
    patient.save(update_fields=["account"])
    if not member.partner:
        return (account,)
    email = people.email_of(member.partner)
    link = invite_care_partner(patient=patient, email=email, name=member.partner, by=nurse, at=at)
    return (account, _come_in(link, at))


def _come_in(secret: str, at: datetime) -> User:
    invitation = open_invitation(secret=secret, at=at)
    if invitation is None:
        raise RuntimeError("The link that was made just now opens nothing")
    return accept(invitation=invitation, password=people.PASSWORD, at=at)
