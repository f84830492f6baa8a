"""Lives, rates and risk against published data, SciPy and closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import optimize, special, stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.compare import risk_factors
from qclog.stats.life import rates, survival, weibull
from tests.reference.conftest import Published


def test_kaplan_meier_of_the_handbook(published: Published) -> None:
    # NIST e-Handbook chapter 8: 20 units, 6 failures.
    c = published("nist_km_20units")
    found = survival.estimate_survival(c["hours"], c["failed"])
    assert found.times == (10, 32, 56, 98, 122, 181)
    assert found.surviving == pytest.approx([0.95, 0.90, 0.84706, 0.79412, 0.73739, 0.67036], abs=5e-6)
    assert found.median is None


def test_diesel_fans(published: Published) -> None:
    # Nelson, Applied Life Data Analysis (1982): 70 units, 12 failures, 344440 h. Printed mean 28701 to 28703,
    # slope 1.058, scale 26297.
    c = published("nelson_1982_diesel_fan")
    fit = weibull.fit_weibull(c["hours"], c["failed"])
    assert (fit.n, fit.failures, c["hours"].sum()) == (70, 12, 344440)
    assert fit.exponential_mean == pytest.approx(28703.33, abs=5e-3)
    assert fit.slope.value == pytest.approx(1.058446, abs=5e-7)
    assert fit.scale.value == pytest.approx(26296.845, abs=5e-4)
    assert fit.log_likelihood == pytest.approx(-135.152720, abs=5e-7)
    km = survival.estimate_survival(c["hours"], c["failed"])
    after = [km.surviving[km.times.index(t)] for t in (450, 1150, 1600, 2070)]
    assert after == pytest.approx([0.98571, 0.95672, 0.94200, 0.90775], abs=5e-6)


def test_ball_bearings(published: Published) -> None:
    # Lieblein & Zelen, J. Res. NBS 57(5) 1956, 23 complete lives.
    (lives,) = published("lieblein_zelen_1956_ball_bearings").values()
    fit = weibull.fit_weibull(lives)
    assert fit.slope.value == pytest.approx(2.101847, abs=5e-7)
    assert fit.scale.value == pytest.approx(81.874559, abs=5e-7)
    assert fit.log_likelihood == pytest.approx(-113.691959, abs=5e-7)
    assert fit.exponential_mean == pytest.approx(72.2209, abs=5e-5)
    # Thoman, Bain & Antle 1969: the slope's exact 95 % pivots for n 23 are near 0.76 and 1.49 (from memory).
    assert fit.slope.value / fit.slope.upper == pytest.approx(0.76, abs=0.03)
    assert fit.slope.value / fit.slope.lower == pytest.approx(1.49, abs=0.06)


def test_lecture_example() -> None:
    # Example in the SciPy test suite (university lecture): slope 2.149, scale 28.99 printed.
    times = [3, 5, 6, 8, 10, 11, 15, 20, 22, 23, 27, 29, 32, 35, 40, 26, 28, 33, 21, 24]
    running = {6, 10, 11, 20, 27, 33, 24}
    fit = weibull.fit_weibull(times, [t not in running for t in times])
    assert fit.slope.value == pytest.approx(2.149375, abs=5e-7)
    assert fit.scale.value == pytest.approx(28.996352, abs=5e-7)


def test_leukaemia_remissions(published: Published) -> None:
    # Freireich 1963, 6-MP arm, 21 patients.
    c = published("freireich_1963_6mp")
    km = survival.estimate_survival(c["weeks"], c["event"])
    expected = [0.85714, 0.80672, 0.75294, 0.69020, 0.62745, 0.53782, 0.44818]
    assert km.surviving == pytest.approx(expected, abs=5e-6)
    assert km.median == 23
    fit = weibull.fit_weibull(c["weeks"], c["event"])
    assert fit.slope.value == pytest.approx(1.353735, abs=5e-7)
    assert fit.scale.value == pytest.approx(33.765151, abs=5e-7)


def test_survival_and_weibull_against_scipy() -> None:
    rng = np.random.default_rng(1)
    life, seen = rng.weibull(1.5, 60) * 100, rng.uniform(20, 200, 60)
    times, failed = np.minimum(life, seen), life <= seen
    data = stats.CensoredData.right_censored(times, ~failed)
    km = survival.estimate_survival(times, failed)
    reference = stats.ecdf(data).sf
    assert km.surviving == pytest.approx(reference.evaluate(np.array(km.times)), rel=1e-12)
    band = reference.confidence_interval(0.95, method="log-log")
    assert km.lower == pytest.approx(band.low.evaluate(np.array(km.times)), rel=1e-9)
    assert km.upper == pytest.approx(band.high.evaluate(np.array(km.times)), rel=1e-9)
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    fit = weibull.fit_weibull(times, failed)
    assert (fit.slope.value, fit.scale.value) == pytest.approx((shape, scale), rel=1e-3)
    assert fit.share_failed(fit.life(0.1)) == pytest.approx(0.1)


def test_life_edges() -> None:
    assert survival.estimate_survival([5, 6], [0, 0]).warnings == ("nothing has failed yet",)
    all_gone = survival.estimate_survival([1, 2, 2], [1, 1, 1])
    assert all_gone.surviving[-1] == 0
    assert all_gone.median == 2
    for call, error in (
        (lambda: survival.estimate_survival([], []), TooFewError),
        (lambda: survival.estimate_survival([-1, 2], [1, 1]), StatisticsError),
        (lambda: survival.estimate_survival([1, 2], [1]), StatisticsError),
        (lambda: survival.estimate_survival([1, 2], [1, 2]), StatisticsError),
        (lambda: weibull.fit_weibull([5, 6, 7], [1, 0, 0]), TooFewError),
        (lambda: weibull.fit_weibull([5, 5, 7], [1, 1, 0]), TooFewError),
        (lambda: weibull.fit_weibull([0, 5, 7]), StatisticsError),
    ):
        with pytest.raises(error):
            call()
    scaled = weibull.fit_weibull([3e6, 5e6, 9e6])
    assert scaled.scale.value == pytest.approx(1e6 * weibull.fit_weibull([3, 5, 9]).scale.value)


def test_rates_of_the_tables() -> None:
    # Garwood 1936 / Pearson & Hartley: 95 % limits of a Poisson count: 0: 0 .. 3.69; 1: 0.0253 .. 5.57;
    # 5: 1.62 .. 11.67; 10: 4.80 .. 18.39.
    for count, low, high in ((0, 0, 3.69), (1, 0.0253, 5.57), (5, 1.62, 11.67), (10, 4.80, 18.39)):
        found = rates.estimate_rate(count, 1)
        assert (found.lower, found.upper) == pytest.approx((low, high), abs=6e-3)
    assert rates.estimate_rate(3, 12).value == 0.25
    # Clopper & Pearson 1934: 0 of 10 up to 30.85 %; 1 of 10: 0.25 % to 44.5 %.
    assert rates.estimate_share(0, 10).upper == pytest.approx(0.3085, abs=5e-5)
    one = rates.estimate_share(1, 10)
    assert (one.lower, one.upper) == pytest.approx((0.0025, 0.4450), abs=5e-5)
    reference = stats.binomtest(7, 40).proportion_ci(0.95, "exact")
    found = rates.estimate_share(7, 40)
    assert (found.lower, found.upper) == pytest.approx((reference.low, reference.high), rel=1e-9)


def test_comparing_rates_and_shares() -> None:
    two = rates.compare_rates([5, 12], [100, 90])
    assert two.p_value == pytest.approx(stats.binomtest(12, 17, 90 / 190).pvalue)
    assert two.ratio is not None
    assert two.ratio.value == pytest.approx((12 / 90) / (5 / 100))
    assert two.ratio.lower < 1 < two.ratio.upper
    # Fisher's tea tasting, 3 and 1 of 4: two-sided 0.4857, odds ratio 6.408. The interval is widely printed as
    # 0.2117 to 621.93 (from memory), of which the upper end is a root not sought closely: at w = 626.24
    # the chance w^4 / (1 + 16 w + 36 w^2 + 16 w^3 + w^4) is 0.975.
    tea = rates.compare_shares([1, 3], [4, 4])
    assert tea.p_value == pytest.approx(0.4857, abs=5e-5)
    assert tea.ratio is not None
    assert tea.ratio.value == pytest.approx(6.408, abs=5e-4)
    assert (tea.ratio.lower, tea.ratio.upper) == pytest.approx((0.211736, 626.2435), rel=2e-5)
    more = rates.compare_rates([3, 9, 1], [50, 50, 50])
    assert more.ratio is None
    w = tea.ratio.upper
    assert w**4 / (1 + 16 * w + 36 * w**2 + 16 * w**3 + w**4) == pytest.approx(0.975, abs=1e-9)
    exact = rates.compare_shares([1, 6, 2], [20, 18, 30])
    table = np.array([[1, 6, 2], [19, 12, 28]])
    chi = stats.chi2_contingency(table).pvalue
    assert exact.p_value == pytest.approx(chi, abs=0.02)


def test_three_groups_by_listing_every_table() -> None:
    counts, sizes = [0, 2, 3], [6, 5, 4]
    chances: dict[tuple[int, ...], float] = {}
    for a in range(6):
        for b in range(6 - a):
            c = 5 - a - b
            if a <= 6 and b <= 5 and 0 <= c <= 4:
                chances[a, b, c] = stats.multivariate_hypergeom.pmf([a, b, c], sizes, 5)
    exact = sum(p for p in chances.values() if p <= chances[tuple(counts)] * (1 + 1e-7))
    found = rates.compare_shares(counts, sizes)
    assert found.p_value == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 20_000))


def test_exact_tests_never_cry_wolf_too_often() -> None:
    rng = np.random.default_rng(2)
    two = [rates.compare_rates(rng.poisson([4, 8]).tolist(), [10, 20]).p_value for _ in range(1500)]
    assert np.mean(np.array(two) <= 0.05) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 1500)


def test_too_few_to_say() -> None:
    assert "too few to say" in rates.compare_rates([1, 0], [10, 10]).warnings[0]
    assert "too few to say" in rates.compare_shares([1, 0], [3, 3]).warnings[0]
    assert rates.compare_shares([9, 1], [20, 22]).warnings == ()
    assert rates.compare_rates([0, 0], [10, 10]).p_value == 1
    for call in (
        lambda: rates.estimate_rate(-1, 5),
        lambda: rates.estimate_rate(1.5, 5),  # type: ignore[arg-type] # wrong on purpose
        lambda: rates.estimate_rate(1, 0),
        lambda: rates.estimate_share(4, 3),
        lambda: rates.compare_rates([1], [2]),
        lambda: rates.compare_rates([1, 2], [2]),
        lambda: rates.compare_shares([5, 1], [4, 4]),
    ):
        with pytest.raises(StatisticsError):
            call()


def test_firth_for_one_yes_no_factor_adds_half_to_every_cell() -> None:
    # Firth 1993: for a saturated 2 x 2 table the penalised estimate is that of the table with 1/2 added.
    comeback = [0] * 10 + [1] * 7 + [0] * 3 + [1] * 6
    factor = [0] * 17 + [1] * 9
    found = risk_factors.relate_to_comebacks([factor], comeback).factors[0]
    assert found.log_odds.value == pytest.approx(np.log((6.5 / 3.5) / (7.5 / 10.5)), abs=1e-7)


def test_firth_interval_by_plain_profile() -> None:
    # The penalised likelihood of a 2 x 2 table has a closed profile: one number to search.
    comeback = [0] * 10 + [1] * 7 + [0] * 3 + [1] * 6
    found = risk_factors.relate_to_comebacks([[0] * 17 + [1] * 9], comeback).factors[0].log_odds
    a = np.linspace(-4, 3, 4001)

    def best(b: float) -> float:
        p, q = 1 / (1 + np.exp(-a)), 1 / (1 + np.exp(-(a + b)))
        value = 7 * np.log(p) + 10 * np.log(1 - p) + 6 * np.log(q) + 3 * np.log(1 - q)
        return float((value + 0.5 * np.log(17 * p * (1 - p) * 9 * q * (1 - q))).max())

    drop = best(found.value) - stats.chi2.ppf(0.95, 1) / 2
    assert best(found.lower) == pytest.approx(drop, abs=1e-4)
    assert best(found.upper) == pytest.approx(drop, abs=1e-4)


def test_risk_stays_finite_when_one_reading_separates() -> None:
    found = risk_factors.relate_to_comebacks([[1, 2, 3, 4, 5, 6, 7, 8]], [0, 0, 0, 0, 1, 1, 1, 1])
    (factor,) = found.factors
    assert 0 < factor.log_odds.value < 5
    assert factor.log_odds.lower > 0
    assert factor.p_value < 0.05
    assert found.chance([8]) > 0.9
    assert found.chance([1]) < 0.1


def penalised(design: np.ndarray, came: np.ndarray, beta: np.ndarray) -> float:
    """Firth's penalised log likelihood, written down afresh."""
    score = design @ beta
    weight = special.expit(score) * special.expit(-score)
    _, half = np.linalg.slogdet((design * weight[:, None]).T @ design)
    return float(special.log_expit(np.where(came, score, -score)).sum() + half / 2)


