"""Worked-out numbers on paper: what doubles leave over is not shown as a measurement."""

from __future__ import annotations

import pytest

from qclog.domain.sheets.casetypes import Characteristic
from qclog.words.numbers import number_text
from qclog.words.sentences import value_text

TILT = Characteristic("tilt", "Tilt across the face", "thou", formula="tilt(stand_off)")


@pytest.mark.parametrize("leftover", [0.1 + 0.2 - 0.3, 0.3 - 0.1 - 0.2, 1e-15, -3e-15])
def test_what_sums_in_doubles_leave_over_is_nothing(leftover: float) -> None:
    assert leftover != 0
    assert number_text(leftover, TILT) == "0"
    assert number_text(leftover, TILT, u=1e-16) == "0"
    assert number_text(leftover, TILT, u=0.4) == "0.0"
    assert value_text(leftover, TILT) == "0 thou"
