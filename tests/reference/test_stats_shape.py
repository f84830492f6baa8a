"""Normality, shapes, percentiles and outliers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from qclog.errors import StatisticsError, TooFewError
from qclog.stats.spread import normality, outliers, percentiles, shape_fit
from tests.reference.conftest import Published

GRUBBS = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


def test_grubbs() -> None:
    # NIST e-Handbook 1.3.5.17.1: G 2.4687646, one-sided 5 % critical 2.031652, two-sided 2.126645.
    one = outliers.judge_furthest(GRUBBS, side="high")
    assert one.statistic == pytest.approx(2.4687646, abs=5e-8)
    assert one.critical == pytest.approx(2.031652, abs=6e-7)
    assert outliers.judge_furthest(GRUBBS).critical == pytest.approx(2.126645, abs=6e-7)
    assert (one.suspect, one.place, one.outlier) == (245.57, 7, True)
    assert not outliers.judge_furthest(GRUBBS, side="low").outlier


def test_grubbs_zarr13(published: Published) -> None:
    # G 2.9186376 (2.918673 remembered: single precision), two-sided 5 % critical 3.597906.
    (values,) = published("nist_zarr13").values()
    found = outliers.judge_furthest(values)
    assert found.statistic == pytest.approx(2.9186376, abs=5e-8)
    assert found.critical == pytest.approx(3.597906, abs=6e-7)
    assert not found.outlier


def test_tietjen_moore() -> None:
    # NIST e-Handbook 1.3.5.17.2: E 0.2919994 (printed 0.292); simulated 5 % critical 0.317 (from memory).
    values = [-1.40, -0.44, -0.30, -0.24, -0.22, -0.13, -0.05, 0.06, 0.10, 0.18, 0.20, 0.39, 0.48, 0.63, 1.01]
    found = outliers.judge_several(values, 2)
    assert found.statistic == pytest.approx(0.2919994, abs=5e-8)
    assert found.critical == pytest.approx(0.317, abs=0.01)
    assert found.outliers
    assert sorted(found.suspects) == [-1.40, 1.01]


def test_generalized_extreme_deviates(published: Published) -> None:
    # Rosner, Technometrics 25(2) 1983; NIST e-Handbook 1.3.5.17.3, whose page truncates (3.118, 3.158 ...).
    (values,) = published("nist_rosner_esd").values()
    found = outliers.find_extreme_deviates(values, 10)
    r = [3.1189, 2.9430, 3.1794, 2.8102, 2.8156, 2.8482, 2.2793, 2.3104, 2.1016, 2.0672]
    critical = [3.1588, 3.1514, 3.1439, 3.1362, 3.1282, 3.1201, 3.1118, 3.1032, 3.0945, 3.0854]
    assert found.statistics == pytest.approx(r, abs=6e-5)
    assert found.criticals == pytest.approx(critical, abs=6e-5)
    assert len(found.outliers) == 3


def test_grubbs_false_alarm_rate() -> None:
    rng = np.random.default_rng(1)
    for n in (3, 5, 20):
        x = rng.normal(size=(8000, n))
        g = np.abs(x - x.mean(axis=1, keepdims=True)).max(axis=1) / x.std(axis=1, ddof=1)
        critical = outliers.judge_furthest(x[0]).critical
        assert (g > critical).mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 8000))


def test_outlier_edges() -> None:
    assert not outliers.judge_furthest([2, 2, 2]).outlier
    assert outliers.find_extreme_deviates([2, 2, 2]).outliers == ()
    # Two masked outliers: the furthest alone does not stand out, up to two do.
    masked = [*np.random.default_rng(2).normal(0, 1, 20), 9.0, 9.1]
    assert len(outliers.find_extreme_deviates(masked, 4).outliers) == 2
    for call in (
        lambda: outliers.judge_furthest([1, 2]),
        lambda: outliers.judge_furthest([1, 2, 3], side="left"),  # type: ignore[arg-type] # wrong on purpose
        lambda: outliers.judge_several([1, 2, 3], 2),
        lambda: outliers.find_extreme_deviates([1, 2, 3], 0),
    ):
        with pytest.raises(StatisticsError):
            call()


def test_normality_of_exact_readings_keeps_its_level_and_sees_skew() -> None:
    rng = np.random.default_rng(3)
    found = [normality.check_normality(rng.normal(5, 2, 20)) for _ in range(2000)]
    for p in ([f.anderson_darling_p for f in found], [f.shapiro_wilk_p for f in found]):
        assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 2000))
    skewed = normality.check_normality(rng.exponential(size=60))
    assert skewed.anderson_darling_p is not None
    assert skewed.shapiro_wilk_p is not None
    assert skewed.anderson_darling_p < 0.001
    assert skewed.shapiro_wilk_p < 0.001


def test_anderson_darling_against_its_definition() -> None:
    x = np.sort(np.random.default_rng(4).normal(5, 2, 17))
    u = stats.norm.cdf((x - x.mean()) / x.std(ddof=1))
    i = np.arange(1, 18)
    squared = -17 - np.mean((2 * i - 1) * (np.log(u) + np.log(1 - u[::-1])))
    assert normality.check_normality(x).anderson_darling == pytest.approx(squared, rel=1e-10)
    # D'Agostino & Stephens 1986, table 4.7: modified A squared 0.752 at 5 %, 1.035 at 1 %.
    assert normality._p_value(0.752, 10**9) == pytest.approx(0.05, abs=0.001)
    assert normality._p_value(1.035, 10**9) == pytest.approx(0.01, abs=0.0005)


@pytest.mark.parametrize(("n", "step"), [(20, 1.0), (60, 1.5)])
def test_normality_of_rounded_readings_keeps_its_level_and_sees_skew(n: int, step: float) -> None:
    rng = np.random.default_rng(5)
    plain, level, power = [], [], []
    for _ in range(100):
        x = np.round((rng.normal(0, 1, n) + rng.uniform()) / step) * step
        found = normality.check_normality(x, step=step, trials=199)
        level.append((found.anderson_darling_p, found.shapiro_wilk_p))
        plain.append(normality.check_normality(x).anderson_darling_p)
        skew = np.round(rng.exponential(1.5, n) / step) * step
        power.append(normality.check_normality(skew, step=step, trials=199).shapiro_wilk_p)
    # Taken as exact, rounded normal readings look far from normal; with the step they do not.
    assert np.mean(np.array(plain) < 0.05) > 0.25
    for p in np.array(level).T:
        assert np.mean(p < 0.05) < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 100)
        assert 0.25 < np.mean(p < 0.5) < 0.75
    assert np.mean(np.array(power) < 0.05) > 0.5


def test_normality_edges() -> None:
    assert normality.check_normality([1, 1, 1]).warnings == ("all readings are equal",)
    assert normality.check_normality([1, 2, 1, 2, 1, 1], step=1).anderson_darling_p is None
    assert "step" in normality.check_normality([1, 2, 1, 2, 3, 2, 2, 1] * 4).warnings[0]
    assert normality.check_normality(np.random.default_rng(1).normal(size=6000)).shapiro_wilk is None
    with pytest.raises(TooFewError):
        normality.check_normality([1, 2])
    near = normality.check_normality([0.1, 0.4, 0.2, 0.7, 0.3])
    far = normality.check_normality(np.array([0.1, 0.4, 0.2, 0.7, 0.3]) + 1e7)
    assert far.anderson_darling == pytest.approx(near.anderson_darling, rel=1e-6)


def test_normal_scores() -> None:
    # Blom 1958: for five readings the scores are those of (i - 3/8)/(5 1/4).
    expected = stats.norm.ppf((np.arange(1, 6) - 0.375) / 5.25)
    assert normality.normal_scores([50, 10, 20, 40, 30]) == pytest.approx(expected[[4, 0, 1, 3, 2]])
    assert normality.normal_scores([7, 7]).tolist() == [0, 0]


@pytest.mark.parametrize(
    ("name", "draw", "reference"),
    [
        ("gamma", lambda r, n: r.gamma(3, 2, n), lambda x: stats.gamma.fit(x, floc=0)),
        ("lognormal", lambda r, n: r.lognormal(1, 0.8, n), lambda x: stats.lognorm.fit(x, floc=0)),
        ("Weibull", lambda r, n: 4 * r.weibull(1.3, n), lambda x: stats.weibull_min.fit(x, floc=0)),
    ],
)
def test_shapes_against_scipy(name: str, draw: Any, reference: Any) -> None:
    x = draw(np.random.default_rng(6), 400)
    found = shape_fit.choose_shape(x, trials=39)
    fitted = next(f for f in found.tried if f.name == name)
    law = {"gamma": stats.gamma, "lognormal": stats.lognorm, "Weibull": stats.weibull_min}[name]
    shape, _, scale = reference(x)
    assert fitted.log_likelihood == pytest.approx(law.logpdf(x, shape, 0, scale).sum(), abs=1e-4)
    points = law.ppf([0.00135, 0.5, 0.99865], shape, 0, scale)
    assert (fitted.low, fitted.median, fitted.high) == pytest.approx(points, rel=2e-3)
    assert found.best.criterion <= fitted.criterion
    assert found.fits


def test_exponential_percentiles() -> None:
    # Exponential with mean 1: 0.0013509, 0.6931472, 6.6076507 (closed form); fitted as Weibull or gamma.
    x = -np.log1p(-(np.arange(100_000) + 0.5) / 100_000)
    for fitted in shape_fit.choose_shape(x, trials=1).tried:
        if fitted.name in ("gamma", "Weibull"):
            assert fitted.median == pytest.approx(0.6931472, rel=1e-3)
            assert fitted.high == pytest.approx(6.6076507, rel=2e-3)
            assert fitted.low == pytest.approx(0.0013509, rel=2e-2)


def test_shape_of_rounded_flatness() -> None:
    fits, scales, ahead = [], [], []
    for seed in range(12):
        x = np.round(np.abs(np.random.default_rng(seed).normal(0, 2.5, 120)))
        found = shape_fit.choose_shape(x, step=1, trials=99)
        tried = {f.name: f for f in found.tried}
        fits.append(found.fits)
        scales.append(tried["half-normal"].parameters["scale"])
        ahead.append(tried["normal"].criterion - tried["half-normal"].criterion)
    assert sum(fits) >= 10
    assert np.mean(scales) == pytest.approx(2.5, rel=0.07)
    assert min(ahead) > 2


def test_no_shape_fits_two_heaps() -> None:
    rng = np.random.default_rng(8)
    x = np.concatenate([rng.normal(10, 0.3, 60), rng.normal(20, 0.3, 60)])
    found = shape_fit.choose_shape(x)
    assert not found.fits
    assert "no shape fits well: use percentile limits" in found.warnings


def test_shape_edges() -> None:
    assert "below half the smallest" in shape_fit.choose_shape([0, 0, 1, 2, 3, 1, 2, 4, 2]).warnings[0]
    far = shape_fit.choose_shape(1e7 + np.random.default_rng(9).normal(0, 0.1, 40), bound=None)
    assert far.best.name == "normal"
    assert far.best.parameters["sd"] == pytest.approx(0.1, rel=0.4)
    for values in ([1] * 9, [1, 2, 3], [-1, *range(1, 9)]):
        with pytest.raises(StatisticsError):
            shape_fit.choose_shape(values)


def test_percentile_limits() -> None:
    found = percentiles.limit_by_percentiles(np.arange(1, 1000), false_alarm=0.01)
    assert (found.lower, found.upper) == pytest.approx((5, 995))
    assert found.reached == pytest.approx(0.01)
    few = percentiles.limit_by_percentiles([3, 1, 2])
    assert (few.lower, few.upper, few.reached) == (1, 3, 0.5)
    assert few.warnings
    # A skewed process passes them as often as they say.
    rng = np.random.default_rng(10)
    outside = 0
    for _ in range(4000):
        x = rng.exponential(size=40)
        limits = percentiles.limit_by_percentiles(x[:39], false_alarm=0.05)
        outside += not limits.lower <= x[39] <= limits.upper
    assert outside / 4000 == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


def test_percentile_interval_ranks() -> None:
    # Median of 10: the 95 % interval is the 2nd to the 9th (binomial, 97.9 % reached), as tables give.
    found = percentiles.estimate_percentile(np.arange(1, 11), 0.5)
    assert (found.value, found.lower, found.upper) == (5.5, 2, 9)
    assert percentiles.estimate_percentile([1, 2, 3], 0.5).lower == float("-inf")
    # ISO 16269-6: 93 readings for 95/95 between the extremes.
    assert percentiles.shape_free_confidence(93, 0.95) >= 0.95 > percentiles.shape_free_confidence(92, 0.95)
    assert percentiles.shape_free_confidence(93, 0.95) == pytest.approx(1 - 93 * 0.95**92 + 92 * 0.95**93)