@pytest.mark.parametrize("separated", [False, True])
def test_the_ends_of_a_risk_lie_where_the_profile_has_fallen_by_the_chi_square(separated: bool) -> None:
    # Second derivation: the profile by scipy's simplex search from several starts, at the ends that were given.
    rng = np.random.default_rng(13)
    x = rng.normal(0, 1, (60, 2))
    came = x[:, 0] > 0.8 if separated else rng.random(60) < special.expit(x[:, 0] - 1)
    found = risk_factors.relate_to_comebacks([x[:, 0], x[:, 1]], came)
    design = np.column_stack([np.ones(60), x - x.mean(axis=0)])
    starts = (np.zeros(2), np.array([-8.0, 2.0]), np.array([-20.0, 0.0]), np.array([8.0, -2.0]))

    def profile(which: int, at: float) -> float:
        others = [c for c in range(3) if c != which]

        def missing(free: np.ndarray) -> float:
            beta = np.zeros(3)
            beta[others], beta[which] = free, at
            return -penalised(design, came, beta)

        options = {"maxiter": 5000, "maxfev": 5000, "xatol": 1e-8, "fatol": 1e-11}
        best = (optimize.minimize(missing, s, method="Nelder-Mead", options=options).fun for s in starts)
        return -float(min(best))

    for which, factor in enumerate(found.factors, start=1):
        top = profile(which, factor.log_odds.value)
        for end in (factor.log_odds.lower, factor.log_odds.upper):
            fall = 2 * (top - profile(which, end))
            assert fall == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-5)
        assert factor.p_value == pytest.approx(stats.chi2.sf(2 * (top - profile(which, 0.0)), 1), rel=1e-4)


