"""What changed between two versions of a record, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from homedialysis.accounts.services.dates import short_moment
from sessions.facts import plausible
from sessions.facts.choices import (
    BloodReturn,
    CheckPart,
    DialyserLook,
    EarlyReason,
    EventKind,
    EventOutcome,
    HelpCalled,
    NeedleKind,
    PlanChoice,
    RecordSource,
    RecordState,
    SiteUse,
)
from sessions.facts.local_number import plain
from sessions.texts import ready

CODES: dict[str, dict[str, Any]] = {
    "status": dict(RecordState.choices),
    "source": dict(RecordSource.choices),
    "kind": dict(EventKind.choices),
    "part": dict(CheckPart.choices),
    "use": dict(SiteUse.choices),
    "outcome": dict(EventOutcome.choices),
    "called": dict(HelpCalled.choices),
    "needle": dict(NeedleKind.choices),
    "plan_choice": dict(PlanChoice.choices),
    "dialyser_look": dict(DialyserLook.choices),
    "blood_return": dict(BloodReturn.choices),
    "early_reason": dict(EarlyReason.choices),
}
"""Fields that hold a code, with what people read."""
MOMENT = "at"
"""How the name of every field ends that holds a moment, and no other that holds text."""


def changed_fields(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, str]]:
    """Field by field, what a record's document held before and holds after."""
    old, new = dict(_flat(before)), dict(_flat(after))
    names = [name for name in {**old, **new} if old.get(name, "") != new.get(name, "")]
    return [
        {"field": plausible.words_for(name), "before": old.get(name, ""), "after": new.get(name, "")} for name in names
    ]


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for name, inner in value.items():
            if name != "id":  # how two phones know each other's rows: nothing that happened
                yield from _flat(inner, f"{path}.{name}" if path else name)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _flat(inner, f"{path}[{index}]")
    elif value not in (None, "", []):
        yield path, _in_words(path.rpartition(".")[2], value)


def _in_words(field: str, value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        return plain(value)
    if field.endswith(MOMENT) and (moment := parse_datetime(str(value))):
        return short_moment(localtime(moment))
    known = CODES.get(field, {}).get(value)
    return ready.words_of(str(value)) if known is None else str(known)
