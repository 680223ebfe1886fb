"""A patient's nights held against that patient's own usual, night by night: CUSUM and EWMA with designed limits.

Each night is judged with what was known on that night: the reference leaves out the newest nights and never sees a
later one. A change of access, needles, site or lines starts a new segment with a new level. The limits are widened by
what is not known of the level: it is young, or the flow lies far from where it was learned.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science.baseline import Design, Earlier, Reference, fit_reference
from dosing.science.results import FloatArray, as_float
from dosing.science.sequential import cusum_limit, cusum_path, ewma_path, ewma_spread, ewma_width

DESIGN = Design()
NUMBERS = ("level", "factor", "scatter", "correlation", "reference_nights")
CHARTS = ("rise", "fall", "average", "cusum_limit", "average_limit", "rise_since", "fall_since")
Mask = NDArray[np.bool_]
Whole = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The charts of each night, all of shape (rows, nights); NaN where a night was missed or nothing is known yet.

    level: the usual where the expected change is 0 [unit]; factor: answer to flow over the published one; scatter: of
    one night [unit]; correlation: of neighbours; reference_nights: how many made the level. rise, fall: CUSUM of the
    two directions, with cusum_limit; average: EWMA, rise above zero, with average_limit; rise_since, fall_since: place
    of the first night of the run that each CUSUM adds up.
    """

    level: FloatArray
    factor: FloatArray
    scatter: FloatArray
    correlation: FloatArray
    reference_nights: FloatArray
    rise: FloatArray
    fall: FloatArray
    average: FloatArray
    cusum_limit: FloatArray
    average_limit: FloatArray
    rise_since: FloatArray
    fall_since: FloatArray

    @property
    def rising(self) -> Mask:
        """Nights on which one of the two charts is beyond its limit upwards."""
        return np.asarray((self.rise > self.cusum_limit) | (self.average > self.average_limit))

    @property
    def falling(self) -> Mask:
        """Nights on which one of the two charts is beyond its limit downwards."""
        return np.asarray((self.fall > self.cusum_limit) | (-self.average > self.average_limit))


@dataclass(slots=True, eq=False)
class _Rows:
    """Series of equal length with what they need to be followed. size: nights of the reference that judges a night."""

    values: FloatArray
    expected: FloatArray
    segment: Whole
    wanted: Mask
    usual_scatter: float
    design: Design
    two_sided: bool
    present: Mask = field(init=False)
    size: Whole = field(init=False)
    closing: Whole = field(init=False)
    out: dict[str, FloatArray] = field(init=False)

    def __post_init__(self) -> None:
        self.present = np.isfinite(self.values) & np.isfinite(self.expected)
        self.size, self.closing = _sizes(self.present, self.segment, self.design)
        self.out = {name: np.full(self.values.shape, np.nan) for name in NUMBERS + CHARTS}


def follow(
    *,
    values: ArrayLike,
    usual_scatter: float,
    expected: ArrayLike = 0.0,
    segment: ArrayLike = 0,
    two_sided: bool = False,
    only_last: bool = False,
    design: Design = DESIGN,
) -> Course:
    """Charts of every night, each from the nights up to it.

    values: (nights,) or (rows, nights) in order of time [unit], NaN where missed or unusable. usual_scatter: standard
    deviation from night to night of people in general [unit], above zero. expected: the change that the conditions of
    a night (its blood flow) make by a published slope [unit], 0 at the conditions in which levels are told; NaN leaves
    the night out. segment: whole numbers, a change starts a new level. two_sided: whether both directions may signal;
    the limits then allow for it. only_last: judge the last night with a value only (fast).
    Raises ValueError for other shapes or a usual scatter that is not above zero.
    """
    rows = _rows(values, expected, segment, usual_scatter=usual_scatter, two_sided=two_sided, design=design)
    if only_last:
        rows.wanted = _last(rows.present)
    earlier = Earlier.nothing(len(rows.values))
    for number in range(int(rows.segment.max(initial=-1)) + 1):
        earlier = _follow_segment(rows, number, earlier)
    return Course(**rows.out)


def segments(*labels: ArrayLike) -> Whole:
    """Number the stretches of nights over which no label changes: access, needle gauge, site, lines; from 0.

    labels: numbers of shape (..., nights), all alike, in order of time; NaN is "not noted" and changes nothing. A site
    that moves every night by plan (rope ladder) is no label: give the area it moves in.

    >>> segments([1, 1, 1, 2], [15, float("nan"), 16, 16]).tolist()
    [0, 0, 1, 2]
    """
    given = as_float(*labels)
    changed = np.zeros(given[0].shape, dtype=bool)
    for label in given:
        known = _carried(label)
        changed[..., 1:] |= (known[..., 1:] != known[..., :-1]) & ~np.isnan(known[..., :-1])
    return np.asarray(changed.cumsum(-1), dtype=np.intp)


def _carried(label: FloatArray) -> FloatArray:
    """Each night's last noted value."""
    places = np.where(np.isnan(label), 0, np.arange(label.shape[-1]))
    return np.take_along_axis(label, np.maximum.accumulate(places, -1), -1)


def _rows(
    values: ArrayLike, expected: ArrayLike, segment: ArrayLike, *, usual_scatter: float, two_sided: bool, design: Design
) -> _Rows:
    if not usual_scatter > 0:
        raise ValueError(f"the usual scatter is above zero, not {usual_scatter:g}")
    x = np.atleast_2d(np.asarray(values, dtype=np.float64))
    if x.ndim != 2:
        raise ValueError(f"values are nights, or rows of nights, not of shape {x.shape}")
    change = np.broadcast_to(np.asarray(expected, dtype=np.float64), x.shape)
    label = np.broadcast_to(np.asarray(segment), x.shape)
    number = np.zeros(x.shape, dtype=np.intp)
    number[:, 1:] = (label[:, 1:] != label[:, :-1]).cumsum(1)
    return _Rows(x, change, number, np.ones(x.shape, dtype=bool), usual_scatter, design, two_sided)


