"""Plain sentences out of evidence, in the language of whoever reads them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.utils.translation import gettext
from django_stubs_ext import StrOrPromise

from alerts.rules.base import Evidence, Seen
from alerts.rules.evidence_kinds import figure_with_unit, shown
from alerts.rules.wording import days_of, when

Pick = Callable[[Iterable[float]], float]


def values_of(evidence: Sequence[Evidence]) -> list[float]:
    """As people read them."""
    return [shown(item) for item in evidence if item.value is not None]


def beyond(seen: Seen, *, what: StrOrPromise, worst: Pick, form: str = ".0f") -> str:
    """ "UF rate 14.2 mL/kg/h on 12 May, over the limit of 10 mL/kg/h." and the like for several nights."""
    newest = seen.evidence[-1]
    parts: dict[str, Any] = {
        "what": what,
        "figure": figure_with_unit(newest, worst(values_of(seen.evidence)), form),
        "when": when(seen.evidence),
        "limit": seen.limit.words if seen.limit else figure_with_unit(newest, newest.limit or 0),
    }
    several = len(days_of(seen.evidence)) > 1
    if worst is min:
        return (_under_at_worst() if several else _under()) % parts
    return (_over_at_worst() if several else _over()) % parts


def _over() -> str:
    return gettext("%(what)s %(figure)s %(when)s, over the limit of %(limit)s.")


def _over_at_worst() -> str:
    return gettext("%(what)s %(figure)s at worst, %(when)s, over the limit of %(limit)s.")


def _under() -> str:
    return gettext("%(what)s %(figure)s %(when)s, under the limit of %(limit)s.")


def _under_at_worst() -> str:
    return gettext("%(what)s %(figure)s at worst, %(when)s, under the limit of %(limit)s.")
