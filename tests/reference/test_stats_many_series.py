"""Thousands of series at once give what each gives alone."""

from __future__ import annotations

import numpy as np
import pytest

from qclog.errors import StatisticsError
from qclog.stats.charts import cusum, ewma, limits, many_series, run_tests


@pytest.mark.parametrize("offset", [0.0, 1e7])
def test_scan_is_each_series_alone(offset: float) -> None:
    rng = np.random.default_rng(1)
    sizes = [1, 2, 3, 15, 59, 400, 7, 1, 30]
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    pieces = [np.round(rng.normal(0, 1, n) + np.where(np.arange(n) > n / 2, 1.5, 0), 1) for n in sizes]
    values = np.concatenate([offset * i + piece for i, piece in enumerate(pieces)])
    values[starts[6] : starts[6] + 7] = 4.0
    found = many_series.scan(values, starts)
    assert found.n.tolist() == sizes
    for i, (start, n) in enumerate(zip(starts, sizes, strict=True)):
        here = slice(start, start + n)
        alone = values[here]
        if n < 2 or np.ptp(alone) == 0:
            assert found.sigma[i] == 0
            assert not found.marks[here].any()
            continue
        one = limits.individuals(alone)
        assert found.upper[i] == pytest.approx(one.upper, rel=1e-9)
        assert found.lower[i] == pytest.approx(one.lower, rel=1e-9)
        assert found.enough[i] == one.enough
        for name, marks in run_tests.mark((alone - one.centre) / one.sigma).items():
            assert found.marked(name)[here].tolist() == marks.tolist(), (name, n)
        line = ewma.chart(alone, one.centre, one.sigma)
        assert np.flatnonzero(found.marked("ewma")[here]).tolist() == list(line.signals)
        sums = cusum.chart(alone, one.centre, one.sigma)
        both = found.marked("cusum_high")[here] | found.marked("cusum_low")[here]
        assert np.flatnonzero(both).tolist() == list(sums.signals)


def test_blocks_do_not_show() -> None:
    # 300 series of 1000: several blocks; the middle ones must not feel their neighbours.
    rng = np.random.default_rng(2)
    values = rng.normal(0, 1, 300_000) + np.repeat(rng.normal(0, 100, 300), 1000)
    found = many_series.scan(values, np.arange(0, 300_000, 1000))
    for i in (0, 57, 58, 59, 60, 61, 150, 299):
        here = slice(i * 1000, i * 1000 + 1000)
        alone = many_series.scan(values[here], [0])
        assert found.marks[here].tolist() == alone.marks.tolist()
        assert found.sigma[i] == pytest.approx(alone.sigma[0], rel=1e-12)


def test_scan_edges() -> None:
    for values, starts, tests in (
        ([1, 2, 3], [1], run_tests.NELSON_1984),
        ([1, 2, 3], [0, 2, 2], run_tests.NELSON_1984),
        ([1, 2, 3], [0, 3], run_tests.NELSON_1984),
        ([1, 2, 3], [], run_tests.NELSON_1984),
        ([1, float("nan")], [0], run_tests.NELSON_1984),
        ([1, 2], [0], ["beyond_limit"] * 14),
    ):
        with pytest.raises(StatisticsError):
            many_series.scan(values, starts, tests=tests)
    with pytest.raises(StatisticsError):
        many_series.scan([1, 2, 3], [0]).marked("rule 1")
