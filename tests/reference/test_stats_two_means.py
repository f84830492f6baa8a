"""Two means with unequal spreads, against Student's sleep data and against SciPy.

Data: Student, The probable error of a mean, Biometrika 6 (1908) 20, table of Cushny and Peebles. The Welch results for
it are those printed in the documentation of the R language for `t.test(extra ~ group, data = sleep)` (from memory).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qclog.errors import TooFewError
from qclog.stats.compare.two_means import compare_two_means

FIRST = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SECOND = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_students_sleep_data() -> None:
    found = compare_two_means(FIRST, SECOND)
    assert found.means == pytest.approx((0.75, 2.33))
    assert found.freedom == pytest.approx(17.776, abs=5e-4)
    assert found.p_value == pytest.approx(0.07939, abs=5e-6)
    assert (found.lower, found.upper) == pytest.approx((-0.2054832, 3.3654832), abs=5e-8)


@given(
    st.lists(st.integers(0, 40), min_size=2, max_size=12),
    st.lists(st.integers(0, 40), min_size=2, max_size=12),
)
def test_against_scipy(first: list[int], second: list[int]) -> None:
    """scipy.stats.ttest_ind with equal_var=False, where both sides have a spread."""
    found = compare_two_means(first, second)
    if min(len(set(first)), len(set(second))) < 2:
        assert found.lower <= found.difference <= found.upper
        return
    test = stats.ttest_ind(second, first, equal_var=False)
    interval = test.confidence_interval(0.95)
    assert found.freedom == pytest.approx(test.df)
    assert found.p_value == pytest.approx(test.pvalue, abs=1e-12)
    assert (found.lower, found.upper) == pytest.approx((interval.low, interval.high), abs=1e-9)


def test_one_reading_is_too_few() -> None:
    with pytest.raises(TooFewError):
        compare_two_means([1.0], [2.0, 3.0])
