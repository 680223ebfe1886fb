"""Weight, fluid and blood pressure of a made-up patient from one treatment to the next.

Fluid is kept in balance: what is gained between treatments, taken off by the machine, given back with the blood
and drunk meanwhile adds up to the weights. Blood pressure follows the fluid that the body has to spare: at home
the systolic pressure climbs 0.4 mmHg an hour between treatments at a gain of 2.35 kg in two days (PMC2753716),
about 7 mmHg for each kg. What has no source is an assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.random import Generator

from homedialysis.demo.cast import Member, Mishap
from homedialysis.demo.diary import Orders, Window, broken_off, dry_weight, target_at
from homedialysis.demo.regimes import Regime
from sessions.facts.choices import EventKind

MMHG_PER_KG = 7.0
VISIT_SD, READING_SD = 8.0, 4.5
"""mmHg: from one treatment to another, and from one reading to the next."""
RINSE_BACK_L, INTAKE_L = 0.3, 0.2
OF_LIMIT = 0.92
"""How near a careful patient goes to the UF-rate limit."""
BROKEN_OFF_AFTER = 12
"""Minutes of the treatment that is broken off: the shortest that is made up."""
WHY_BROKEN_OFF = "Venous alarm that would not clear, line clotted. Took off, could not give the blood back."


@dataclass(slots=True, kw_only=True)
class TrueTreatment:
    """One treatment as it truly was, with what the scales said. Weights kg, volumes L, rate mL/kg/h, flow mL/min."""

    start: datetime
    minutes: int
    target_kg: float
    weight_before: float
    weight_after: float
    scale_before: float
    scale_after: float
    uf_l: float
    intake_l: float
    spare_before: float
    """Fluid above the true dry weight at the start [kg]."""
    spare_after: float
    gap_days: float
    qb: float
    mood: float
    """How far this day's blood pressure lies off the usual [mmHg]."""
    mishap: Mishap | None = None
    low_at: float | None = None
    """Share of the treatment at which blood pressure fell too low."""
    cramp: bool = False

    @property
    def end(self) -> datetime:
        return self.start + timedelta(minutes=self.minutes)

    @property
    def hours(self) -> float:
        return self.minutes / 60

    @property
    def uf_rate(self) -> float:
        return 1000 * self.uf_l / self.hours / self.weight_after

    def spare_at(self, share: float) -> float:
        """Fluid to spare after this share of the treatment [kg]."""
        return self.spare_before + share * (self.spare_after - self.spare_before)


def live(
    member: Member, *, window: Window, starts: list[datetime], orders: list[Orders], rng: Generator
) -> list[TrueTreatment]:
    """The patient's treatments in order, each beginning with the weight the last one left."""
    nights: list[TrueTreatment] = []
    weight = member.target_kg + float(rng.normal(0, 0.2))
    usual_gap = timedelta(days=7 / member.regime.days_per_week)
    last_end = starts[0] - usual_gap if starts else window.begins
    mishaps = _placed(member, window, starts)
    for start in starts:
        gap = max(0.3, (start - last_end).total_seconds() / 86400)
        before = weight + _gained(member, gap, rng)
        target = target_at(orders, start)
        dry = dry_weight(member, window, start)
        night = _treat(member, start=start, before=before, target=target, dry=dry, gap=gap,
                       left=_share_done(member, window.ago(start), mishaps.get(start), rng), rng=rng)  # fmt: skip
        night.mishap = mishaps.get(start)
        nights.append(night)
        weight, last_end = night.weight_after, night.end
    return nights


def _placed(member: Member, window: Window, starts: list[datetime]) -> dict[datetime, Mishap]:
    """Each mishap at the last treatment that is at least so long ago; none where the window does not reach."""
    wanted = {window.last_before(starts, mishap.ago): mishap for mishap in member.story.mishaps}
    placed = {start: mishap for start, mishap in wanted.items() if start is not None}
    if broken := broken_off(member.story, starts):
        left = BROKEN_OFF_AFTER / member.regime.minutes
        placed[broken] = Mishap(member.story.broken_off, EventKind.MACHINE_ALARM, WHY_BROKEN_OFF, left=left)
    return placed


