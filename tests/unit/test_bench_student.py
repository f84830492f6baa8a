"""The quantile of t against the published table and against scipy."""

from __future__ import annotations

import pytest
from scipy import special

from qclog.bench.student import t_quantile

# Abramowitz & Stegun (1964), Table 26.10, percentage points of the t distribution, A(t) = 0.95 (two-sided); the digits
# are from memory
PRINTED = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 10: 2.228, 20: 2.086, 30: 2.042, 60: 2.000, 120: 1.980}


@pytest.mark.parametrize(("freedom", "printed"), PRINTED.items())
def test_quantiles_agree_with_the_printed_table(freedom: int, printed: float) -> None:
    assert t_quantile(0.975, freedom) == pytest.approx(printed, abs=0.0005)


@pytest.mark.parametrize("share", [0.5, 0.6, 0.9, 0.975, 0.999])
@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 7, 8, 15, 16, 31, 100, 101, 999, 1000, 4999, 5000, 5001, 1_000_000])
def test_quantiles_agree_with_scipy(share: float, freedom: int) -> None:
    assert t_quantile(share, freedom) == pytest.approx(special.stdtrit(freedom, share), rel=1e-10, abs=1e-12)


@pytest.mark.parametrize(("share", "freedom"), [(0.975, 0), (0.975, -3), (1.0, 5), (0.2, 5)])
def test_what_has_no_quantile_is_refused(share: float, freedom: int) -> None:
    with pytest.raises(ValueError, match="no such quantile"):
        t_quantile(share, freedom)
