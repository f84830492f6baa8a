"""The shapes a skewed or bounded characteristic may take, each as functions of two positive parameters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from scipy import special

from qclog.stats.base.series import Floats

_LOG_ROOT = 0.5 * log(2 * np.pi)
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Shape:
    """A distribution above 0. `parameters` names what `share_below` and the rest take, in that order."""

    name: str
    parameters: tuple[str, ...]
    share_below: Callable[[Floats, Floats], Floats]
    log_density: Callable[[Floats, Floats], Floats]
    quantile: Callable[[Floats, Floats], Floats]
    start: Callable[[float, float, float, float], Floats]


def _gamma_start(mean: float, sd: float, _log_mean: float, _log_sd: float) -> Floats:
    return np.array([(mean / sd) ** 2, sd**2 / mean])


def _weibull_start(_mean: float, _sd: float, log_mean: float, log_sd: float) -> Floats:
    slope = 1.283 / log_sd
    return np.array([slope, np.exp(log_mean + 0.5772 / slope)])


LOGNORMAL = Shape(
    "lognormal",
    ("median", "log_sd"),
    lambda x, p: np.asarray(special.ndtr((np.log(np.maximum(x, _TINY)) - np.log(p[0])) / p[1])),
    lambda x, p: (
        -((np.log(np.maximum(x, _TINY) / p[0]) / p[1]) ** 2) / 2 - np.log(np.maximum(x, _TINY) * p[1]) - _LOG_ROOT
    ),
    lambda q, p: np.asarray(p[0] * np.exp(p[1] * special.ndtri(q))),
    lambda _m, _s, log_mean, log_sd: np.array([np.exp(log_mean), log_sd]),
)
GAMMA = Shape(
    "gamma",
    ("shape", "scale"),
    lambda x, p: np.asarray(special.gammainc(p[0], np.maximum(x, 0) / p[1])),
    lambda x, p: special.xlogy(p[0] - 1, np.maximum(x, _TINY)) - x / p[1] - p[0] * np.log(p[1]) - special.gammaln(p[0]),
    lambda q, p: np.asarray(p[1] * special.gammaincinv(p[0], q)),
    _gamma_start,
)
WEIBULL = Shape(
    "Weibull",
    ("shape", "scale"),
    lambda x, p: np.asarray(-np.expm1(-((np.maximum(x, 0) / p[1]) ** p[0]))),
    lambda x, p: (
        np.log(p[0] / p[1]) + (p[0] - 1) * np.log(np.maximum(x, _TINY) / p[1]) - (np.maximum(x, 0) / p[1]) ** p[0]
    ),
    lambda q, p: np.asarray(p[1] * (-np.log1p(-q)) ** (1 / p[0])),
    _weibull_start,
)
HALF_NORMAL = Shape(
    "half-normal",
    ("scale",),
    lambda x, p: np.asarray(special.erf(np.maximum(x, 0) / p[0] / sqrt(2))),
    lambda x, p: log(2) - _LOG_ROOT - np.log(p[0]) - (x / p[0]) ** 2 / 2,
    lambda q, p: np.asarray(p[0] * special.ndtri((1 + q) / 2)),
    lambda mean, sd, _lm, _ls: np.array([sqrt(mean**2 + sd**2)]),
)
SKEWED = (LOGNORMAL, GAMMA, WEIBULL, HALF_NORMAL)
