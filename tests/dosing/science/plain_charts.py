"""Both charts of small deviations, night by night: what the charts of the drifts are held to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def cusum_path(*, scores: ArrayLike, allowance: float) -> Array:
    """Upper tabular CUSUM, C = max(0, C + z - k) from 0; scores (..., nights), NaN is a missed night and moves nothing.

    Source: Page, Biometrika 1954;41:100, as in the NIST handbook 6.3.2.3.
    """
    z = np.asarray(scores, dtype=np.float64)
    path, now = np.empty_like(z), np.zeros(z.shape[:-1])
    for night in range(z.shape[-1]):
        new = z[..., night]
        now = np.where(np.isnan(new), now, np.maximum(0.0, now + new - allowance))
        path[..., night] = now
    return path


def ewma_path(*, scores: ArrayLike, weight: float, start: float = 0.0) -> Array:
    """Exponentially weighted mean, E = (1 - w) E + w z; scores (..., nights), NaN is a missed night and moves nothing.

    Source: Roberts, Technometrics 1959;1:239, as in the NIST handbook 6.3.2.4.
    """
    z = np.asarray(scores, dtype=np.float64)
    path, now = np.empty_like(z), np.full(z.shape[:-1], start)
    for night in range(z.shape[-1]):
        new = z[..., night]
        now = np.where(np.isnan(new), now, (1 - weight) * now + weight * new)
        path[..., night] = now
    return path
