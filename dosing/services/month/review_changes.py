"""What is different from the last signed review: kept in codes and values, put into words for whoever reads it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.models import MonthlyReview, PatientMonth
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import RangeBook, ends, range_of, range_words
from dosing.services.numbers.kept import kept_number
from dosing.services.numbers.number import GRADE, Number
from dosing.services.numbers.reasons import reason_words
from sessions.models import Patient, Prescription
from sessions.services.prescription_changes import differences

Change = Mapping[str, Any]
"""{"number": its key, "value", "earlier", "place", "range": its ends, "why": a stored reason} for a number that moved
in or out of its range or is no longer known; {"prescription": [version before, version now]} for new orders.
"""
MOVED: dict[tuple[int, bool], Any] = {
    (-1, True): _("%(number)s: %(value)s, was %(earlier)s, now below the range (%(range)s)."),
    (1, True): _("%(number)s: %(value)s, was %(earlier)s, now above the range (%(range)s)."),
    (0, True): _("%(number)s: %(value)s, was %(earlier)s, back in range (%(range)s)."),
    (-1, False): _("%(number)s: %(value)s, now below the range (%(range)s)."),
    (1, False): _("%(number)s: %(value)s, now above the range (%(range)s)."),
    (0, False): _("%(number)s: %(value)s, back in range (%(range)s)."),
}
"""By where a number lies now, and whether the last review knew it."""


def last_signed(patient: Patient, month: date) -> MonthlyReview | None:
    """The last review signed for an earlier month."""
    return MonthlyReview.objects.filter(patient=patient, month__lt=month).exclude(signed_at=None).first()


def changes_since(
    last: MonthlyReview | None, row: PatientMonth | None, ranges: RangeBook, *, at: datetime
) -> list[Change]:
    """What is different from the last signed review, fit for JSON. at: of the signature, or of looking before it."""
    if row is None:
        return []
    before = last.frozen if last else {}
    moved = (_moved(number, before, row, ranges) for number in MONTH_NUMBERS.values())
    found = [change for change in moved if change]
    return found + (_new_orders(last, row, at) if last else [])


def _moved(number: Number[Any], before: dict[str, Any], row: PatientMonth, ranges: RangeBook) -> Change | None:
    kept = kept_number(number, row.numbers)
    earlier = kept_number(number, before.get("numbers", {})).value
    place, was = ranges.place(number.key, kept.value, row.schedule), before.get("places", {}).get(number.key, 0)
    lost = kept.value is None and earlier is not None
    if not lost and (kept.value is None or place == was):
        return None
    return {
        "number": number.key,
        "value": kept.value,
        "earlier": earlier,
        "place": place,
        "range": ends(ranges.held_for(number.key, row.schedule)),
        "why": kept.reason.as_json() if kept.reason else None,
    }


def _new_orders(last: MonthlyReview, row: PatientMonth, at: datetime) -> list[Change]:
    """Against what is in force at this moment, however late the numbers were computed."""
    now = Prescription.objects.filter(patient=row.patient_id).in_force(at).first()
    before = last.frozen.get("prescription")
    if now is None or before is None or now.version == before:
        return []
    return [{"prescription": [before, now.version]}]


def change_lines(patient: Patient, changes: Iterable[Change]) -> list[str]:
    """Changes in the language of the reader, a line each; new orders have one for each field that differs."""
    lines: list[str] = []
    for change in sorted(changes, key=_weight):
        lines += _of_orders(patient, *change["prescription"]) if "prescription" in change else [_of_number(change)]
    return lines


def _weight(change: Change) -> int:
    """What is newly out of range comes first, then new orders, what is no longer known, and what is in range again."""
    if "prescription" in change:
        return 1
    if change["value"] is None:
        return 2
    return 0 if change["place"] else 3


def _of_number(change: Change) -> str:
    number, value, earlier = MONTH_NUMBERS[change["number"]], change["value"], change["earlier"]
    if value is None:
        parts = {"number": number.label, "why": reason_words(change["why"])}
        return gettext("%(number)s: no longer known (%(why)s).") % parts
    parts = {
        "number": number.label,
        "value": number.text(value),
        "earlier": "" if earlier is None else number.text(earlier),
        "range": range_words(number, range_of(change["range"])),
    }
    if number.unit == GRADE:  # its words say where it lies: a range beside them would say it again
        words = (
            gettext("%(number)s: %(value)s.") if earlier is None else gettext("%(number)s: %(value)s, was %(earlier)s.")
        )
        return words % parts
    return str(MOVED[change["place"], earlier is not None] % parts)


def _of_orders(patient: Patient, before: int, now: int) -> list[str]:
    orders = {each.version: each for each in Prescription.objects.filter(patient=patient, version__in=[before, now])}
    if now not in orders:
        return []
    return [
        gettext("Prescription %(version)s: %(line)s.") % {"version": now, "line": change.line}
        for change in differences(orders.get(before), orders[now])
    ]


def later_than_signed(review: MonthlyReview | None, row: PatientMonth | None) -> list[str]:
    """Keys of the numbers that read otherwise now than they were signed: what they rest on came afterwards."""
    if review is None or review.signed_at is None or row is None:
        return []
    signed, now = review.frozen.get("numbers", {}), row.numbers
    return [
        key
        for key, number in MONTH_NUMBERS.items()
        if signed.get(key, {}).get("value") != now.get(key, {}).get("value")
        and _read(number, signed) != _read(number, now)
    ]


def later_lines(review: MonthlyReview | None, row: PatientMonth | None) -> list[str]:
    """The same in words, a line each: as it was signed, and as it is."""
    if review is None or row is None:
        return []
    signed = review.frozen.get("numbers", {})
    return [
        gettext("%(number)s: signed %(signed)s, now %(now)s.")
        % {
            "number": MONTH_NUMBERS[key].label,
            "signed": _read(MONTH_NUMBERS[key], signed),
            "now": _read(MONTH_NUMBERS[key], row.numbers),
        }
        for key in later_than_signed(review, row)
    ]


def _read(number: Number[Any], numbers: dict[str, Any]) -> str:
    kept = kept_number(number, numbers)
    unit = f" {number.unit_shown}" if number.unit_shown else ""
    return (
        gettext("unknown (%(why)s)") % {"why": kept.why} if kept.value is None else f"{number.text(kept.value)}{unit}"
    )
