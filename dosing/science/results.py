"""What a function of the science answers: a number with its unit, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dosing.science.reasons import Reason

FloatArray = NDArray[np.float64]
ReasonArray = NDArray[np.object_]
"""Of each number the `Reason` why it is unknown, or None where it is known."""
Check = tuple[Any, Reason]
"""(where it fails: bool or bool array, the reason)."""


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """A number, or an array of numbers, with its unit; NaN exactly where `why` gives a reason.

    value: shape () or the broadcast shape of the inputs. why: of the same shape, None where known.
    """

    value: FloatArray
    unit: str
    why: ReasonArray

    @property
    def known(self) -> NDArray[np.bool_]:
        return answered(self.why)

    @property
    def number(self) -> float | None:
        """The single number as a float, or None where unknown. Raises ValueError for an array."""
        if self.value.ndim:
            raise ValueError(f"this measure holds {self.value.shape} numbers, not one")
        return float(self.value) if self.known else None

    @property
    def reason(self) -> Reason | None:
        """Why the single number is unknown, or None. Raises ValueError for an array."""
        if self.value.ndim:
            raise ValueError(f"this measure holds {self.value.shape} numbers, not one")
        found: Reason | None = self.why.item()
        return found

    def unknown_rows(self) -> dict[Reason, NDArray[np.intp]]:
        """Flat indices of the rows without an answer, by reason."""
        flat = self.why.ravel()
        return {why: np.flatnonzero(flat == why) for why in dict.fromkeys(flat.tolist()) if why}

    def problems(self) -> list[Check]:
        """Why this is unknown, and where, as checks of a number that is computed from it."""
        return [(self.why == why, why) for why in dict.fromkeys(self.why.ravel().tolist()) if why]


def answered(why: ReasonArray) -> NDArray[np.bool_]:
    """Where there is no reason against an answer."""
    return np.asarray(why == np.array(None), dtype=np.bool_)


def as_float(*inputs: ArrayLike | None) -> list[FloatArray]:
    """The inputs as float arrays of one common shape; None becomes NaN ("not given")."""
    arrays = [np.asarray(np.nan if x is None else x, dtype=np.float64) for x in inputs]
    return [np.array(a) for a in np.broadcast_arrays(*arrays)]


def measure(value: ArrayLike, unit: str, checks: Iterable[Check] = ()) -> Measure:
    """Wrap a computed value. The first check that fails gives the reason; what it marks becomes NaN.

    A value that is not finite although no check failed is unknown as well, and says so.
    """
    number = np.array(value, dtype=np.float64)
    cause = np.zeros(number.shape, dtype=np.intp)
    reasons: list[Reason | None] = [None]
    for bad, reason in [*checks, (~np.isfinite(number), Reason("no_finite_answer"))]:
        marked = (cause == 0) & np.asarray(bad, dtype=bool)
        if marked.any():
            cause[marked] = len(reasons)
            reasons.append(reason)
    number[cause != 0] = np.nan
    # Reasons are spread over the rows last, by their numbers: many rows share one.
    return Measure(value=number, unit=unit, why=np.asarray(np.array(reasons, dtype=np.object_)[cause]))


def unknown(unit: str, reason: Reason, shape: tuple[int, ...] = ()) -> Measure:
    """A measure that is not known anywhere, for one reason."""
    return Measure(value=np.full(shape, np.nan), unit=unit, why=np.full(shape, reason, dtype=np.object_))
