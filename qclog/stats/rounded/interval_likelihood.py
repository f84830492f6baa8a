"""The log-likelihood of a normal for readings that are intervals, and its maxima."""

from __future__ import annotations

from math import log, sqrt

import numpy as np

from qclog.errors import StatisticsError
from qclog.stats.base.series import Floats

_LOG_ROOT = 0.5 * log(2 * np.pi)
_NARROW = 1e-4


class IntervalLikelihood:
    """Readings on an inner scale, with alpha = mean/spread and beta = 1/spread there.

    inner = (reading - `shift`) / `scale`; `jacobian` turns the inner log-likelihood into that of the
    readings. Equal intervals are counted once.
    """

    def __init__(self, low: Floats, high: Floats) -> None:
        with np.errstate(invalid="ignore"):
            halfway = low + (high - low) / 2
        middle = np.where(np.isinf(low), high, np.where(np.isinf(high), low, halfway))
        self.shift = float(np.median(middle))
        width = np.where(np.isfinite(high - low), high - low, 0.0)
        self.scale = float(np.hypot(np.std(middle), width.mean())) or 1.0
        pairs, counts = np.unique(np.stack([low, high]), axis=1, return_counts=True)
        self._low = (pairs[0] - self.shift) / self.scale
        self._high = (pairs[1] - self.shift) / self.scale
        self._count = counts.astype(np.float64)
        exact = pairs[0] == pairs[1]
        self.jacobian = -float(self._count[exact].sum()) * log(self.scale)
        self._finite_low = np.where(np.isinf(self._low), 0.0, self._low)
        self._finite_high = np.where(np.isinf(self._high), 0.0, self._high)
        self._middle = (self._finite_low + self._finite_high) / 2
        self._thickness = np.where(exact, 1.0, self._finite_high - self._finite_low)
        inner = (middle - self.shift) / self.scale
        self._beta = 1.0
        self._start = (float(inner.mean()), float(max(np.std(inner), 0.3 * width.mean() / self.scale, 1e-3)))

    def slopes(self, alpha: float, beta: float) -> tuple[float, Floats, Floats]:
        """Log-likelihood, gradient and Hessian in (alpha, beta)."""
        low, high = beta * self._low - alpha, beta * self._high - alpha
        # A cell this thin is its mid-point for all that doubles can tell.
        point = high - low < _NARROW
        count, held = self._count * ~point, self._count * point
        z = np.where(point, beta * self._middle - alpha, 0.0)
        flat = np.where(point, beta * self._thickness, 1.0)
        value = float(held @ (-(z**2) / 2 - _LOG_ROOT + np.log(flat)))
        gradient = np.array([held @ z, -(held @ (z * self._middle)) + held.sum() / beta])
        mixed = float(held @ self._middle)
        hessian = np.array([[-held.sum(), mixed], [mixed, -(held @ self._middle**2) - held.sum() / beta**2]])
        if not count.any():
            return value, gradient, hessian
        mass, r_low, r_high = _cell(np.where(point, -1.0, low), np.where(point, 1.0, high))
        z_low, z_high = np.where(r_low > 0, low, 0.0), np.where(r_high > 0, high, 0.0)
        at_low, at_high = -r_low, r_high
        low2, high2 = z_low * r_low - r_low**2, -z_high * r_high - r_high**2
        cross = r_low * r_high
        x_low, x_high = self._finite_low, self._finite_high
        gradient += [-(count @ (at_low + at_high)), count @ (at_low * x_low + at_high * x_high)]
        mixed = -(count @ (low2 * x_low + high2 * x_high + cross * (x_low + x_high)))
        both = count @ (low2 * x_low**2 + high2 * x_high**2 + 2 * cross * x_low * x_high)
        hessian += [[count @ (low2 + high2 + 2 * cross), mixed], [mixed, both]]
        return value + float(count @ mass), gradient, hessian

    def maximise(self) -> tuple[float, float, float]:
        """alpha, beta and the log-likelihood at the maximum.

        Raises
        ------
        StatisticsError : no convergence, which a concave function should not show.
        """
        mean, sd = self._start
        at = np.array([mean / sd, 1 / sd])
        value, gradient, hessian = self.slopes(at[0], at[1])
        for _ in range(200):
            step = np.linalg.solve(hessian - 1e-12 * np.eye(2) * abs(np.trace(hessian)), -gradient)
            gain = float(gradient @ step)
            if gain < 1e-16 * (1 + abs(value)):
                self._beta = float(at[1])
                return float(at[0]), float(at[1]), value
            size = 1.0
            while at[1] + size * step[1] <= 0.05 * at[1]:
                size /= 2
            for _ in range(60):
                following = at + size * step
                new = self.slopes(following[0], following[1])
                if new[0] >= value + 1e-4 * size * gain or size * gain < 1e-13 * (1 + abs(value)):
                    break
                size /= 2
            at, (value, gradient, hessian) = following, new
        raise StatisticsError("no fit was found", field="lower, upper", hint="look for a mistyped bracket")

    def best_for_mean(self, mean: float) -> float:
        """Largest log-likelihood with the (inner) mean held."""
        value, self._beta = self._climb(np.array([mean, 1.0]), np.zeros(2), self._beta, positive=True)
        return value

    def best_for_spread(self, beta: float, mean: float) -> float:
        """Largest log-likelihood with 1/spread held; `mean` is where to begin."""
        value, _ = self._climb(np.array([1.0, 0.0]), np.array([0.0, beta]), mean * beta, positive=False)
        return value

    def _climb(self, along: Floats, origin: Floats, at: float, *, positive: bool) -> tuple[float, float]:
        """Maximum of a concave function of one number, by Newton steps kept inside what is known."""
        low, high = (0.0 if positive else -np.inf), np.inf
        value = -np.inf
        for _ in range(100):
            point = origin + along * at
            value, gradient, hessian = self.slopes(point[0], point[1])
            slope, bend = float(gradient @ along), float(along @ hessian @ along)
            if slope > 0:
                low = at
            else:
                high = at
            step = slope / -bend if bend < 0 else np.sign(slope) * (abs(at) + 1)
            if abs(slope * step) < 1e-13 * (1 + abs(value)):
                return value, at
            following = at + step
            if positive:
                # Far from the maximum one step can be out by orders of magnitude.
                following = min(max(following, at / 8), at * 8)
            if not low < following < high:
                following = (low + high) / 2 if np.isfinite(low + high) else at + np.sign(slope) * (abs(at) + 1)
            at = following
        return value, at


