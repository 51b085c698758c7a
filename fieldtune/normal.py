"""The standard normal distribution on arrays, and Gauss's rule, with numpy alone: importing more takes too long.

Integrals come from a table with a Taylor polynomial around its nodes: the density's derivatives are Hermite polynomials
times the density (Abramowitz & Stegun 1964, 26.2.31). Far down the tail Laplace's continued fraction (26.2.14).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray

_PER_UNIT, _END, _DEEPEST = 256, 9, 40
_SQRT_2PI = math.sqrt(2 * math.pi)
_DEPTH = 16
"""Levels of the continued fraction: enough nine deviations out for 1e-15."""


def _far_log(x: FloatArray) -> FloatArray:
    """ln of the probability below x, for x at -9 or less."""
    fraction = y = -x
    for k in range(_DEPTH, 0, -1):
        fraction = y + k / fraction
    return np.asarray(-0.5 * y * y - np.log(_SQRT_2PI * fraction))


_NODES = np.arange(-_END * _PER_UNIT, _END * _PER_UNIT + 1) / _PER_UNIT
_BELOW = np.array([0.5 * math.erfc(-x / math.sqrt(2)) for x in _NODES.tolist()])
_DENSITY = np.exp(-0.5 * _NODES**2) / _SQRT_2PI
_DEEP = np.arange(-_DEEPEST * _PER_UNIT, -_END * _PER_UNIT) / _PER_UNIT
_HIGH = np.log(_BELOW[_NODES <= 0]), np.log1p(-_BELOW[_NODES < 0][::-1])
_LOG_BELOW = np.concatenate([_far_log(_DEEP), *_HIGH])
_LOG_SLOPE = np.exp(-0.5 * np.concatenate([_DEEP, _NODES]) ** 2 - _LOG_BELOW) / _SQRT_2PI


def _placed(value: FloatArray, lowest: int) -> tuple[IntArray, FloatArray, FloatArray]:
    """Place of the nearest node in a table from ``lowest``, the node, and the step from it (nan where x is nan)."""
    held = np.minimum(np.maximum(value, lowest), _END)  # a call of np.clip costs as much as some dozen numbers
    node = np.rint(held * _PER_UNIT)
    with np.errstate(invalid="ignore"):
        place = node.astype(np.int64)
    place -= lowest * _PER_UNIT
    np.maximum(place, 0, out=place)
    np.minimum(place, (_END - lowest) * _PER_UNIT, out=place)
    node /= _PER_UNIT
    held -= node
    return place, node, held


def ndtr(x: ArrayLike) -> FloatArray:
    """Probability below x, to 1e-12, and to 1e-9 of itself down to x = -9."""
    place, node, step = _placed(np.asarray(x, dtype=float), -_END)
    bend = (node * node - 1) * step
    bend /= 6
    node /= 2
    bend -= node
    bend *= step
    bend += 1
    bend *= step
    bend *= _DENSITY[place]
    bend += _BELOW[place]
    return np.asarray(bend)


def log_ndtr(x: ArrayLike) -> FloatArray:
    """ln of the probability below x, to 1e-11, however far out."""
    value = np.asarray(x, dtype=float)
    place, node, step = _placed(value, -_DEEPEST)
    slope = _LOG_SLOPE[place]
    node += slope  # the second derivative is -slope (x + slope)
    bend = (node + slope) * node - 1
    bend *= step / 3
    bend -= node
    bend *= step / 2
    bend += 1
    bend *= slope
    bend *= step
    bend += _LOG_BELOW[place]
    found, far = np.asarray(bend), value < -_DEEPEST
    if far.any():
        found[far] = _far_log(value[far])
    return found


_QUICK_END = 5.6
# atanh(2 P(x) - 1) / x as a polynomial in x^2, so that P comes from one hyperbolic tangent: a least-maximum fit up to
# _QUICK_END (Lawson's reweighting), its error weighed by what it does to P.
_QUICK = (0.797882253, 0.0363445176, -4.47304491e-5, -5.04138846e-5, 3.10523243e-6, -6.66675861e-8)


def quick_ndtr(x: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probability below x to 3e-7, in a small part of the time; x is overwritten. Infinite is fine, nan is not."""
    np.clip(x, -_QUICK_END, _QUICK_END, out=x)
    square = x * x
    turn = square * np.float32(_QUICK[-1])
    for power in _QUICK[-2:0:-1]:
        turn += np.float32(power)
        turn *= square
    turn += np.float32(_QUICK[0])
    x *= turn
    np.tanh(x, out=x)
    x *= np.float32(0.5)
    x += np.float32(0.5)
    return x


