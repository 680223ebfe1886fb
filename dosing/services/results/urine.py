"""What a patient's own kidneys still do, from urine collections and the bloods at their ends."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from dosing.science.course import KIDNEY_COUNTS_FOR
from dosing.science.kidney import creatinine_clearance, mean_clearance, urea_clearance
from dosing.science.reasons import Reason
from dosing.science.results import Measure, unknown
from sessions.facts.choices import Analyte
from sessions.models import BloodResult, Patient, UrineCollection

NEAR = timedelta(hours=12)
"""How far from an end of the collection its blood sample may lie (common practice, no source)."""
OF_ONE_DAY = timedelta(hours=30)
"""Up to this length a collection that ends before a treatment may have the blood of its end alone."""
COUNTS_FOR = timedelta(days=KIDNEY_COUNTS_FOR)
"""How long a collection stands for what the kidneys do; a new one is due each quarter."""
UNIT = "mL/min"


@dataclass(frozen=True, slots=True)
class Collection:
    """A collection with its clearances of plasma [mL/min], each a Measure that says why where it is unknown."""

    urine: UrineCollection
    urea: Measure
    creatinine: Measure
    mean: Measure
    without_first: bool = False
    """no urea was drawn near its beginning"""

    @property
    def hours(self) -> float:
        return self.urine.minutes / 60

    @property
    def lacks_first_blood(self) -> bool:
        """Whether a clearance rests on the blood of the end alone."""
        return self.without_first and any(each.number is not None for each in self.measures)

    @property
    def measures(self) -> tuple[Measure, Measure, Measure]:
        return self.urea, self.creatinine, self.mean


def collections_of(patient: Patient) -> list[Collection]:
    """Newest first: two queries."""
    kept = list(patient.urine_collections.all())
    if not kept:
        return []
    span = (min(each.began_at for each in kept) - NEAR, max(each.ended_at for each in kept) + NEAR)
    samples = BloodResult.objects.filter(analyte__in=[Analyte.UREA, Analyte.CREATININE], drawn_at__range=span)
    bloods = list(samples.filter(patient=patient))
    return [computed(each, bloods) for each in kept]


def computed(urine: UrineCollection, bloods: list[BloodResult]) -> Collection:
    """The clearances of one collection, with the blood samples nearest to its ends."""
    urea = _clearance(urine, bloods, Analyte.UREA)
    creatinine = _clearance(urine, bloods, Analyte.CREATININE)
    if urea.number is None or creatinine.number is None:
        mean = unknown(UNIT, urea.reason or creatinine.reason or Reason("no_finite_answer"))
    else:
        mean = mean_clearance(urea_ml_min=urea.number, creatinine_ml_min=creatinine.number)
    return Collection(urine, urea, creatinine, mean, _nearest(bloods, Analyte.UREA, urine.began_at) is None)


def _clearance(urine: UrineCollection, bloods: list[BloodResult], analyte: Analyte) -> Measure:
    start, end = (_nearest(bloods, analyte, moment) for moment in (urine.began_at, urine.ended_at))
    of_urea = analyte == Analyte.UREA
    name = "urea" if of_urea else "creatinine"
    given = urine.urea_mmol_l if of_urea else urine.creatinine_mmol_l
    if given is None:
        return unknown(UNIT, Reason("not_in_urine", what=name))
    if start is None and end is not None and urine.ended_at - urine.began_at <= OF_ONE_DAY:
        start = end  # the most that the plasma had meanwhile: the clearance reads low, which is the safe side
    if start is None or end is None:
        code = "no_blood_at_beginning" if start is None else "no_blood_at_end"
        return unknown(UNIT, Reason(code, what=name, hours=NEAR.total_seconds() / 3600))
    volume, minutes = urine.volume_ml, urine.minutes
    if of_urea:
        return urea_clearance(urine=given, urine_ml=volume, minutes=minutes, plasma_start=start, plasma_end=end)
    return creatinine_clearance(
        urine_mmol_l=given, urine_ml=volume, minutes=minutes, plasma_start_umol_l=start, plasma_end_umol_l=end
    )


def _nearest(bloods: list[BloodResult], analyte: Analyte, moment: datetime) -> float | None:
    """The value of the sample nearest to a moment, or None where none lies near enough."""
    near = [(abs(each.drawn_at - moment), each.value) for each in bloods if each.analyte == analyte]
    close = [pair for pair in near if pair[0] <= NEAR]
    return min(close)[1] if close else None
