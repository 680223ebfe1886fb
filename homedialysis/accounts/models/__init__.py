"""Who is who: the unit, the people, the devices they sign in with, and who read what."""

from __future__ import annotations

import uuid
import zoneinfo
from datetime import date, datetime
from typing import Any, ClassVar

import pghistory
import pgtrigger
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from homedialysis.accounts.choices import (
    DayOrder,
    English,
    FirstWeekday,
    HourClock,
    TemperatureUnit,
    UnitSystem,
    WeightUnit,
)
from homedialysis.accounts.choices.tokens import TokenScope


def known_time_zone(name: str) -> None:
    if name not in zoneinfo.available_timezones():
        words = _("“%(name)s” is not a time zone; write one such as Europe/Lisbon.")
        raise ValidationError(words, params={"name": name})


class Role(models.TextChoices):
    PATIENT = "patient", _("patient")
    CARE_PARTNER = "care_partner", _("care partner")
    NURSE = "nurse", _("nurse")
    NEPHROLOGIST = "nephrologist", _("nephrologist")
    TECHNOLOGIST = "technologist", _("technologist")
    ADMINISTRATOR = "administrator", _("administrator")


BEDSIDE_ROLES = frozenset({Role.PATIENT, Role.CARE_PARTNER})
CLINICAL_ROLES = frozenset({Role.NURSE, Role.NEPHROLOGIST})


class UnitManager(models.Manager["Unit"]):
    def current(self) -> Unit | None:
        """The one unit of this installation, or None before it is set up."""
        return self.prefetch_related("opening_hours").first()


@pghistory.track()
class Unit(models.Model):
    """The home-dialysis unit that runs this installation: there is one."""

    only = models.BooleanField(default=True, editable=False, unique=True)
    name = models.CharField(_("name"), max_length=120)
    time_zone = models.CharField(_("time zone"), max_length=60, default="UTC", validators=[known_time_zone])
    unit_system = models.CharField(_("unit system"), max_length=2, choices=UnitSystem, default=UnitSystem.SI)
    analyte_units = models.JSONField(default=dict, blank=True)
    """LOINC code of an analyte that is not read in the unit of the system → name of its unit in the science."""
    weight_unit = models.CharField(_("weights in"), max_length=2, choices=WeightUnit, default=WeightUnit.KG)
    temperature_unit = models.CharField(
        _("temperatures of the body in"), max_length=2, choices=TemperatureUnit, default=TemperatureUnit.CELSIUS
    )
    day_order = models.CharField(_("days written as"), max_length=3, choices=DayOrder, default=DayOrder.DAY_FIRST)
    hour_clock = models.CharField(_("clock"), max_length=2, choices=HourClock, default=HourClock.H24)
    week_begins = models.PositiveSmallIntegerField(
        _("first day of the week"), choices=FirstWeekday, default=FirstWeekday.MONDAY
    )
    english = models.CharField(_("spelling of English"), max_length=5, choices=English, default=English.BRITISH)
    emergency_number = models.CharField(_("ambulance number"), max_length=30)
    on_call_number = models.CharField(_("unit's on-call number"), max_length=30)

    objects = UnitManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(name="unit_only_one", condition=Q(only=True))]

    def __str__(self) -> str:
        return self.name

    @cached_property
    def days_closed(self) -> frozenset[date]:
        """On which it is closed whatever its hours say; read when somebody first asks, for most pages never do."""
        return frozenset(self.closed_days.values_list("day", flat=True))


class Weekday(models.IntegerChoices):
    MONDAY = 0, _("Monday")
    TUESDAY = 1, _("Tuesday")
    WEDNESDAY = 2, _("Wednesday")
    THURSDAY = 3, _("Thursday")
    FRIDAY = 4, _("Friday")
    SATURDAY = 5, _("Saturday")
    SUNDAY = 6, _("Sunday")


