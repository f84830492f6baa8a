"""Turning what a caller has into checked numbers: the one gate every statistic goes through."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from qclog.domain.checking import LARGEST
from qclog.errors import StatisticsError, TooFewError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def read_values(values: npt.ArrayLike, field: str = "values", *, minimum: int = 1) -> Floats:
    """Check a series of readings and give it as a float array.

    Parameters
    ----------
    values : one-dimensional, any unit. NaN, null and infinities are refused: a missing reading is left out by
        the caller, who knows why it is missing.
    field : name used in errors.
    minimum : how many are needed.

    Raises
    ------
    StatisticsError : not numbers, not one-dimensional, or not finite.
    TooFewError : fewer than `minimum`.
    """
    try:
        raw = np.asarray(values)
        if raw.dtype.kind in "USMm":
            raise TypeError("text or times")
        array = raw.astype(np.float64, copy=False)
    except (TypeError, ValueError) as error:
        raise StatisticsError(
            f"{field} must be numbers", field=field, found=_short(values), hint="give a list of plain numbers"
        ) from error
    if array.ndim != 1:
        raise StatisticsError(
            f"{field} must be one list of numbers",
            field=field,
            found=f"{array.ndim} dimensions",
            hint="give one series at a time",
        )
    if array.size < minimum:
        raise TooFewError(
            f"{field} has {array.size}, and {minimum} or more are needed",
            field=field,
            found=array.size,
            hint="wait for more readings",
        )
    usable = np.abs(array) < LARGEST
    if not usable.all():
        bad = int(array.size - np.count_nonzero(usable))
        where = int(np.flatnonzero(~usable)[0])
        raise StatisticsError(
            f"{bad} of {array.size} in {field} are missing, infinite or absurdly large, the first at place {where + 1}",
            field=field,
            found=array[where],
            hint="leave out what was not measured",
        )
    return array


def read_groups(
    groups: Sequence[npt.ArrayLike], field: str = "groups", *, minimum_groups: int = 2, minimum_each: int = 1
) -> tuple[Floats, ...]:
    """Check several series, one for each group.

    Raises
    ------
    StatisticsError, TooFewError : as `read_values`, naming the group; fewer than `minimum_groups` groups.
    """
    if isinstance(groups, str) or not hasattr(groups, "__len__"):
        raise StatisticsError(f"{field} must be a list of series", field=field, found=_short(groups))
    arrays = tuple(read_values(g, f"{field}[{i}]", minimum=minimum_each) for i, g in enumerate(groups))
    if len(arrays) < minimum_groups:
        raise TooFewError(
            f"{field} has {len(arrays)}, and {minimum_groups} or more are needed",
            field=field,
            found=len(arrays),
            hint="there is nothing to compare",
        )
    return arrays


def read_number(
    value: float,
    field: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
) -> float:
    """Check one setting; `above` and `below` are themselves refused, `at_least` is allowed.

    Raises
    ------
    StatisticsError : not a finite number, or outside the bounds.
    """
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise StatisticsError(f"{field} must be a number", field=field, found=value, hint="give one number") from error
    wants = [
        word
        for word, broken in (
            (f"above {above:g}" if above is not None else "", above is not None and not number > above),
            (
                f"{at_least:g} or more" if at_least is not None else "",
                at_least is not None and not number >= at_least,
            ),
            (f"below {below:g}" if below is not None else "", below is not None and not number < below),
        )
        if broken
    ]
    if not abs(number) < LARGEST or wants:
        need = " and ".join(wants) or "finite, and not absurdly large"
        raise StatisticsError(f"{field} must be {need}", field=field, found=value, hint=f"give a number {need}")
    return number


def read_probability(value: float, field: str = "confidence") -> float:
    """Check a share strictly between 0 and 1.

    Raises
    ------
    StatisticsError : outside 0 to 1.
    """
    return read_number(value, field, above=0.0, below=1.0)


MOST_TRIALS = 1_000_000


def read_trials(value: int) -> int:
    """Check a number of seeded samples: 1 to a million.

    Raises
    ------
    StatisticsError : another.
    """
    if not 1 <= value <= MOST_TRIALS:
        raise StatisticsError(
            f"trials are 1 to {MOST_TRIALS:,}", field="trials", found=value, hint="a few thousand are plenty"
        )
    return value


_BATCH = 2_000_000


def in_batches(trials: int, size: int) -> Iterator[int]:
    """How many samples of `size` to draw at once, so that what they take stays the same however many there are."""
    most = max(1, _BATCH // max(1, size))
    while trials > 0:
        yield min(most, trials)
        trials -= most


def read_starts(starts: npt.ArrayLike, size: int) -> npt.NDArray[np.intp]:
    """Check where series laid end to end begin: whole places, rising from 0, none of them empty.

    Raises
    ------
    StatisticsError : others.
    """
    places = read_values(starts, "starts")
    begin = places.astype(np.intp)
    if begin[0] != 0 or bool((np.diff(begin) < 1).any()) or bool((begin != places).any()):
        raise StatisticsError("starts must rise from 0", field="starts", hint="give where each series begins")
    if begin[-1] >= size:
        raise StatisticsError("the last series is empty", field="starts", found=int(begin[-1]))
    return begin


def centre_and_deviations(array: Floats) -> tuple[float, Floats]:
    """Mean, and deviations that sum to zero to the last digit, also for 10000000.2 with a spread of 0.1."""
    rough = float(array.mean())
    deviations = array - rough
    correction = float(deviations.mean())
    return rough + correction, deviations - correction


def sum_of_squares(array: Floats) -> float:
    """Sum of squared deviations from the mean, by the corrected two-pass rule."""
    if array.size == 0:
        return 0.0
    _, deviations = centre_and_deviations(array)
    return float(deviations @ deviations)


def standard_deviation(array: Floats) -> float:
    """Standard deviation with n - 1, in the unit of the readings; `array` needs two or more."""
    return float(np.sqrt(sum_of_squares(array) / (array.size - 1)))


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