def test_risk_finds_the_reading_that_matters() -> None:
    rng = np.random.default_rng(3)
    x, z = rng.normal(20, 2, 800), rng.normal(5, 1, 800)
    came = rng.random(800) < 1 / (1 + np.exp(-(0.6 * (x - 20) - 1.5)))
    found = risk_factors.relate_to_comebacks([x, z], came, ["recess", "pack"])
    recess, pack = found.factors
    assert recess.log_odds.lower < 0.6 < recess.log_odds.upper
    assert recess.p_value < 1e-6
    assert pack.odds_ratio.lower < 1 < pack.odds_ratio.upper


def test_risk_edges() -> None:
    edges: list[tuple[Any, list[int], type[Exception]]] = [
        ([[1, 2, 3, 4]], [0, 0, 0, 1], TooFewError),
        ([[1] * 8], [0, 1] * 4, StatisticsError),
        ([range(8), range(8)], [0, 1] * 4, StatisticsError),
        ([range(7)], [0, 1] * 4, StatisticsError),
        ([range(8)], [0, 2] * 4, StatisticsError),
        ([], [0, 1] * 4, StatisticsError),
    ]
    for factors, came_back, error in edges:
        with pytest.raises(error):
            risk_factors.relate_to_comebacks(factors, came_back)
