"""What a schedule would give a fitted patient, and how sure that is: the steady week with the fit's covariance.

To first order in the unknowns of the fit, as `dosing.science.delivered_fit` has them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from dosing.science import sources as k
from dosing.science.delivered_search import UNKNOWNS
from dosing.science.kinetics import weekly_steady_state
from dosing.science.results import FloatArray, Measure
from dosing.science.schedule import PatientParameters, Schedule, batch_shape

_PROBE = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedPatient:
    """One patient of a fit. Units as in `PatientParameters`; covariance: of the logarithms of `UNKNOWNS`, (5, 5)."""

    volume: float
    generation: float
    kidney_clearance: float = 0.0
    fluid_gain: float = 0.0
    clearance_factor: float = 1.0
    exchange: float = float(k.POOL_EXCHANGE)
    covariance: FloatArray = field(default_factory=lambda: np.zeros((len(UNKNOWNS), len(UNKNOWNS))))

    def parameters(self, moved: ArrayLike = 0.0) -> PatientParameters:
        """For the model; moved: logarithms added to the unknowns, (5,) or (trials, 5), which then come first."""
        shift = np.exp(np.broadcast_to(np.asarray(moved, dtype=np.float64), (*np.shape(moved)[:-1], len(UNKNOWNS))))
        volume, clearance, generation, kidney, exchange = np.moveaxis(shift, -1, 0)
        return PatientParameters(
            volume=self.volume * volume,
            generation=self.generation * generation,
            kidney_clearance=self.kidney_clearance * kidney,
            fluid_gain=self.fluid_gain,
            exchange=self.exchange * exchange,
            clearance_factor=self.clearance_factor * clearance,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SureDose:
    """Weekly standard Kt/V of schedules [1/wk], the standard deviation of its logarithm, and the worst direction.

    careful: of the logarithms of the unknowns, (..., 5): by how much they are off in the patient in whom the dose is
    one standard deviation below, the model's own error left out.
    """

    dose: Measure
    spread: FloatArray
    careful: FloatArray


def sure_dose(*, schedule: Schedule, patient: FittedPatient, dose_error: float = float(k.DOSE_ERROR)) -> SureDose:
    """The dose of schedules for a fitted patient. dose_error: of the model of the dose, of its logarithm.

    Ranges and reasons: `weekly_steady_state`. Source: propagation of errors to first order.

    >>> nights = Schedule(starts=[22], hours=8, cycle_days=2, clearance=161.37)
    >>> known = np.diag([0.12, 0.1, 0.3, 0.2, 0.25]) ** 2
    >>> found = sure_dose(schedule=nights, patient=FittedPatient(volume=35, generation=0.19, covariance=known))
    >>> round(found.dose.number, 2), found.spread.round(3)
    (3.32, np.float64(0.054))
    """
    places = batch_shape(schedule=schedule, patient=patient.parameters())[0]
    moves = np.vstack([np.zeros(len(UNKNOWNS)), _PROBE * np.eye(len(UNKNOWNS))])
    moves = moves.reshape(len(moves), *(1,) * len(places), len(UNKNOWNS))
    tried = weekly_steady_state(schedule=schedule, patient=patient.parameters(moves)).standard_ktv
    with np.errstate(all="ignore"):
        logs = np.log(tried.value)
        slope = np.moveaxis((logs[1:] - logs[:1]) / _PROBE, 0, -1)
        known = slope @ patient.covariance
        variance = (known * slope).sum(axis=-1)
        careful = np.nan_to_num(-known / np.sqrt(variance)[..., None])
    dose = Measure(value=tried.value[0], unit=tried.unit, why=tried.why[0])
    return SureDose(dose=dose, spread=np.sqrt(variance + dose_error**2), careful=careful)
