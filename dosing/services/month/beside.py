"""What a month held beside its numbers: access, infections, hospital, medicines, and what other packages add."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q
from django.utils.translation import gettext as _

from sessions.facts.local_day import plain_day
from sessions.facts.months import next_month
from sessions.models import AccessInfection, HospitalStay, Patient
from sessions.services.medications import taken_between


@dataclass(frozen=True, slots=True)
class MonthLine:
    """One line: what it is about, and what there is to say, one text for each; none means that nothing is entered."""

    label: str
    texts: tuple[str, ...]
    happened: bool = True
    """Whether it befell the patient; False of what was there all along."""

    @property
    def words(self) -> str:
        return "; ".join(self.texts) or (_("None this month.") if self.happened else _("None entered."))


Lines = Callable[[Patient, date, date], Iterable[MonthLine]]
"""Of a patient, from a day to a day, both counted."""
_others: dict[str, Lines] = {}


def register_lines(key: str, lines: Lines) -> None:
    """Lines that another package adds."""
    _others[key] = lines


def beside(person: Patient, month: date) -> list[MonthLine]:
    """All lines of a month, as they are entered by now."""
    last = next_month(month) - timedelta(days=1)
    own = [_access(person, month, last), _infections(person, month, last), _stays(person, month, last)]
    own.append(_medicines(person, month, last))
    return own + [line for lines in _others.values() for line in lines(person, month, last)]


def days_words(first: date, last: date | None) -> str:
    """A day, or from one to another; without a last one it goes on."""
    if last is None:
        return _("since %(day)s") % {"day": plain_day(first)}
    if first == last:
        return plain_day(first)
    return _("%(first)s to %(last)s") % {"first": plain_day(first), "last": plain_day(last)}


def _access(person: Patient, first: date, last: date) -> MonthLine:
    """Every access that was in use on a day of the month."""
    used = Q(created_on__lte=last) & (Q(abandoned_on=None) | Q(abandoned_on__gte=first))
    texts = (
        _("%(access)s, in use %(days)s") % {"access": each, "days": days_words(each.created_on, each.abandoned_on)}
        for each in person.accesses.filter(used).order_by("created_on", "pk")
    )
    return MonthLine(_("Access"), tuple(texts), happened=False)


def _infections(person: Patient, first: date, last: date) -> MonthLine:
    """Those that began in the month."""
    began = AccessInfection.objects.standing().filter(access__patient=person, began_on__range=(first, last))
    texts = (
        ", ".join(filter(None, (each.get_kind_display(), plain_day(each.began_on), each.words)))
        for each in began.order_by("began_on", "pk")
    )
    return MonthLine(_("Infections of the access"), tuple(texts))


def _stays(person: Patient, first: date, last: date) -> MonthLine:
    """Those with a day in the month."""
    there = Q(admitted_on__lte=last) & (Q(discharged_on=None) | Q(discharged_on__gte=first))
    stays = HospitalStay.objects.standing().in_hospital()
    texts = (
        ", ".join(filter(None, (days_words(each.admitted_on, each.discharged_on), each.words)))
        for each in stays.filter(there, patient=person).order_by("admitted_on", "pk")
    )
    return MonthLine(_("In hospital"), tuple(texts))


def _medicines(person: Patient, first: date, last: date) -> MonthLine:
    """What was taken on a day of the month, each dose with its days."""
    texts = (
        _("%(medicine)s, %(days)s") % {"medicine": each, "days": days_words(each.from_on, each.until_on)}
        for each in taken_between(person, first, last)
    )
    return MonthLine(_("Medicines between treatments"), tuple(texts), happened=False)