def _cell(low: Floats, high: Floats) -> tuple[Floats, Floats, Floats]:
    """Log of the normal mass between `low` and `high`, and the density at each end over that mass."""
    from scipy import special

    # Mirror cells on the right, where the normal integral has no digits left.
    flip = low > 0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    log_b, ratio_b = special.log_ndtr(b), _hazard(b)
    closed = np.isfinite(a)
    a_finite = np.where(closed, a, np.minimum(b, 0.0) - 1.0)
    ratio_a = _hazard(a_finite)
    # log of Phi(a)/Phi(b); where both are far out, by their hazards, so that nothing cancels.
    far = (b - a_finite) * (b + a_finite) / 2 + np.log(np.where(b < -5, ratio_b / ratio_a, 1.0))
    gap = np.where(b < -5, far, special.log_ndtr(a_finite) - log_b)
    share = np.where(closed, np.exp(np.minimum(gap, 0.0)), 0.0)
    rest = np.maximum(-np.expm1(np.where(closed, gap, -np.inf)), 1e-300)
    near = ratio_b / rest
    away = ratio_a * share / rest
    return log_b + np.log(rest), np.where(flip, near, away), np.where(flip, away, near)


def _hazard(z: Floats) -> Floats:
    """Normal density over the mass below, 0 at infinity."""
    from scipy import special

    left = np.minimum(z, 0.0)
    tail = sqrt(2 / np.pi) / special.erfcx(-left / sqrt(2))
    right = np.maximum(z, 0.0)
    body = np.exp(-(np.minimum(right, 1e10) ** 2) / 2 - _LOG_ROOT) / special.ndtr(right)
    return np.asarray(np.where(z < 0, tail, body), dtype=np.float64)
