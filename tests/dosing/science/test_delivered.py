"""A delivered course and the patient fitted to it, against a general solver, a general optimiser and known patients."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import root

from dosing.science import adequacy
from dosing.science.delivered import DeliveredTreatments
from dosing.science.delivered_fit import DeliveredFit, DeliveredPairs, UreaPrior, fit_delivered
from dosing.science.delivered_search import ModelError
from dosing.science.fitted_dose import FittedPatient, sure_dose
from dosing.science.kinetics import PatientParameters, Schedule, weekly_starts, weekly_steady_state

Array = NDArray[np.float64]
EXACT = ModelError(laboratory=1e-4, rounding=0, night=0, diet=0, clearance_drift=0, diet_drift=0, dose=0)
LOOSE: dict[str, Any] = {
    "kidney_spread": 0.0,
    "volume_spread": 0.5,
    "generation_spread": 1.0,
    "clearance_spread": 0.0,
    "exchange_spread": 0.0,
}


def by_solver(
    given: dict[str, Array], volume: float, generation: float = 1.0, exchange: float = 0.016
) -> tuple[Array, Array]:
    """Plasma-water urea before and after each treatment, by a general solver. Shares no code with the product.

    It starts anywhere: after some twenty treatments nothing of that is left.
    """
    state, inner = np.array([60.0 * generation] * 2), volume * 2 / 3
    starts, hours = given["starts"], given["hours"]
    before, after = np.zeros_like(starts), np.zeros_like(starts)

    def run(minutes: float, level: tuple[float, float], cleared: float) -> None:
        nonlocal state
        slope, start = (level[1] - level[0]) / minutes, volume / 3 + level[0]

        def rates(t: float, c: Any) -> list[float]:
            swap = exchange * volume * (c[1] - c[0])
            return [(generation - (cleared + slope) * c[0] + swap) / (start + slope * t), -swap / inner]

        state = solve_ivp(rates, (0, minutes), state, method="DOP853", rtol=1e-9, atol=1e-12).y[:, -1]

    ended, level = starts[0] - 40.0, 0.0
    for at in range(starts.size):
        kidney, (first, last) = given["kidney"][at] / 1000, (given["before"][at], given["after"][at])
        run((starts[at] - ended) * 60, (level, first), kidney)
        before[at] = state[0]
        run(hours[at] * 60, (first, last), kidney + given["clearance"][at] / 1000)
        after[at], level, ended = state[0], last, starts[at] + hours[at]
    return before, after


def two_weeks_then_wild(seed: int) -> dict[str, Array]:
    """Two weeks ten times alike and then wild: lengths, clearances, fluid, gaps, a kidney that fades."""
    rng = np.random.default_rng(seed)
    regular = np.concatenate([22 + 48.0 * np.arange(7) + 336 * week for week in range(10)])
    gaps = rng.choice([14.0, 30.0, 40.0, 90.0, 160.0], 20)
    hours = np.concatenate([np.full(70, 6.0), rng.choice([0.2, 1.5, 4.0, 8.0, 10.0], 20)])
    wild = regular[-1] + 6 + np.cumsum(gaps + np.concatenate([[0.0], hours[70:-1]]))
    starts = np.concatenate([regular, wild])
    late = np.arange(90) >= 70
    after = np.where(late, rng.uniform(-1, 1, 90), 0.0)
    return {
        "starts": starts,
        "hours": hours,
        "clearance": np.where(late, rng.uniform(0, 300, 90), 180.0),
        "before": np.where(late, after + rng.uniform(0, 0.8, 90) * np.minimum(hours, 5), 2.0),
        "after": after,
        "kidney": np.where(late, np.linspace(3, 1, 90), 3.0),
    }


def treatments(given: dict[str, Array]) -> DeliveredTreatments:
    return DeliveredTreatments(
        starts=given["starts"],
        hours=given["hours"],
        clearance=given["clearance"],
        fluid_before=given["before"],
        fluid_after=given["after"],
        kidney_clearance=given["kidney"],
    )


def drawn(bloods: tuple[Array, Array], places: list[int]) -> DeliveredPairs:
    """Pairs of bloods without error."""
    return DeliveredPairs(treatment=places, pre=0.93 * bloods[0][places], post=0.93 * bloods[1][places])


def fitted(given: dict[str, Array], **changes: Any) -> DeliveredFit:
    usual: dict[str, Any] = {"prior": UreaPrior(volume=30.0, generation=0.15, **LOOSE), "error": EXACT}
    return fit_delivered(treatments=treatments(given), **{**usual, **changes})


@pytest.mark.parametrize("seed", range(4))
def test_a_wild_course_agrees_with_a_general_solver(seed: int) -> None:
    """scipy.integrate.solve_ivp, order 8, relative tolerance 1e-10."""
    given = two_weeks_then_wild(seed)
    before, _ = by_solver(given, 35.0)
    spans = np.stack([given["starts"] - 0.01, given["starts"] + 0.01], axis=-1)
    found = fitted(given, prior=UreaPrior(volume=35.0, generation=0.2), periods=spans)
    ours = 10080 / (35.0 * found.dose.whole.value)
    assert np.all(found.dose.whole.known)
    assert ours[30:] == pytest.approx(before[30:], rel=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_it_finds_the_patient_that_made_the_bloods_of_a_wild_course(seed: int) -> None:
    given = two_weeks_then_wild(seed)
    given["clearance"] = np.maximum(given["clearance"], 100.0)
    given["hours"] = np.maximum(given["hours"], 1.5)
    found = fitted(given, pairs=drawn(by_solver(given, 38.0, 0.21), [40, 55, 69]))
    assert found.volume.number == pytest.approx(38.0, rel=1e-5)
    assert found.generation.number == pytest.approx(0.21, rel=1e-5)
    assert found.kidney_clearance.number == pytest.approx(1.0)


def test_a_sample_drawn_late_is_met_at_its_own_minute() -> None:
    """The rebound of half an hour by the solver: one more short phase without dialyser, on the rates of the gap."""
    given = two_weeks_then_wild(1)
    at, delay = 50, 35.0
    before, after = by_solver(given, 38.0, 0.21)
    more = {name: np.insert(value, at + 1, value[at]) for name, value in given.items()}
    end = given["starts"][at] + given["hours"][at]
    rise = 2.0 / (42 * 60) * delay
    more["starts"][at + 1], more["hours"][at + 1] = end + delay / 60, 1e-6
    more["clearance"][at + 1], more["before"][at + 1], more["after"][at + 1] = 0.0, rise, rise
    rebounded, _ = by_solver(more, 38.0, 0.21)
    assert rebounded[at + 1] > 1.05 * after[at]
    late = DeliveredPairs(treatment=[at], pre=[0.93 * before[at]], post=[0.93 * rebounded[at + 1]], post_delay=[delay])
    assert fitted(given, pairs=late).volume.number == pytest.approx(38.0, rel=1e-4)


ANCHORS = [
    ("A", [8, 56, 104], 4, [228.61, 227.88, 227.88], 35, 1.0, 0.0, 2.4561),
    ("F", [22, 46, 70, 94, 118, 142], 8, [161.37, *[161.18] * 5], 35, 1.0, 0.0, 6.3512),
    ("G", [8, 56, 104], 4, [227.58, 227.21, 227.21], 35, 0.5, 3.0, 2.9523),
    ("J", [8, 56, 80, 128], 4, [264.64, 264.64, 263.73, 264.64], 42, 1.2, 0.0, 3.1999),
    ("A, each Wednesday missed", [8, 104], 4, [228.96, 228.96], 35, 1.0, 0.0, 1.6828),
]
"""Steady weeks of a simulation that shares no code with this one (DOP853, tolerance 1e-11): starts [h], length [h],
clearance of each [mL/min], V [L], gain [mL/min], kidney [mL/min], weekly standard Kt/V. Its plasma and water shares are
those of the thesis that the model is from."""


@pytest.mark.parametrize(("name", "starts", "hours", "kd", "volume", "gain", "kidney", "dose"), ANCHORS)
def test_steady_weeks_give_what_an_independent_simulation_gives(
    name: str, starts: list[int], hours: int, kd: list[float], volume: float, gain: float, kidney: float, dose: float
) -> None:
    weeks = 12
    each = np.asarray(starts, dtype=float)
    gaps = (each - np.roll(each, 1)) % 168 - hours
    given = {
        "starts": (each[None] + 168 * np.arange(weeks)[:, None]).ravel(),
        "hours": np.full(each.size * weeks, float(hours)),
        "clearance": np.tile(kd, weeks),
        "before": np.tile(gaps * 60 * gain / 1000, weeks),
        "after": np.zeros(each.size * weeks),
        "kidney": np.full(each.size * weeks, kidney),
    }
    found = fitted(given, prior=UreaPrior(volume=volume, generation=0.2), periods=[(168 * 8, 168 * 12)])
    assert found.dose.whole.value[0] == pytest.approx(dose, abs=2e-3 if "missed" in name else 1e-4)
    if kidney:
        assert found.dose.of_kidney.value[0] / dose == pytest.approx(0.1983, abs=1e-3)


def noisy(seed: int, count: int = 6) -> tuple[dict[str, Array], DeliveredPairs]:
    rng = np.random.default_rng(seed)
    given = two_weeks_then_wild(seed)
    before, after = by_solver(given, 38.0, 0.21)
    places = np.linspace(25, 69, count).astype(int)
    errors = np.exp(rng.normal(0, 0.06, (2, count)))
    return given, DeliveredPairs(
        treatment=places, pre=0.93 * before[places] * errors[0], post=0.93 * after[places] * errors[1]
    )


def test_the_most_probable_patient_is_the_least_of_the_sum_of_squares() -> None:
    """The sum is written out here with concentrations of a general solver; parabolas through it are least there."""
    given, pairs = noisy(3, 3)
    prior = UreaPrior(volume=33.0, generation=0.17)
    error = ModelError(clearance_drift=0, diet_drift=0)
    found = fitted(given, pairs=pairs, prior=prior, error=error)
    places, pre, post = (np.asarray(each) for each in (pairs.treatment, pairs.pre, pairs.post))
    spread = np.array([0.12, 0.10, 0.30, 0.15, 0.25])
    until = int(places[-1]) + 1

    def cost(moved: Array) -> float:
        volume, clearance, generation, kidney, exchange = np.exp(moved)
        changed = given | {"clearance": given["clearance"] * clearance, "kidney": given["kidney"] * kidney}
        changed = {name: value[:until] for name, value in changed.items()}
        before, after = by_solver(changed, 33 * volume, 0.17 * generation, 0.016 * exchange)
        total = float(((moved / spread) ** 2).sum())
        for place, first, last in zip(places, pre, post, strict=True):
            off = np.log([first / 0.93 / before[place], last / 0.93 / after[place]])
            own = 0.03**2 + (0.1 / np.sqrt(12) / np.array([first, last])) ** 2
            own[1] += (0.05 * float(found.scale) * np.log(last / first)) ** 2
            total += float(off @ np.linalg.solve(0.12**2 + np.diag(own), off))
        return total

    values = (found.volume, found.clearance_factor, found.generation, found.kidney_clearance, found.exchange)
    ours = np.log([each.number / base for each, base in zip(values, (33, 1, 0.17, 3.0, 0.016), strict=True)])  # type: ignore[operator]
    ours[3] = np.log(found.kidney_clearance.number / given["kidney"][-1]) if given["kidney"][-1] else 0.0  # type: ignore[operator]
    middle, step = cost(ours), 0.03
    for which in (0, 1, 2, 4):
        away = step * np.eye(5)[which]
        above, below = cost(ours + away), cost(ours - away)
        assert min(above, below) > middle
        assert step * (below - above) / (above + below - 2 * middle) / 2 == pytest.approx(0, abs=2e-3)


def test_a_forecast_is_what_a_fit_to_the_earlier_pairs_alone_foretells() -> None:
    given, pairs = noisy(5)
    prior = UreaPrior(volume=33.0, generation=0.17)
    common = {"prior": prior, "error": ModelError(clearance_drift=0, diet_drift=0)}
    whole = fitted(given, pairs=pairs, **common)
    for many in (1, 3, 5):
        early = DeliveredPairs(
            treatment=np.asarray(pairs.treatment)[:many],
            pre=np.asarray(pairs.pre)[:many],
            post=np.asarray(pairs.post)[:many],
        )
        alone = fitted(given, pairs=early, **common)
        changed = given | {"clearance": given["clearance"] * float(alone.clearance_factor.value)}
        volume, exchange = alone.volume.number, alone.exchange.number
        before, after = by_solver(changed, volume, alone.generation.number, exchange)  # type: ignore[arg-type]
        place = int(np.asarray(pairs.treatment)[many])
        assert whole.foretold.pre[many] == pytest.approx(0.93 * before[place], rel=0.03)
        assert whole.foretold.post[many] == pytest.approx(0.93 * after[place], rel=0.03)


def test_bloods_narrow_the_interval_and_later_ones_that_miss_their_forecast_widen_it() -> None:
    given, pairs = noisy(6)
    prior, periods = UreaPrior(volume=36.0, generation=0.2), [(2000.0, 3300.0)]

    def width(**changes: Any) -> float:
        found = fit_delivered(treatments=treatments(given), prior=prior, periods=periods, **changes).dose
        return float(np.log(found.high.value / found.low.value)[0])

    alone, with_pairs = width(), width(pairs=pairs)
    assert 0.1 < with_pairs < 0.6 * alone
    wild = np.asarray(pairs.post) * np.array([1, 1.3, 0.75, 1.3, 0.75, 1.3])
    assert width(pairs=DeliveredPairs(treatment=pairs.treatment, pre=pairs.pre, post=wild)) > 1.3 * with_pairs


def test_a_diluted_sample_shows_as_a_conflict_with_what_is_known_of_the_body() -> None:
    given, _ = noisy(7)
    bloods = by_solver(given, 36.0, 0.21)
    prior = UreaPrior(volume=36.0, generation=0.2)
    right = fitted(given, pairs=drawn(bloods, [30, 50, 65]), prior=prior, error=ModelError())
    diluted = fitted(given, pairs=drawn((bloods[0], 0.55 * bloods[1]), [30, 50, 65]), prior=prior, error=ModelError())
    assert abs(float(right.conflict)) < 0.2
    assert float(diluted.conflict) < -1.5


@pytest.mark.parametrize("hours", [8.0, 10.0])
def test_long_nights_of_a_small_person_have_a_dose_though_the_logarithm_refuses_them(hours: float) -> None:
    starts = weekly_starts(days=[0, 1, 2, 3, 4, 5], at=21)
    schedule = Schedule(starts=starts, hours=hours, koa=900, blood_flow=300, dialysate_flow=500)
    week = weekly_steady_state(schedule=schedule, patient=PatientParameters(volume=26, generation=0.14, fluid_gain=0.8))
    pre, post = week.pre_plasma.value[3], week.post_plasma.value[3]
    refused = adequacy.single_pool_ktv(pre=pre, post=post, hours=hours, uf_l=0.6, post_weight_kg=42, days_since_last=1)
    assert refused.number is None
    weeks = 10
    course = DeliveredTreatments(
        starts=(starts[None] + 168 * np.arange(weeks)[:, None]).ravel(),
        hours=hours,
        clearance=np.tile(week.clearance.value, weeks),
        fluid_before=np.tile(week.ultrafiltration.value, weeks),
    )
    found = fit_delivered(
        treatments=course,
        prior=UreaPrior(volume=27.0, generation=0.15),
        pairs=DeliveredPairs(treatment=[21, 45], pre=[pre, pre], post=[post, post]),
        periods=[(168.0 * 6, 168.0 * 10)],
    )
    dose = found.dose
    assert dose.whole.value[0] == pytest.approx(week.standard_ktv.number, rel=0.02)
    assert dose.low.value[0] < week.standard_ktv.number < dose.high.value[0]  # type: ignore[operator]


REFUSED = [
    ({"hours": -1.0}, "length of a treatment is outside"),
    ({"clearance": 1200.0}, "clearance is outside 0 to 1000"),
    ({"kidney_clearance": 40.0}, "kidney clearance is outside 0 to 30"),
    ({"hours": 20.0, "clearance": 900.0, "starts": 48.0 * np.arange(20)}, "clears over 7 urea volumes"),
    ({"fluid_before": 20.0}, "fluid beyond the target weight"),
    ({"fluid_before": np.nan}, "fluid gain is not given"),
    ({"hours": 0.05, "fluid_before": 5.0}, "ultrafiltration per minute"),
    ({"hours": 24.0, "starts": 23.0 * np.arange(20)}, "treatments overlap"),
    ({"starts": [0.0, np.nan, np.nan]}, "fewer than 2 treatments"),
    ({"extracellular_share": 0.6}, "extracellular share is outside"),
]


@pytest.mark.parametrize(("changes", "why"), REFUSED)
def test_a_course_that_the_model_cannot_carry_is_refused_by_name(changes: dict[str, Any], why: str) -> None:
    usual: dict[str, Any] = {"starts": 24.0 * np.arange(20), "hours": 4.0, "clearance": 200.0, "fluid_before": 1.0}
    good = fit_delivered(treatments=DeliveredTreatments(**usual), prior=UreaPrior(volume=35, generation=0.2))
    bad = fit_delivered(treatments=DeliveredTreatments(**usual | changes), prior=UreaPrior(volume=35, generation=0.2))
    assert good.volume.number == pytest.approx(35)
    assert why in str(bad.volume.reason)
    assert np.isnan(bad.volume.value)


def test_a_week_without_a_treatment_that_counts_has_no_dose_and_says_so() -> None:
    course = DeliveredTreatments(
        starts=24.0 * np.arange(20), hours=4, clearance=200, fluid_before=1.0, counts=np.arange(20) < 10
    )
    found = fit_delivered(
        treatments=course, prior=UreaPrior(volume=35, generation=0.2), periods=[(0, 168), (300, 480), (9000, 9100)]
    )
    assert found.dose.whole.known.tolist() == [True, False, False]
    assert "no treatment that counts" in str(found.dose.whole.why[1])


def test_many_patients_at_once_say_what_each_says_alone() -> None:
    starts = np.full((3, 60), np.nan)
    for row, count in enumerate((60, 25, 1)):
        starts[row, :count] = 40.0 * np.arange(count)
    places, pre, post = (
        [[10, 50], [10, 20], [0, -1]],
        [[20.0, 22.0], [15.0, np.nan], [9.0, 8.0]],
        [[7.0, 8.0], [5.0, 4.0], [3.0, 4.0]],
    )
    volume = np.array([35.0, 40.0, 30.0])

    def asked(rows: Any) -> DeliveredFit:
        return fit_delivered(
            treatments=DeliveredTreatments(starts=starts[rows], hours=4.0, clearance=220.0, fluid_before=1.5),
            prior=UreaPrior(volume=volume[rows], generation=0.2),
            pairs=DeliveredPairs(
                treatment=np.asarray(places)[rows], pre=np.asarray(pre)[rows], post=np.asarray(post)[rows]
            ),
            periods=[(400, 1000)],
        )

    together = asked(slice(None))
    assert together.pairs.tolist() == [2, 1, 0]
    assert "fewer than 2" in str(together.volume.why[2])
    for row in range(2):
        alone = asked(row)
        assert alone.volume.number == pytest.approx(together.volume.value[row], rel=1e-6)
        assert alone.dose.low.value[0] == pytest.approx(together.dose.low.value[row, 0], rel=1e-6)


def test_the_sureness_of_a_schedule_agrees_with_patients_drawn_at_random() -> None:
    """Ten thousand patients drawn from the covariance, each with its own steady week."""
    rng = np.random.default_rng(8)
    root = rng.normal(0, 0.05, (5, 5))
    covariance = root @ root.T
    schedule = Schedule(
        starts=weekly_starts(days=[0, 2, 4], at=8), hours=4, koa=800, blood_flow=300, dialysate_flow=500
    )
    patient = FittedPatient(volume=35, generation=0.2, kidney_clearance=2, fluid_gain=1, covariance=covariance)
    patients = rng.multivariate_normal(np.zeros(5), covariance, 10_000)
    doses = weekly_steady_state(schedule=schedule, patient=patient.parameters(patients)).standard_ktv.value
    found = sure_dose(schedule=schedule, patient=patient, dose_error=0.0)
    assert found.spread == pytest.approx(np.log(doses).std(), rel=0.05)
    careful = weekly_steady_state(schedule=schedule, patient=patient.parameters(found.careful)).standard_ktv
    assert careful.number == pytest.approx(float(found.dose.value * np.exp(-found.spread)), rel=0.01)
    known = sure_dose(schedule=schedule, patient=FittedPatient(volume=35, generation=0.2), dose_error=0.03)
    assert (float(known.spread), known.careful.tolist()) == (pytest.approx(0.03), [0.0] * 5)


def test_bloods_of_an_independent_simulation_give_the_patient_that_made_them() -> None:
    """Case A of `test_kinetics.SIMULATED`, its second treatment: plasma to 0.001 mg/dL of V 35 L, G 5.35 mg N/min.

    A general solver that looks for the steady week with exactly that pair finds the same.
    """
    starts, weeks = weekly_starts(days=[0, 2, 4], at=8), 12
    schedule = Schedule(starts=starts, hours=4, koa=800, blood_flow=300, dialysate_flow=500)
    week = weekly_steady_state(schedule=schedule, patient=PatientParameters(volume=35, generation=0.2, fluid_gain=1.44))
    course = DeliveredTreatments(
        starts=(starts[None] + 168 * np.arange(weeks)[:, None]).ravel(),
        hours=4,
        clearance=np.tile(week.clearance.value, weeks),
        fluid_before=np.tile(week.ultrafiltration.value, weeks),
    )
    found = fit_delivered(
        treatments=course,
        prior=UreaPrior(volume=45.0, generation=0.3, **LOOSE),
        pairs=DeliveredPairs(treatment=[28], pre=[55.887 / 2.80134], post=[15.507 / 2.80134]),
        error=EXACT,
    )

    def off(logs: Array) -> Array:
        patient = PatientParameters(volume=np.exp(logs[0]), generation=np.exp(logs[1]), fluid_gain=1.44)
        of = weekly_steady_state(schedule=schedule, patient=patient)
        pair = (of.pre_plasma.value[1] * 2.80134 / 55.887, of.post_plasma.value[1] * 2.80134 / 15.507)
        return np.asarray(np.log(pair))

    steady = np.exp(root(off, np.log([45, 0.3]), tol=1e-10).x)
    assert (found.volume.number, found.generation.number) == pytest.approx(tuple(steady), rel=1e-4)
    assert found.volume.number == pytest.approx(35, rel=2e-4)
    assert found.generation.number * 28.0134 == pytest.approx(5.35, rel=2e-4)  # type: ignore[operator]
