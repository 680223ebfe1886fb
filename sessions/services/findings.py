"""What was found of a patient: read by kind, and told with what calls for a look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from homedialysis.accounts.services.dates import short_day
from sessions.facts.findings import SPECS, FindingKind
from sessions.models import Finding, Patient, VascularAccess

LEAST_FLOW, WATCHED_FLOW, FALL = 600.0, 1000.0, 0.25
"""mL/min: an access flow below the first, or below the second and fallen by a quarter within four months, calls for a
look (KDOQI 2006, guideline 4, written for grafts; from memory)."""
WITHIN = timedelta(days=122)
MOST_RECIRCULATION = 10.0
"""Per cent, by two needles (KDOQI 2006; from memory)."""
CARRIED_BY_BLOOD = ("hbsag", "hcv", "hiv")
"""Of `facts.findings.VIRUSES`, those whose positive test calls for care by everybody who meets the blood, and for a
machine of its own with HBsAg (CDC 2001, MMWR 50 RR-5; from memory). Antibodies against hepatitis B are none of them:
they tell of protection, or of an infection that is over."""
LEAST_TITRE = 10.0
"""IU/L of anti-HBs, below which a booster is thought of (CDC 2001; from memory)."""


def findings_of(patient: Patient, kinds: Iterable[str] | None = None) -> list[Finding]:
    """Those that stand, newest first; kinds: None for all. One query."""
    found = patient.findings.standing().select_related("entered_by", "access")
    return list(found if kinds is None else found.filter(kind__in=list(kinds)))


def newest_of(found: Sequence[Finding], kind: str, **values: str) -> Finding | None:
    """The newest of a kind with these values, of some that are sorted newest first."""
    mine = (each for each in found if each.kind == kind)
    return next((each for each in mine if all(each.values.get(key) == value for key, value in values.items())), None)


def blood_borne(patient: Patient) -> list[Finding]:
    """The newest test of each virus that others can catch from the blood, where it is positive or unclear. One query.

    An unclear test takes no clear one away: the newest clear one is told, and an unclear one only where there is none.
    """
    tests = findings_of(patient, [FindingKind.VIRUS])
    newest = (_telling(tests, virus) for virus in CARRIED_BY_BLOOD)
    return [each for each in newest if each is not None and each.values["result"] != "negative"]


def _telling(tests: Sequence[Finding], virus: str) -> Finding | None:
    clear = (newest_of(tests, FindingKind.VIRUS, virus=virus, result=result) for result in ("positive", "negative"))
    newest = max(filter(None, clear), key=lambda each: (each.found_on, each.pk), default=None)
    return newest or newest_of(tests, FindingKind.VIRUS, virus=virus)


def concern_of(row: Finding, found: Sequence[Finding]) -> str:
    """Why a finding calls for a look, "" where it does not. found: all of the patient that stand, newest first."""
    if row.kind == FindingKind.ACCESS_FLOW:
        return "; ".join(filter(None, (_low_flow(row, found), _recirculates(row))))
    if row.kind == FindingKind.VIRUS:
        return _low_titre(row)
    return ""


@dataclass(frozen=True, slots=True)
class MeasuredFlow:
    """A measurement of an access in words, and why it calls for a look, "" where it does not."""

    finding: Finding
    concern: str

    @property
    def words(self) -> str:
        measured = _("%(values)s (%(day)s)") % {
            "values": capfirst(self.finding.text),
            "day": short_day(self.finding.found_on),
        }
        return (
            _("%(measured)s: %(concern)s") % {"measured": measured, "concern": self.concern}
            if self.concern
            else measured
        )


def flows_of(access: VascularAccess, found: Sequence[Finding]) -> list[MeasuredFlow]:
    """The newest flow of an access and its newest recirculation, one where both were measured together.

    found: what stands of the patient, newest first.
    """
    own = [each for each in found if each.kind == FindingKind.ACCESS_FLOW and each.access_id == access.pk]
    newest = (
        next((row for row in own if row.values.get(key) is not None), None)
        for key in SPECS[FindingKind.ACCESS_FLOW].some
    )
    rows = {row.pk: row for row in newest if row is not None}
    return [MeasuredFlow(row, concern_of(row, found)) for row in rows.values()]


def _low_flow(row: Finding, found: Sequence[Finding]) -> str:
    flow = row.values.get("flow_ml_min")
    if flow is None:
        return ""
    if flow < LEAST_FLOW:
        return _("flow under %(least)d mL/min") % {"least": LEAST_FLOW}
    before = _flow_before(row, found)
    if flow < WATCHED_FLOW and before is not None and flow <= (1 - FALL) * before:
        words = _("flow under %(least)d mL/min and %(fall)d %% less than %(before)d")
        return words % {"least": WATCHED_FLOW, "fall": round(100 * (1 - flow / before)), "before": before}
    return ""


def _flow_before(row: Finding, found: Sequence[Finding]) -> float | None:
    """The highest flow of the same access in the four months before."""
    flows = [
        each.values["flow_ml_min"]
        for each in found
        if each.kind == FindingKind.ACCESS_FLOW
        and each.access_id == row.access_id
        and row.found_on - WITHIN <= each.found_on < row.found_on
        and each.values.get("flow_ml_min") is not None
    ]
    return max(flows, default=None)


def _recirculates(row: Finding) -> str:
    share = row.values.get("recirculation_percent")
    if share is None or share <= MOST_RECIRCULATION:
        return ""
    return _("recirculation over %(most)d %%") % {"most": MOST_RECIRCULATION}


def _low_titre(row: Finding) -> str:
    titre = row.values.get("titre")
    if row.values.get("virus") != "anti_hbs" or titre is None or titre >= LEAST_TITRE:
        return ""
    return _("anti-HBs under %(least)d IU/L: protection not sure") % {"least": LEAST_TITRE}