class OpeningHours(models.Model):
    """When somebody is at the unit; outside these hours nobody looks at what comes in."""

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="opening_hours")
    weekday = models.PositiveSmallIntegerField(_("weekday"), choices=Weekday)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering: ClassVar = ["weekday", "opens"]
        constraints: ClassVar = [
            models.CheckConstraint(name="opening_hours_in_order", condition=Q(closes__gt=F("opens"))),
            models.UniqueConstraint(name="opening_hours_once_a_day", fields=["unit", "weekday"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M} to {self.closes:%H:%M}"


class ClosedDay(models.Model):
    """A day on which the unit is closed whatever its hours say: a holiday, a move."""

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="closed_days")
    day = models.DateField(_("day"))
    name = models.CharField(_("what for"), max_length=60)

    class Meta:
        ordering: ClassVar = ["day"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                name="closed_day_once",
                fields=["unit", "day"],
                violation_error_message=_("This day is entered already."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.day:%Y-%m-%d} {self.name}"


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        if not email:
            raise ValueError("A person needs an e-mail address to sign in with")
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, role=Role.ADMINISTRATOR, is_superuser=True, **fields)


@pghistory.track(exclude=["password", "last_login"])
class User(AbstractBaseUser, PermissionsMixin):  # type: ignore[django-manager-missing]
    """A person who signs in, by e-mail address, in one role."""

    email = models.EmailField(_("e-mail address"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    role = models.CharField(max_length=20, choices=Role)
    language = models.CharField(max_length=20, blank=True, help_text=_("Empty: as the browser asks."))
    weight_unit = models.CharField(_("weights in"), max_length=2, choices=WeightUnit, blank=True)
    temperature_unit = models.CharField(
        _("temperatures of the body in"), max_length=2, choices=TemperatureUnit, blank=True
    )
    is_active = models.BooleanField(default=True)
    date_joined = models.DateTimeField(default=timezone.now)

    objects = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar = ["name"]

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name or self.email

    @property
    def is_unit_staff(self) -> bool:
        """Whether this person works at the unit and so sees all of its patients."""
        return self.is_active and self.role not in BEDSIDE_ROLES

    @property
    def is_clinical(self) -> bool:
        """Whether this person may act on patients' records and alerts."""
        return self.is_active and self.role in CLINICAL_ROLES

    @property
    def is_technologist_or_clinical(self) -> bool:
        """Whether this person may note water tests, machines and supplies."""
        return self.is_active and (self.role in CLINICAL_ROLES or self.role == Role.TECHNOLOGIST)

    @property
    def is_nephrologist(self) -> bool:
        return self.is_active and self.role == Role.NEPHROLOGIST

    @property
    def is_bedside(self) -> bool:
        """Whether this person is a patient or a care partner."""
        return self.is_active and self.role in BEDSIDE_ROLES

    @property
    def is_administrator(self) -> bool:
        return self.is_active and self.role == Role.ADMINISTRATOR


def signed_in(request: Any) -> User:
    """Who makes this request, behind a door that only signed-in people pass."""
    user = request.user
    if not isinstance(user, User):
        raise PermissionDenied
    return user


class Invitation(models.Model):
    """A one-time link with which an invited person sets a first password. Only its hash is kept."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="invitations")
    digest = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"Invitation of {self.user} until {self.expires_at:%Y-%m-%d %H:%M}"


def every_scope() -> list[str]:
    """What a token could do before there were scopes."""
    return list(TokenScope.values)


class DeviceToken(AbstractAuthToken):
    """A token for one device or program of one person: hashed, expiring, revocable, for what it was made for alone."""

    public_id: models.UUIDField[uuid.UUID, uuid.UUID] = models.UUIDField(
        default=uuid.uuid4, unique=True, editable=False
    )
    name: models.CharField[str, str] = models.CharField("device", max_length=80, default="")
    scopes: ArrayField[list[str], list[str]] = ArrayField(
        models.CharField(max_length=6, choices=TokenScope), default=every_scope
    )
    last_used: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(null=True)
    """To the hour."""

    class Meta(AbstractAuthToken.Meta):
        ordering: ClassVar = ["-created"]

    def __str__(self) -> str:
        return str(self.name)

    @property
    def for_what(self) -> list[str]:
        """Its scopes in the reader's words."""
        return [str(scope.label) for scope in TokenScope if scope in self.scopes]


class BedsideDeviceQuerySet(models.QuerySet["BedsideDevice"]):
    def visible_to(self, user: Any) -> BedsideDeviceQuerySet:
        """One's own; the unit's staff see those of patients and care partners."""
        if not getattr(user, "is_active", False):
            return self.none()
        return self.filter(user__role__in=BEDSIDE_ROLES) if user.is_unit_staff else self.filter(user=user)

    def in_use(self) -> BedsideDeviceQuerySet:
        return self.filter(revoked_at=None)


class BedsideDevice(models.Model):
    """A browser in which somebody installed the bedside. Its id is made there and tells that browser alone."""

    id = models.UUIDField(primary_key=True)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="bedside_devices")
    name = models.CharField(max_length=80)
    first_contact = models.DateTimeField()
    last_contact = models.DateTimeField()
    session_key = models.CharField(max_length=40, blank=True)
    """The session of the last contact, ended when the device is taken back."""
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = BedsideDeviceQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-last_contact"]

    def __str__(self) -> str:
        return self.name


class ReadLog(models.Model):
    """Who read whose record, when, and which page: rows are only ever added."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    patient_id = models.UUIDField(db_index=True)
    path = models.CharField(max_length=200)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        triggers: ClassVar = [
            pgtrigger.Protect(
                name="read_log_append_only",
                operation=pgtrigger.Update | pgtrigger.Delete,
            )
        ]

    def __str__(self) -> str:
        return f"{self.user} read {self.path}"