def _gained(member: Member, days: float, rng: Generator) -> float:
    return member.gain * member.story.gain_factor * min(days, 4.0) * float(rng.lognormal(0, 0.17))


def _share_done(member: Member, ago: float, mishap: Mishap | None, rng: Generator) -> float:
    """Share of the prescribed time that is really done."""
    cuts = member.story.cuts_from and ago < member.story.cuts_from and rng.random() < 0.6
    stopped_early = rng.random() < 0.012
    usual, shortened = 1 + float(rng.normal(0, 0.018)), float(rng.uniform(0.58, 0.82))
    if mishap:
        return mishap.left * usual
    return shortened if cuts or stopped_early else usual


def _treat(
    member: Member,
    *,
    start: datetime,
    before: float,
    target: float,
    dry: float,
    gap: float,
    left: float,
    rng: Generator,
) -> TrueTreatment:
    scale_before = round(before + float(rng.normal(0, 0.06)), 1)
    intake = round(float(rng.choice([0, 0.1, 0.2, 0.2, 0.3, 0.5])), 1)
    minutes = max(BROKEN_OFF_AFTER, round(member.regime.minutes * left))
    planned = _planned(member, scale_before, target, rng)
    uf = round(max(0.0, planned * min(1.0, left)), 2)
    sweat = 0.02 * minutes / 60
    after = before - uf + RINSE_BACK_L + intake - sweat
    night = TrueTreatment(
        start=start,
        minutes=minutes,
        target_kg=target,
        weight_before=before,
        weight_after=after,
        scale_before=scale_before,
        scale_after=round(after + float(rng.normal(0, 0.06)), 1),
        uf_l=uf,
        intake_l=intake,
        spare_before=before - dry,
        spare_after=after - dry,
        gap_days=gap,
        qb=member.regime.qb - (20 if rng.random() < 0.06 else 0),
        mood=float(rng.normal(0, VISIT_SD)),
    )
    _suffer(night, rng)
    return night


def _planned(member: Member, scale_before: float, target: float, rng: Generator) -> float:
    """UF volume the patient sets: back to target, plus what comes back; inside the limit if careful [L]."""
    regime: Regime = member.regime
    wanted = scale_before - target + RINSE_BACK_L + INTAKE_L + float(rng.normal(0, 0.12))
    most = regime.uf_limit * target * regime.minutes / 60 / 1000
    careful = member.story.keeps_uf_limit
    return float(np.clip(wanted, 0.2, most * (OF_LIMIT if careful else 1.6)))


def _suffer(night: TrueTreatment, rng: Generator) -> None:
    """Low pressure and cramps: rare, likelier when fluid is taken off fast or below what the body has to spare."""
    strain = max(0.0, night.uf_rate - 9) / 4 + max(0.0, -night.spare_after - 0.8)
    low, cramp, when = rng.random(), rng.random(), float(rng.uniform(0.6, 0.9))
    if low < 0.004 + 0.05 * strain:
        night.low_at = when
    night.cramp = bool(cramp < 0.008 + 0.06 * strain)


def pressure(member: Member, night: TrueTreatment, share: float, rng: Generator) -> tuple[int, int]:
    """Systolic and diastolic pressure after a share of the treatment [mmHg]; standing is the caller's affair."""
    pulled = 0.8 * max(0.0, night.uf_rate - 5) * float(np.sin(np.pi * min(share, 1.0)))
    systolic = member.dry_systolic + MMHG_PER_KG * night.spare_at(share) + night.mood - pulled
    systolic += float(rng.normal(0, READING_SD))
    if night.low_at is not None and abs(share - night.low_at) < 0.12:
        systolic = float(rng.uniform(76, 88))
    diastolic = 0.5 * systolic + 12 + float(rng.normal(0, 3.5))
    top = round(float(np.clip(systolic, 62, 235)))
    return top, min(round(float(np.clip(diastolic, 32, 130))), top - 15)
