"""Arterial and venous pressure beyond their limits at treatment flow: a part of the access family."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models.choices import Family, Urgency
from alerts.rules.base import JudgedNight, Rule
from alerts.rules.rule_kinds import Read, ValueRead, of_readings, outside


def _at_flow_or_unknown(column: str) -> Read:
    """At treatment flow. A reading without its flow still counts against a limit that slow flow cannot break."""

    def read(night: JudgedNight) -> Iterator[ValueRead]:
        at_flow = {reading.pk for reading in night.at_flow}
        for reading in night.readings:
            value = getattr(reading, column)
            if value is not None and (reading.pk in at_flow or reading.qb_ml_min is None):
                yield ValueRead(f"reading.{column}", reading.at, value)

    return read


ARTERIAL, VENOUS = _("Arterial pressure"), _("Venous pressure")
NO_ARTERIAL = _("no arterial pressure at treatment flow was noted")
NO_VENOUS = _("no venous pressure at treatment flow was noted")


def _pressure(
    key: str,
    title: StrOrPromise,
    about: StrOrPromise,
    read: Read,
    what: StrOrPromise,
    *,
    missing: StrOrPromise,
    over: bool,
    margin: float,
    may_be_muted: bool = True,
) -> Rule:
    return outside(
        key,
        title=title,
        about=about,
        family=Family.ACCESS,
        urgency=Urgency.THIS_WEEK,
        read=read,
        limits=(key,),
        over=over,
        margin=margin,
        what=what,
        missing=missing,
        reads="readings",
        may_be_muted=may_be_muted,
    )


ARTERIAL_LOW = _pressure(
    "arterial_low", _("Arterial pressure beyond its limit"), _("arterial pressure"),
    _at_flow_or_unknown("arterial_mmhg"), ARTERIAL, missing=NO_ARTERIAL, over=False, margin=10,
)  # fmt: skip
VENOUS_HIGH = _pressure(
    "venous_high", _("Venous pressure over its limit"), _("venous pressure"),
    _at_flow_or_unknown("venous_mmhg"), VENOUS, missing=NO_VENOUS, over=True, margin=10,
)  # fmt: skip
VENOUS_LOW = _pressure(
    "venous_low", _("Venous pressure very low at treatment flow"), _("low venous pressure"),
    of_readings("venous_mmhg", at_flow=True), VENOUS, missing=NO_VENOUS, over=False, margin=5,
    may_be_muted=False,
)  # fmt: skip

RULES = (ARTERIAL_LOW, VENOUS_HIGH, VENOUS_LOW)
