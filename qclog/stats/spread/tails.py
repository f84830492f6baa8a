"""How heavy the tails of standardised readings are, and how unlikely each is given that."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import special

from qclog.errors import StatisticsError
from qclog.stats.base.gate import checked
from qclog.stats.base.series import Floats, read_number, read_values

FREEDOMS = np.array([2.2, 2.6, 3, 3.5, 4, 5, 6, 8, 10, 14, 20, 40, np.inf])
FEWEST = 60
OUTER = 0.003  # share of the values that may be faults: they count only as lying beyond the others
FAULTS, FAULTS_SHARE = 4, 0.006  # so many of those beyond may be faults in a series of hundreds
CLEAR = 5.0  # log of the likelihood by which Student's t must beat the normal
UNSURE = 1.0  # log of the likelihood: of tails that fit so nearly alike the heaviest is taken
CELL, REACH = 0.1, 8.0  # of the cells in which values are counted, in spreads
_SCALES = np.exp(np.linspace(np.log(0.45), np.log(1.3), 28))
_SMEARED = np.array([-0.4, -0.2, 0.0, 0.2, 0.4])


@dataclass(frozen=True, slots=True)
class Tail:
    """One side of a distribution: Student's t with `freedom` (infinite: normal) times `scale`; n values looked at."""

    n: int
    freedom: float
    scale: float


@checked
def fit_tail(
    distances: npt.ArrayLike, steps: npt.ArrayLike = 0.0, *, outer: float = OUTER, kin: Tail | None = None
) -> Tail:
    """The tail of distances from the middle (one-dimensional, in spreads), read in `steps` (one for each or for all).

    Student's t by likelihood over a grid of degrees of freedom and scales, in cells of a tenth of a spread over which
    each value is spread as wide as its step. The `outer` share, at least six, counts only as lying beyond the others,
    and of a kind without heavy kin four of them not even so, so that a few faults make no heavy tail. It stays the
    normal with scale 1 unless t is clearly likelier; that of its `kin` is taken where that is at least as likely as the
    normal. Fewer than 60 values have the tail of their kin.

    Raises
    ------
    StatisticsError : see `series.read_values`; `outer` not from 0 to 1, `steps` below 0 or of another length.

    Source: censored maximum likelihood, as in Lawless, Statistical Models and Methods for Lifetime Data (2003), ch. 2.
    """
    values = read_values(distances, "distances", minimum=0)
    n = len(values)
    width = read_values(np.atleast_1d(steps), "steps", minimum=0)
    if len(width) not in (1, n) or (width < 0).any():
        raise StatisticsError(
            "one step of 0 or more, or one for each", field="steps", found=f"{len(width)} steps", hint=f"give 1 or {n}"
        )
    share = read_number(outer, "outer", at_least=0, below=1)
    plain = Tail(n, float("inf"), 1.0)
    related = kin if kin is not None and np.isfinite(kin.freedom) else None
    if n < FEWEST:
        return plain if related is None else Tail(n, related.freedom, related.scale)
    width = np.minimum(width, REACH)  # as far apart as that, nothing is seen of a shape
    smeared = np.abs(values + np.multiply.outer(_SMEARED, np.broadcast_to(width, n))).ravel()
    cells = np.minimum(smeared / CELL, round(REACH / CELL)).astype(np.int64)
    counts = np.bincount(cells, minlength=round(REACH / CELL) + 1) / len(_SMEARED)
    beyond = np.cumsum(counts[::-1])[::-1]  # in this cell or farther out
    last = min(
        int(np.flatnonzero(beyond > min(max(6.0, share * n), n - 1))[-1]) + 1, len(beyond) - 1
    )  # just beyond the others
    spared = min(FAULTS, FAULTS_SHARE * n) if related is None else 0.0
    out = max(0.0, float(beyond[last]) - spared)
    inside, outside = _table()
    likelihood = np.tensordot(inside[:, :, :last], counts[:last], axes=1) + out * outside[:, :, last]
    best = likelihood.max(axis=1)
    if best.max() >= best[-1] + CLEAR:
        row = int(np.flatnonzero(best >= best.max() - UNSURE)[0])
        return Tail(n, float(FREEDOMS[row]), float(_SCALES[int(np.argmax(likelihood[row]))]))
    if related is not None:
        row = int(np.argmin(np.abs(FREEDOMS - related.freedom)))
        if best[row] >= best[-1]:
            return Tail(n, related.freedom, float(_SCALES[int(np.argmax(likelihood[row]))]))
    return plain


@checked
def normal_scores(distances: npt.ArrayLike, tail: Tail) -> Floats:
    """Normal distances as unlikely as these (0 or more, in spreads) are under the tail.

    Raises
    ------
    StatisticsError : see `series.read_values`.
    """
    values = read_values(distances, "distances", minimum=0)
    if np.isinf(tail.freedom):
        return values / tail.scale
    beyond = special.stdtr(tail.freedom, -values / tail.scale)
    return np.asarray(-special.ndtri(np.maximum(beyond, 1e-300)))


@cache
def _table() -> tuple[Floats, Floats]:
    """For each degrees of freedom and scale: log of the chance of each cell, and of lying in it or beyond."""
    edges = np.arange(round(REACH / CELL) + 1) * CELL
    at = edges[None, None, :] / _SCALES[None, :, None]
    upper = np.empty((len(FREEDOMS), *at.shape[1:]))
    upper[:-1] = special.stdtr(FREEDOMS[:-1, None, None], -at)
    upper[-1] = special.ndtr(-at[0])
    chance = np.concatenate([upper[:, :, :-1] - upper[:, :, 1:], upper[:, :, -1:]], axis=2)
    return np.log(np.maximum(2 * chance, 1e-300)), np.log(np.maximum(2 * upper, 1e-300))
