"""Mean, tilt and saddle of readings taken at equally spaced places round a face.

The first harmonic of the readings is a tilt (or, on a turning part, a run-out); the second is a saddle (or an
ovality). Functions take the readings in order round the face and work on floats, or on arrays of one value per
unit, alike.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import Any


def mean_of(values: Sequence[Any]) -> Any:
    """The mean over the positions that were read; NaN where none was."""
    if _arrays(values):
        import numpy as np

        stack = np.stack(values)
        count = np.sum(~np.isnan(stack), axis=0)
        return np.where(count > 0, np.nansum(stack, axis=0) / np.maximum(count, 1), np.nan)
    read = _read(values)
    return sum(read[1:], start=read[0]) / len(read) if read else float("nan")


def largest_of(values: Sequence[Any]) -> Any:
    """The largest over the positions that were read; NaN where none was."""
    if _arrays(values):
        import numpy as np

        return np.fmax.reduce(np.stack(values))
    return max(_read(values), default=float("nan"))


def smallest_of(values: Sequence[Any]) -> Any:
    """The smallest over the positions that were read; NaN where none was."""
    if _arrays(values):
        import numpy as np

        return np.fmin.reduce(np.stack(values))
    return min(_read(values), default=float("nan"))


def spread_of(values: Sequence[Any]) -> Any:
    """Largest less smallest over the positions that were read; NaN where fewer than two were."""
    if _arrays(values):
        import numpy as np

        spread = largest_of(values) - smallest_of(values)
        return np.where(np.sum(~np.isnan(np.stack(values)), axis=0) > 1, spread, np.nan)
    return largest_of(values) - smallest_of(values) if len(_read(values)) > 1 else float("nan")


def is_array(value: object) -> bool:
    """Whether it is an array; numpy is not loaded to ask, since nobody has one without it."""
    numpy = sys.modules.get("numpy")
    return numpy is not None and isinstance(value, numpy.ndarray)


def _arrays(values: Sequence[Any]) -> bool:
    return is_array(values[0])


def _read(values: Sequence[Any]) -> list[Any]:
    return [v for v in values if v == v]  # noqa: PLR0124 - NaN is the only value unequal to itself


def harmonic(values: Sequence[Any], order: int) -> tuple[Any, Any]:
    """Cosine and sine amplitudes of harmonic `order` for equally spaced positions, the first at angle 0.

    For the highest harmonic of an even count (order = n/2) only the cosine exists and its factor is 1/n.
    """
    n = len(values)
    angles = [2 * math.pi * order * i / n for i in range(n)]
    factor = (1 if 2 * order == n else 2) / n
    cosine = sum(v * math.cos(a) for v, a in zip(values, angles, strict=True)) * factor
    sine = sum(v * math.sin(a) for v, a in zip(values, angles, strict=True)) * factor
    return cosine, sine


def _length(cosine: Any, sine: Any) -> Any:
    if is_array(cosine):
        import numpy as np

        return np.hypot(cosine, sine)
    return math.hypot(cosine, sine)


def tilt_of(values: Sequence[Any]) -> Any:
    """Total out-of-true across the face: twice the amplitude of the first harmonic. Needs 3 or more positions.

    For positions 12, 3, 6, 9 this is 2 sqrt(((x12 - x6)/2)^2 + ((x3 - x9)/2)^2).
    """
    cosine, sine = harmonic(values, 1)
    return 2 * _length(cosine, sine)


def saddle_of(values: Sequence[Any]) -> Any:
    """Amplitude of the second harmonic, signed for 4 positions: (x12 + x6 - x3 - x9)/4. Needs 4 or more."""
    cosine, sine = harmonic(values, 2)
    return cosine if len(values) == 4 else _length(cosine, sine)
