"""Maximum of a log posterior by Newton's method with exact derivatives, and the Laplace approximation there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_ROUNDS, _HALVINGS = 60, 12
_LONGEST_STEP = 3.0
_SMALLEST_CURVATURE = 1e-3


class Hill(Protocol):
    """A log density with derivatives."""

    def value(self, points: FloatArray) -> FloatArray:
        """Log density (K,) at points (K, P)."""
        ...

    def derivatives(self, u: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Log density, gradient (P,), Hessian (P, P) at u (P,)."""
        ...


@dataclass(frozen=True, slots=True)
class Mode:
    """The maximum ``u`` (P,), the log density there, and ``root`` (P, P) with root @ root.T = covariance by Laplace."""

    u: FloatArray
    value: float
    root: FloatArray

    @property
    def covariance(self) -> FloatArray:
        """Laplace covariance (P, P): inverse of the negative Hessian at the maximum."""
        return np.asarray(self.root @ self.root.T)

    @property
    def log_evidence(self) -> float:
        """Laplace's integral of the density: value + P/2 ln 2 pi + ln det root."""
        sign_free = float(np.linalg.slogdet(self.root)[1])
        return self.value + 0.5 * len(self.u) * float(np.log(2 * np.pi)) + sign_free


def maximise(hill: Hill, start: FloatArray, tolerance: float = 1e-9, longest_step: float = _LONGEST_STEP) -> Mode:
    """Climb from ``start`` (P,) until the expected rise falls below ``tolerance``.

    Where the density is not concave the curvature's absolute value is used (saddle-free Newton: Dauphin et al.,
    NIPS 2014), so that every step climbs; steps are shortened until they do.
    """
    u = np.array(start, dtype=float)
    value, gradient, hessian = hill.derivatives(u)
    for _ in range(_ROUNDS):
        step = _step(gradient, hessian)
        length = float(np.linalg.norm(step))
        step *= min(1.0, longest_step / max(length, 1e-12))
        if float(gradient @ step) < tolerance:
            break
        better = _shortened(hill, u, value, gradient, step)
        if better is None:
            break
        u = better
        value, gradient, hessian = hill.derivatives(u)
    return Mode(u, value, _root(hessian))


def _step(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    try:
        factor = np.linalg.cholesky(-hessian)
        return np.asarray(np.linalg.solve(factor.T, np.linalg.solve(factor, gradient)))
    except np.linalg.LinAlgError:
        size, axes = np.linalg.eigh(-hessian)
        return np.asarray(axes @ ((axes.T @ gradient) / np.maximum(np.abs(size), _SMALLEST_CURVATURE)))


def _shortened(hill: Hill, u: FloatArray, value: float, gradient: FloatArray, step: FloatArray) -> FloatArray | None:
    """The longest of halved steps that climbs enough (Armijo), None if none does."""
    rise = float(gradient @ step)
    for _ in range(_HALVINGS):
        trial = u + step
        if float(hill.value(trial[None])[0]) >= value + 1e-4 * rise:
            return trial
        step, rise = step / 2, rise / 2
    return None


def _root(hessian: FloatArray) -> FloatArray:
    """Square root of the inverse of the negative Hessian; directions without curvature get a wide but finite spread."""
    size, axes = np.linalg.eigh(-(hessian + hessian.T) / 2)
    return np.asarray(axes / np.sqrt(np.maximum(np.abs(size), 1e-12)))