def _last(present: Mask) -> Mask:
    places = np.arange(present.shape[1])
    newest = np.where(present, places, -1).max(1, initial=-1)
    return np.asarray(present & (places == newest[:, None]))


def _sizes(present: Mask, segment: Whole, design: Design) -> tuple[Whole, Whole]:
    """Nights of the reference that judges each night, 0 for none; and the same for the last night of its segment."""
    size = np.zeros(present.shape, dtype=np.intp)
    closing = np.zeros(present.shape, dtype=np.intp)
    by_rank = np.zeros(present.shape[1] + 1, dtype=np.intp)
    for nights in design.sizes():
        by_rank[design.judged_from(nights) :] = nights
    for number in range(int(segment.max(initial=-1)) + 1):
        here = segment == number
        count = (present & here).sum(1)
        size[here] = by_rank[(present & here).cumsum(1)[here]]
        closing[here] = np.broadcast_to(by_rank[count][:, None], here.shape)[here]
    return np.where(present, size, 0), closing


def _follow_segment(rows: _Rows, number: int, earlier: Earlier) -> Earlier:
    """Judge the nights of one segment of every row; answers what it adds to what is known of the patients."""
    inside = rows.segment == number
    here = rows.present & inside
    first = np.argsort(~here, axis=1, kind="stable")
    later = rows.segment[:, -1] > number
    told = earlier
    for size in np.unique(rows.size[here]):
        if size == 0:
            continue
        judged = here & rows.wanted & (rows.size == size)
        closes = (inside & (rows.closing == size)).any(1) & later
        chosen = np.flatnonzero(judged.any(1) | closes)
        if not chosen.size:
            continue
        nights = first[chosen, :size]
        reference = fit_reference(
            values=np.take_along_axis(rows.values[chosen], nights, 1),
            expected=np.take_along_axis(rows.expected[chosen], nights, 1),
            earlier=earlier.of(chosen),
            usual_scatter=rows.usual_scatter,
            design=rows.design,
        )
        told = told.replaced(chosen[closes[chosen]], reference.told.of(np.flatnonzero(closes[chosen])))
        _chart(rows, chosen, here, judged, reference)
    return told


def _chart(rows: _Rows, chosen: Whole, here: Mask, judged: Mask, reference: Reference) -> None:
    """Write the charts of the judged nights, from the beginning of the segment on, into the answer."""
    kept, design = judged[chosen], rows.design
    scores = np.where(here[chosen], reference.scores(rows.values[chosen], rows.expected[chosen]), np.nan)
    scores = _tamed(scores, design)
    away = np.where(here[chosen], rows.expected[chosen] - reference.centre[:, None], np.nan)
    variance = reference.level_variance(ewma_path(scores=away, weight=design.weight), design.level_doubt)
    wider = np.sqrt(1 + variance / ewma_spread(design.weight) ** 2)
    found = _limits(design, two_sided=rows.two_sided, wider=wider)
    for direction, name in ((1, "rise"), (-1, "fall")):
        path = cusum_path(scores=direction * scores, allowance=design.allowance)
        found[name] = path
        found[f"{name}_since"] = _run_starts(path, here[chosen])
    found["average"] = ewma_path(scores=scores, weight=design.weight)
    found["level"] = (reference.level - reference.factor * reference.centre)[:, None]
    found["factor"], found["scatter"] = reference.factor[:, None], reference.scatter[:, None]
    found["correlation"] = reference.correlation[:, None]
    found["reference_nights"] = np.array([[reference.nights]])
    for name, value in found.items():
        whole = rows.out[name][chosen]
        rows.out[name][chosen] = np.where(kept, value, whole)


def _tamed(scores: FloatArray, design: Design) -> FloatArray:
    """Scores as they count: within the clip, and a wild one only where the night before went the same way."""
    clipped = np.clip(scores, -design.clip, design.clip)
    before = np.concatenate([np.zeros((len(scores), 1)), _carried(scores)[:, :-1]], 1)
    supported = np.where(np.isnan(before), 0.0, before) * np.sign(scores) >= design.clip
    return np.asarray(np.where((np.abs(scores) > design.wild) & ~supported, 0.0, clipped))


def _limits(design: Design, *, two_sided: bool, wider: FloatArray) -> dict[str, FloatArray]:
    """An EWMA of w sees the level's error whole, its own scatter by w/(2 - w): the exact widening for it.

    The CUSUM is widened alike, as it weighs about as many nights.
    """
    one_sided = 2 * design.run_length if two_sided else design.run_length
    height = cusum_limit(allowance=design.allowance, run_length=one_sided, clip=design.clip)
    width = ewma_width(weight=design.weight, run_length=one_sided, two_sided=False, clip=design.clip)
    return {"cusum_limit": height * wider, "average_limit": width * ewma_spread(design.weight) * wider}


def _run_starts(path: FloatArray, here: Mask) -> FloatArray:
    """Place of the first night with a value after the CUSUM was last at zero."""
    places = np.arange(path.shape[1], dtype=np.float64)
    before = np.concatenate([np.zeros((len(path), 1)), path[:, :-1]], 1)
    begins = here & (before == 0) & (path > 0)
    return np.asarray(np.maximum.accumulate(np.where(begins, places, 0), 1))
