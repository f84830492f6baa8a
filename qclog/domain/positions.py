"""Mean, tilt and saddle of readings taken at equally spaced places round a face.

The first harmonic of the readings is a tilt (or, on a turning part, a run-out); the second is a saddle (or an
ovality). Functions take the readings in order round the face and work on floats, or on arrays of one value per
unit, alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np


def mean_of(values: Sequence[Any]) -> Any:
    """The mean over the positions; NaN where any is missing."""
    return sum(values[1:], start=values[0]) / len(values)


def spread_of(values: Sequence[Any]) -> Any:
    """Largest less smallest (the spread of a stand-off, the variation of a backlash)."""
    return np.max(np.stack(values), axis=0) - np.min(np.stack(values), axis=0)


def harmonic(values: Sequence[Any], order: int) -> tuple[Any, Any]:
    """Cosine and sine amplitudes of harmonic `order` for equally spaced positions, the first at angle 0.

    For the highest harmonic of an even count (order = n/2) only the cosine exists and its factor is 1/n.
    """
    n = len(values)
    angles = 2 * np.pi * order * np.arange(n) / n
    factor = (1 if 2 * order == n else 2) / n
    cosine = sum(v * c for v, c in zip(values, np.cos(angles), strict=True)) * factor
    sine = sum(v * s for v, s in zip(values, np.sin(angles), strict=True)) * factor
    return cosine, sine


def tilt_of(values: Sequence[Any]) -> Any:
    """Total out-of-true across the face: twice the amplitude of the first harmonic. Needs 3 or more positions.

    For positions 12, 3, 6, 9 this is 2 sqrt(((x12 - x6)/2)^2 + ((x3 - x9)/2)^2).
    """
    cosine, sine = harmonic(values, 1)
    return 2 * np.hypot(cosine, sine)


def saddle_of(values: Sequence[Any]) -> Any:
    """Amplitude of the second harmonic, signed for 4 positions: (x12 + x6 - x3 - x9)/4. Needs 4 or more."""
    cosine, sine = harmonic(values, 2)
    return cosine if len(values) == 4 else np.hypot(cosine, sine)
