"""The gate of every statistic: its arguments are what they are said to be, or a StatisticsError names the one.

Series of readings go through `series.read_values`, which says more of them.
"""

from __future__ import annotations

from qclog.domain import checking
from qclog.errors import StatisticsError

checked = checking.checked(StatisticsError)