# Wichura (1988), Algorithm AS 241, Applied Statistics 37, 477-484: numerators and denominators, highest power first.
_MIDDLE = (
    (2509.0809287301226727, 33430.575583588128105, 67265.770927008700853, 45921.953931549871457,
     13731.693765509461125, 1971.5909503065514427, 133.14166789178437745, 3.387132872796366608),
    (5226.495278852854561, 28729.085735721942674, 39307.89580009271061, 21213.794301586595867,
     5394.1960214247511077, 687.1870074920579083, 42.313330701600911252, 1.0),
)  # fmt: skip
_OUTER = (
    (7.7454501427834140764e-4, 0.0227238449892691845833, 0.24178072517745061177, 1.27045825245236838258,
     3.64784832476320460504, 5.7694972214606914055, 4.6303378461565452959, 1.42343711074968357734),
    (1.05075007164441684324e-9, 5.475938084995344946e-4, 0.0151986665636164571966, 0.14810397642748007459,
     0.68976733498510000455, 1.6763848301838038494, 2.05319162663775882187, 1.0),
)  # fmt: skip
_FAR = (
    (2.01033439929228813265e-7, 2.71155556874348757815e-5, 0.0012426609473880784386, 0.026532189526576123093,
     0.29656057182850489123, 1.7848265399172913358, 5.4637849111641143699, 6.6579046435011037772),
    (2.04426310338993978564e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5, 7.868691311456132591e-4,
     0.0148753612908506148525, 0.13692988092273580531, 0.59983220655588793769, 1.0),
)  # fmt: skip


def ndtri(p: ArrayLike) -> FloatArray:
    """The x below which the probability is p: infinite at 0 and 1, nan outside."""
    share = np.asarray(p, dtype=float)
    q = share - 0.5
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.asarray(q * _ratio(_MIDDLE, 0.180625 - q * q))
        outside = ~(np.abs(q) <= 0.425)
        if outside.any():
            side = q[outside]
            depth = np.sqrt(-np.log(np.where(side > 0, 1 - share[outside], share[outside])))
            outer, far = _ratio(_OUTER, depth - 1.6), ~(depth <= 5)
            if far.any():
                outer[far] = np.where(np.isinf(depth[far]), np.inf, _ratio(_FAR, depth[far] - 5))
            found[outside] = np.copysign(outer, side)
    return found


def _ratio(powers: tuple[tuple[float, ...], tuple[float, ...]], r: FloatArray) -> FloatArray:
    above, below = (_polynomial(part, r) for part in powers)
    above /= below
    return above


def _polynomial(powers: tuple[float, ...], r: FloatArray) -> FloatArray:
    """By Horner's rule, in place."""
    value = np.asarray(powers[0] * r)
    for power in powers[1:-1]:
        value += power
        value *= r
    value += powers[-1]
    return value


def gauss_legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights (count,) of Gauss's rule on -1..1, from Legendre's recurrence (Golub & Welsch 1969)."""
    order = np.arange(1, count)
    beside = order / np.sqrt(4 * order**2 - 1)
    nodes, axes = np.linalg.eigh(np.diag(beside, 1) + np.diag(beside, -1))
    return nodes, 2 * axes[0] ** 2
