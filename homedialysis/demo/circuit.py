"""Pressures and flows in the extracorporeal circuit of a made-up patient.

Arterial and venous pressure against blood flow for 14 and 15 G needles: Gallego et al., Nefrología 1997;17:322;
for 17 G: a randomised crossover of four gauges (ASAIO); 16 G is put half way. Scatter, tubing and catheters are
assumptions. A venous pressure that climbs while the arterial one stays is what an outflow narrowing does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from homedialysis.demo.body import TrueTreatment
from homedialysis.demo.cast import Member, Story

VENOUS = {14: (43.3, 0.328), 15: (60.6, 0.443), 16: (103.8, 0.613), 17: (147.0, 0.783)}
"""Gauge → venous pressure at 200 mL/min [mmHg] and its rise per mL/min."""
ARTERIAL = {14: (-29.0, -0.394), 15: (-46.0, -0.556), 16: (-66.0, -0.66), 17: (-86.0, -0.76)}
CATHETER_VENOUS, CATHETER_ARTERIAL = (75.0, 0.30), (-80.0, -0.55)
SESSION_SD, READING_SD = 8.0, 3.5
TIP_AGAINST_WALL = 0.02
"""Share of treatments with a needle tip that raises venous pressure by 40 mmHg, that once (assumption)."""
UF_COEFFICIENT = 32.0
"""mL/h of ultrafiltrate for each mmHg across the membrane."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """Where one treatment's pressures lie off the usual [mmHg]."""

    venous: float
    arterial: float
    climb: float
    """How far venous pressure rises from start to end."""


def outflow_rise(story: Story, ago: float) -> float:
    """Venous pressure added by a narrowing outflow, `ago` days before the end [mmHg]."""
    weeks = (story.venous_from - ago) / 7
    if not story.venous_from or weeks <= 0:
        return 0.0
    return story.venous_per_week * min(weeks, 10.0) + (story.venous_step if weeks > 10 else 0.0)


def connect(member: Member, ago: float, rng: Generator) -> Circuit:
    """One treatment's needles or lines."""
    against_wall = 40.0 if rng.random() < TIP_AGAINST_WALL else 0.0
    usual = member.venous_offset + outflow_rise(member.story, ago)
    return Circuit(
        venous=usual + against_wall + float(rng.normal(0, SESSION_SD)),
        arterial=float(rng.normal(0, SESSION_SD)),
        climb=float(np.clip(rng.normal(5, 5), -4, 16)),
    )


def pressures(member: Member, circuit: Circuit, qb: float, share: float, rng: Generator) -> tuple[int, int]:
    """Arterial (pre-pump) and venous pressure at a blood flow and a share of the treatment [mmHg]."""
    venous = _line(CATHETER_VENOUS if member.catheter else VENOUS[member.gauge])
    arterial = _line(CATHETER_ARTERIAL if member.catheter else ARTERIAL[member.gauge])
    out = venous(qb) + circuit.venous + share * circuit.climb + float(rng.normal(0, READING_SD))
    into = arterial(qb) + circuit.arterial + float(rng.normal(0, READING_SD))
    return round(into), round(max(out, 25.0))


def _line(at_200_and_slope: tuple[float, float]) -> Callable[[float], float]:
    at_200, slope = at_200_and_slope
    return lambda qb: at_200 + slope * (qb - 200)


def membrane_pressure(night: TrueTreatment, share: float, rng: Generator) -> int:
    """Transmembrane pressure [mmHg]: what the UF rate needs, a little more as the fibres clog."""
    rate = 1000 * night.uf_l / night.hours
    return round(20 + rate / UF_COEFFICIENT * (1 + 0.15 * share) + float(rng.normal(0, 3)))


def delivered_flow(qb: float) -> float:
    """Blood flow that the pump really gives: 0, 5 and 10 % short at 200, 300 and 400 mL/min (Depner, bench data)."""
    return qb * (1 - max(0.0, qb - 200) / 2000)
