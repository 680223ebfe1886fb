"""Where something that went into a number comes from: which record, result, order, and of when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.utils.timezone import localtime
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from sessions.facts.local_day import plain_moment


class OriginKind(StrEnum):
    """What it is taken from."""

    RECORD = "record"
    BEFORE = "before"
    BLOOD = "blood"
    ORDER = "order"
    PERSON = "person"
    ACCESS = "access"
    TREATMENTS = "treatments"
    LATELY = "lately"
    URINE = "urine"
    NO_URINE = "no urine"
    MODEL = "model"
    WATER = "water"
    GUIDANCE = "guidance"


_WORDS = {
    OriginKind.RECORD: _("the record of this treatment, begun on %(at)s"),
    OriginKind.BEFORE: _("the treatment begun on %(at)s"),
    OriginKind.BLOOD: _("blood drawn on %(at)s"),
    OriginKind.ORDER: _("the prescription in force since %(at)s"),
    OriginKind.PERSON: _("what is kept of the patient"),
    OriginKind.ACCESS: _("the access in use"),
    OriginKind.TREATMENTS: _("the treatments of the month"),
    OriginKind.LATELY: _("the treatments of the last four weeks"),
    OriginKind.URINE: _("the urine collected until %(at)s"),
    OriginKind.NO_URINE: _("no urine collection counts: taken as nothing"),
    OriginKind.MODEL: _("the model of the patient's urea"),
    OriginKind.WATER: _("the sample of %(at)s"),
    OriginKind.GUIDANCE: _("what guidance aims at"),
}


@dataclass(frozen=True, slots=True)
class Origin:
    """at: the moment that tells it from others of its kind; None where there is only one."""

    kind: OriginKind
    at: datetime | None = None

    def as_json(self) -> list[str]:
        return [self.kind.value, self.at.isoformat()] if self.at else [self.kind.value]

    @property
    def words(self) -> str:
        """In the language and the time of the reader."""
        at = plain_moment(localtime(self.at)) if self.at else ""
        return gettext(_WORDS[self.kind]) % {"at": at}


def origin_of(stored: Sequence[str]) -> Origin:
    """An origin as it was stored."""
    kind, *at = stored
    return Origin(OriginKind(kind), datetime.fromisoformat(at[0]) if at else None)
