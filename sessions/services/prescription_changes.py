"""What a prescription changes against an earlier one, in words, and who has read it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import place_in_week
from sessions.facts.local_number import plain
from sessions.facts.ordered import ORDERED
from sessions.models import Prescription, PrescriptionAcknowledgement, RecordState, TreatmentRecord


@dataclass(frozen=True, slots=True)
class Change:
    """One field that differs: its name, its label, and both values as people read them."""

    field: str
    label: str
    before: str
    after: str

    @property
    def line(self) -> str:
        return f"{self.label}: {self.before} → {self.after}"


def differences(before: Prescription | None, after: Prescription) -> list[Change]:
    """One entry for each thing the later prescription changes; empty for the first."""
    if before is None:
        return []
    pairs = ((name, _in_words(before, name), _in_words(after, name)) for name in ORDERED)
    return [Change(name, ORDERED[name].heading, old, new) for name, old, new in pairs if old != new]


def _in_words(prescription: Prescription, name: str) -> str:
    value = getattr(prescription, name)
    if name == "weekdays":
        short = (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))
        return ", ".join(short[day] for day in sorted(value, key=place_in_week)) or _("free")
    display = getattr(prescription, f"get_{name}_display", None)
    if display:
        return str(display())
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if value in (None, ""):
        return _("none")
    if isinstance(value, float):
        number = ORDERED[name].number
        return number.figure(value) if number else plain(value)
    return str(value)


def changes_for(reader: User, current: Prescription) -> dict[str, Any] | None:
    """What the kit says of a changed prescription: {"since_version", "lines", "acknowledged"}; None for the first.

    Compared with the last one this reader acknowledged; without any, with the one of the last treatment, so that
    nothing falls between two changes that came quickly; else with the one before.
    """
    earlier = list(
        Prescription.objects.filter(patient=current.patient_id, version__lt=current.version)
        .select_related("dialyser")
        .order_by("version")
    )
    read = PrescriptionAcknowledgement.objects.filter(prescription__patient=current.patient_id, by=reader)
    seen = set(read.values_list("prescription__version", flat=True))
    done = TreatmentRecord.objects.filter(patient=current.patient_id, state=RecordState.FINISHED)
    treated = done.newest_first().values_list("prescription__version", flat=True).first()
    if not earlier:
        return None
    base = _last_known(earlier, seen) or _last_known(earlier, {treated}) or earlier[-1]
    return {
        "since_version": base.version,
        "lines": [asdict(change) for change in differences(base, current)],
        "acknowledged": current.version in seen,
    }


def _last_known(earlier: list[Prescription], versions: Collection[int | None]) -> Prescription | None:
    known = [each for each in earlier if each.version in versions]
    return known[-1] if known else None


@transaction.atomic
def acknowledge(*, prescription: Prescription, by: User, at: datetime, now: datetime) -> PrescriptionAcknowledgement:
    """Note that `by` has read it, `at` by the phone's clock. Said twice, the first time stands."""
    kept, _new = PrescriptionAcknowledgement.objects.get_or_create(
        prescription=prescription, by=by, defaults={"at": at, "received_at": now}
    )
    return kept
