"""Bloods and urine collections from which the urea model is fitted, and what keeps them from an answer."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science import sources as k
from dosing.science.checks import above_zero, within
from dosing.science.reasons import Reason
from dosing.science.results import Check, FloatArray
from dosing.science.schedule import PatientParameters, Schedule, ScheduleRows, batch_shape, flat


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observations:
    """Paired bloods, one pair or several, and where there is one a urine collection. Shapes broadcast.

    treatment: place in the schedule's `starts` that a pair belongs to, from 0; (pairs,) or (..., pairs).
    pre, post: urea of PLASMA as the laboratory reports it, before and after [mmol/L], (..., pairs). A pair
        with a NaN in it is left out. The sample after is one that recirculation does not dilute (slow flow).
    post_delay: minutes from the end of treatment to the sample after, 0 to 120.
    fluid_gain [L/day], exchange, extracellular_share: as in `PatientParameters`.
    kidney_clearance: known residual clearance of plasma WATER [mL/min]; unused where urine was collected.
    urine_urea: urea in the whole collection [mmol]; collection_start: hours from the start of the cycle;
        collection_hours: its length, 6 to 96.
    blood_error, urine_error: relative standard deviation of one result (3 % and 5 %: common practice, no
        source), 0.001 to 0.5.
    """

    treatment: ArrayLike
    pre: ArrayLike
    post: ArrayLike
    post_delay: ArrayLike = 0.0
    fluid_gain: ArrayLike = 0.0
    kidney_clearance: ArrayLike = 0.0
    urine_urea: ArrayLike | None = None
    collection_start: ArrayLike | None = None
    collection_hours: ArrayLike | None = None
    blood_error: ArrayLike = 0.03
    urine_error: ArrayLike = 0.05
    exchange: ArrayLike = float(k.POOL_EXCHANGE)
    extracellular_share: ArrayLike = float(k.EXTRACELLULAR_SHARE)


_PER_PAIR = ("treatment", "pre", "post", "post_delay")
_PER_ROW = (
    "urine_urea",
    "collection_start",
    "collection_hours",
    "blood_error",
    "urine_error",
)


@dataclass(frozen=True, slots=True, eq=False)
class ObservedRows:
    """The observations of some rows: (pairs, rows) or (rows,)."""

    treatment: FloatArray
    pre: FloatArray
    post: FloatArray
    post_delay: FloatArray
    urine_urea: FloatArray
    collection_start: FloatArray
    collection_hours: FloatArray
    blood_error: FloatArray
    urine_error: FloatArray

    @property
    def collected(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.urine_urea)

    @property
    def paired(self) -> NDArray[np.bool_]:
        return ~(np.isnan(self.pre) | np.isnan(self.post))

    def pick(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> ObservedRows:
        return ObservedRows(*(getattr(self, field.name)[..., rows] for field in fields(self)))


def places_of(r: ScheduleRows, seen: ObservedRows) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """The place of each pair, and whether the schedule has a treatment there."""
    count = r.starts.shape[0]
    place = np.where((seen.treatment >= 0) & (seen.treatment < count), seen.treatment, 0).astype(np.intp)
    there = np.take_along_axis(r.to_places(r.treated).T, place, axis=0)
    return place, there & (place == seen.treatment)


def observation_problems(r: ScheduleRows, seen: ObservedRows) -> list[Check]:
    """What keeps the observations of each row from an answer; (rows,) each."""
    paired, collected = seen.paired, seen.collected
    bloods = above_zero(urea_before=seen.pre, urea_after=seen.post)
    bloods.append((seen.post >= seen.pre, Reason("urea_did_not_fall")))
    bloods.append((~places_of(r, seen)[1], Reason("pair_of_no_treatment")))
    bloods += within(0, 120, "min", delay_of_the_sample_after=seen.post_delay)
    urine = above_zero(urea_in_the_collection=seen.urine_urea)
    urine += within(6, 96, "h", length_of_the_collection=seen.collection_hours)
    urine.append((~np.isfinite(seen.collection_start), Reason("not_given", what="start_of_the_collection")))
    checks: list[Check] = [(~paired.any(axis=0), Reason("no_pair"))]
    checks += [((bad & paired).any(axis=0), why) for bad, why in bloods]
    checks += [(bad & collected, why) for bad, why in urine]
    checks += within(0.001, 0.5, error_of_the_bloods=seen.blood_error)
    return checks + within(0.001, 0.5, error_of_the_urine=seen.urine_error)


def shape_of_fit(observations: Observations, schedule: Schedule) -> tuple[tuple[int, ...], int, PatientParameters]:
    """Shape of the batch, number of pairs, and the patient whose volume and generation are looked for."""
    o = observations
    stand_in = PatientParameters(
        volume=35.0,
        generation=1.0,
        kidney_clearance=o.kidney_clearance,
        fluid_gain=o.fluid_gain,
        exchange=o.exchange,
        extracellular_share=o.extracellular_share,
    )
    batch, _ = batch_shape(schedule=schedule, patient=stand_in)
    pairs = np.broadcast_shapes((1,), *(np.shape(getattr(o, name)) for name in _PER_PAIR))
    single = (np.shape(getattr(o, name)) for name in _PER_ROW if getattr(o, name) is not None)
    batch = np.broadcast_shapes(batch, pairs[:-1], *single)
    return batch, pairs[-1], replace(stand_in, volume=np.broadcast_to(35.0, batch))


def seen_rows(observations: Observations, *, batch: tuple[int, ...], pairs: int, rows: slice) -> ObservedRows:
    """These rows of the flattened batch."""
    each = {n: flat(getattr(observations, n), batch=batch, places=pairs, rows=rows) for n in _PER_PAIR}
    one = {n: flat(getattr(observations, n), batch=batch, places=None, rows=rows) for n in _PER_ROW}
    return ObservedRows(**each, **one)
