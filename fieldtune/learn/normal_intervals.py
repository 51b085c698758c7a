"""Normal probabilities of intervals on the log scale, accurate far out in the tails, with their derivatives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import log_ndtr

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

LOG_SQRT_2PI = 0.9189385332046727
_TINY = 1e-300
_STEEPEST = 300.0


def log_density(x: FloatArray) -> FloatArray:
    """ln of the standard normal density; minus infinity at infinite x."""
    return np.asarray(-0.5 * x * x - LOG_SQRT_2PI)


def log_interval(low: FloatArray, high: FloatArray) -> FloatArray:
    """ln(Phi(high) - Phi(low)) for low < high, either of them infinite; very low where edges crossed on the way.

    Taken in the lower tail by symmetry, as ln Phi(high) + ln(1 - Phi(low)/Phi(high)), so that nothing cancels.
    """
    flip = low > 0
    bottom, top = np.where(flip, -high, low), np.where(flip, -low, high)
    log_top = log_ndtr(top)
    return np.asarray(log_top + np.log(np.maximum(-np.expm1(np.minimum(log_ndtr(bottom) - log_top, 0.0)), _TINY)))


@dataclass(frozen=True, slots=True)
class Terms:
    """Log likelihood of rows and its first and second derivatives in (lower, upper, log scale), each (n,)."""

    value: FloatArray
    lower: FloatArray
    upper: FloatArray
    scale: FloatArray
    lower2: FloatArray
    upper2: FloatArray
    scale2: FloatArray
    lower_upper: FloatArray
    lower_scale: FloatArray
    upper_scale: FloatArray


def interval_terms(lower: FloatArray, upper: FloatArray, log_scale: FloatArray) -> Terms:
    """ln(Phi(upper/s) - Phi(lower/s)) with s = exp(log_scale)."""
    inverse = np.exp(-log_scale)
    a, b = lower * inverse, upper * inverse
    value = log_interval(a, b)
    # An interval that is all but empty is steeper than squares can hold.
    density_a, density_b = (np.exp(np.minimum(log_density(x) - value, _STEEPEST)) for x in (a, b))
    # An infinite edge has no density, and infinity times nothing is nothing here.
    a, b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    da, db = -density_a, density_b
    daa, dbb, dab = a * density_a - density_a**2, -b * density_b - density_b**2, density_a * density_b
    along_a, along_b = a * daa + b * dab, a * dab + b * dbb
    return Terms(
        value=value,
        lower=da * inverse,
        upper=db * inverse,
        scale=-(a * da + b * db),
        lower2=daa * inverse**2,
        upper2=dbb * inverse**2,
        scale2=a * da + b * db + a * along_a + b * along_b,
        lower_upper=dab * inverse**2,
        lower_scale=-(da + along_a) * inverse,
        upper_scale=-(db + along_b) * inverse,
    )


def point_terms(residual: FloatArray, log_scale: FloatArray) -> Terms:
    """ln of the normal density of ``residual`` with standard deviation exp(log_scale)."""
    inverse = np.exp(-log_scale)
    a = residual * inverse
    nothing = np.zeros_like(a)
    return Terms(
        value=log_density(a) - log_scale,
        lower=-a * inverse,
        upper=nothing,
        scale=a * a - 1,
        lower2=-(inverse**2),
        upper2=nothing,
        scale2=-2 * a * a,
        lower_upper=nothing,
        lower_scale=2 * a * inverse,
        upper_scale=nothing,
    )
