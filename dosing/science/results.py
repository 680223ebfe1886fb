"""What a function of the science answers: a number with its unit, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Check = tuple[Any, str]
"""(where it fails: bool or bool array, the reason in words)."""


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """A number, or an array of numbers, with its unit; NaN exactly where `why` gives a reason.

    value: shape () or the broadcast shape of the inputs. why: strings of the same shape, "" where known.
    """

    value: FloatArray
    unit: str
    why: NDArray[np.str_]

    @property
    def known(self) -> NDArray[np.bool_]:
        return np.asarray(self.why == "", dtype=np.bool_)

    @property
    def number(self) -> float | None:
        """The single number as a float, or None where unknown. Raises ValueError for an array."""
        if self.value.ndim:
            raise ValueError(f"this measure holds {self.value.shape} numbers, not one")
        return float(self.value) if self.known else None

    @property
    def reason(self) -> str:
        """Why the single number is unknown, or "". Raises ValueError for an array."""
        if self.value.ndim:
            raise ValueError(f"this measure holds {self.value.shape} numbers, not one")
        return str(self.why)

    def unknown_rows(self) -> dict[str, NDArray[np.intp]]:
        """Flat indices of the rows without an answer, by reason."""
        flat = self.why.ravel()
        return {str(why): np.flatnonzero(flat == why) for why in np.unique(flat) if why}


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
    reasons = [""]
    for bad, text in [*checks, (~np.isfinite(number), "the inputs do not give a finite number")]:
        marked = (cause == 0) & np.asarray(bad, dtype=bool)
        if marked.any():
            cause[marked] = len(reasons)
            reasons.append(text)
    number[cause != 0] = np.nan
    # Texts are spread over the rows last: a batch without a bad row carries no text at all.
    return Measure(value=number, unit=unit, why=np.asarray(np.array(reasons, dtype=np.str_)[cause]))


def unknown(unit: str, reason: str, shape: tuple[int, ...] = ()) -> Measure:
    """A measure that is not known anywhere, for one reason."""
    return Measure(value=np.full(shape, np.nan), unit=unit, why=np.full(shape, reason))
