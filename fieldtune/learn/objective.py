"""The log posterior of standard-normal unknowns given rows of evidence, with exact first and second derivatives.

Every row compares linear combinations of a few smooth *features* of the unknowns with a normal scatter whose variance
is a sum of loads times unknown variances. So a batch of unknowns costs one matrix product, and second derivatives are
needed of the features only. The same code serves range and side misses (and any probit or least-squares problem).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fieldtune.learn.normal import Terms, interval_terms, log_density, log_interval, point_terms

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Share of outcomes that say nothing: mis-keyed, bounced out, a dented element.
WILD_SHARE = 0.03


class Unknown(Protocol):
    """How P unknowns turn into F features and V variances; ``u`` is (P,), ``points`` (K, P)."""

    def features(self, points: FloatArray) -> FloatArray:
        """Features (K, F)."""
        ...

    def jacobian(self, u: FloatArray) -> FloatArray:
        """Derivatives of the features (F, P)."""
        ...

    def curvature(self, u: FloatArray, pull: FloatArray) -> FloatArray:
        """Second derivatives of the features, summed with weights ``pull`` (F,): (P, P)."""
        ...

    def variances(self, points: FloatArray) -> FloatArray:
        """Unknown variances (K, V)."""
        ...

    def log_sd_columns(self) -> list[tuple[int, float]]:
        """For each variance the unknown behind it and how much its log standard deviation moves with it."""
        ...


@dataclass(frozen=True, slots=True)
class Rows:
    """n rows of evidence of one kind.

    ``upper`` None: a measured value, normal about zero in ``lower @ features``. Otherwise an interval from ``lower``
    to ``upper`` (n, F) of a normal variable; ``open_low``/``open_high`` (n,) say that it has no such edge. Variance:
    ``loads @ variances + extra``. ``log_wild`` (n,): ln of share times density of a wild outcome (minus infinity:
    none).
    ``log_unit`` (n,) is added to the log likelihood (a Jacobian); ``count`` (n,): how many times the row was seen;
    ``source`` (n,): where the row came from.
    """

    lower: FloatArray
    upper: FloatArray | None
    open_low: BoolArray
    open_high: BoolArray
    loads: FloatArray
    extra: FloatArray
    log_wild: FloatArray
    log_unit: FloatArray
    count: FloatArray
    source: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.count)

    def take(self, index: NDArray[np.intp]) -> Rows:
        """Some of the rows."""
        upper = None if self.upper is None else self.upper[index]
        return Rows(
            self.lower[index],
            upper,
            self.open_low[index],
            self.open_high[index],
            self.loads[index],
            self.extra[index],
            self.log_wild[index],
            self.log_unit[index],
            self.count[index],
            self.source[index],
        )

    def widened(self, factor: float) -> Rows:
        """The same rows seen through a scatter ``factor`` times as wide: a gentler hill to climb first."""
        return replace(self, loads=self.loads * factor**2, extra=self.extra * factor**2)

    def log_likelihood(self, features: FloatArray, variances: FloatArray) -> FloatArray:
        """(K, n) log likelihoods, wild share included."""
        log_scale = 0.5 * np.log(variances @ self.loads.T + self.extra)
        inverse = np.exp(-log_scale)
        lower = features @ self.lower.T
        if self.upper is None:
            value = log_density(lower * inverse) - log_scale
        else:
            upper = features @ self.upper.T
            low = np.where(self.open_low, -np.inf, lower * inverse)
            value = log_interval(low, np.where(self.open_high, np.inf, upper * inverse))
        return self.mixed(value + self.log_unit)

    @property
    def log_tame(self) -> FloatArray:
        """ln of the share of outcomes that are not wild (n,)."""
        return np.where(np.isfinite(self.log_wild), math.log1p(-WILD_SHARE), 0.0)

    def mixed(self, log_likelihood: FloatArray) -> FloatArray:
        """With the small share of wild outcomes mixed in."""
        return np.asarray(np.logaddexp(self.log_tame + log_likelihood, self.log_wild))

    def terms(self, features: FloatArray, variances: FloatArray) -> tuple[Terms, FloatArray]:
        """Derivatives at one point (features (F,), variances (V,)), and each row's shares of variance (n, V)."""
        variance = self.loads @ variances + self.extra
        log_scale = 0.5 * np.log(variance)
        lower = self.lower @ features
        if self.upper is None:
            raw = point_terms(lower, log_scale)
        else:
            upper = self.upper @ features
            raw = interval_terms(
                np.where(self.open_low, -np.inf, lower), np.where(self.open_high, np.inf, upper), log_scale
            )
        return raw, self.loads * variances / variance[:, None]


@dataclass(frozen=True, slots=True)
class Objective:
    """Log posterior: rows of evidence and a standard normal prior (``precision`` 1; 0 for a flat one), (P,)."""

    unknown: Unknown
    rows: tuple[Rows, ...]
    precision: FloatArray

    def value(self, points: FloatArray) -> FloatArray:
        """Log posterior (K,) up to a constant, at points (K, P)."""
        total = -0.5 * (points**2) @ self.precision
        features, variances = self.unknown.features(points), self.unknown.variances(points)
        for rows in self.rows:
            total = total + rows.log_likelihood(features, variances) @ rows.count
        return np.asarray(total)

    def derivatives(self, u: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Log posterior, its gradient (P,) and its Hessian (P, P) at u (P,)."""
        value = float(-0.5 * (u * u) @ self.precision)
        gradient, hessian = -self.precision * u, np.diag(-self.precision)
        features, variances = self.unknown.features(u[None])[0], self.unknown.variances(u[None])[0]
        slopes, columns = self.unknown.jacobian(u), self.unknown.log_sd_columns()
        pull = np.zeros(len(features))
        for rows in self.rows:
            terms, shares = rows.terms(features, variances)
            likelihood = terms.value + rows.log_unit
            mixed = rows.mixed(likelihood)
            # Share of each row that is no wild outcome.
            true = np.exp(rows.log_tame + likelihood - mixed)
            value += float(mixed @ rows.count)
            part, bent, row_pull = _assemble(rows, terms, shares, true, slopes, columns)
            gradient, hessian, pull = gradient + part, hessian + bent, pull + row_pull
        return value, gradient, hessian + self.unknown.curvature(u, pull)


def _assemble(
    rows: Rows,
    terms: Terms,
    shares: FloatArray,
    true: FloatArray,
    slopes: FloatArray,
    columns: list[tuple[int, float]],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gradient, Hessian without the features' own curvature, and the pull on the features."""
    weight, doubt = rows.count * true, rows.count * true * (1 - true)
    j_lower = rows.lower @ slopes
    j_scale = np.zeros_like(j_lower)
    for place, (column, log_scale) in enumerate(columns):
        j_scale[:, column] = shares[:, place] * log_scale
    g_lower, g_scale = weight * terms.lower, weight * terms.scale
    gradient = j_lower.T @ g_lower + j_scale.T @ g_scale
    pull = rows.lower.T @ g_lower
    mixed = _times(terms.lower, j_lower) + _times(terms.scale, j_scale)
    toward_lower = _times(weight * terms.lower2, j_lower) + _times(weight * terms.lower_scale, j_scale)
    toward_scale = _times(weight * terms.lower_scale, j_lower) + _times(weight * terms.scale2, j_scale)
    hessian = np.zeros((slopes.shape[1], slopes.shape[1]))
    if rows.upper is not None:
        j_upper = rows.upper @ slopes
        g_upper = weight * terms.upper
        gradient += j_upper.T @ g_upper
        pull += rows.upper.T @ g_upper
        mixed += _times(terms.upper, j_upper)
        toward_lower += _times(weight * terms.lower_upper, j_upper)
        toward_scale += _times(weight * terms.upper_scale, j_upper)
        toward_upper = (
            _times(weight * terms.lower_upper, j_lower)
            + _times(weight * terms.upper2, j_upper)
            + _times(weight * terms.upper_scale, j_scale)
        )
        hessian += j_upper.T @ toward_upper
    hessian += j_lower.T @ toward_lower + j_scale.T @ toward_scale + mixed.T @ _times(doubt, mixed)
    for i, (first, scale_i) in enumerate(columns):
        for k, (second, scale_k) in enumerate(columns):
            bend = 2 * shares[:, i] * ((i == k) - shares[:, k])
            hessian[first, second] += scale_i * scale_k * float(g_scale @ bend)
    return gradient, hessian, pull


def _times(weights: FloatArray, matrix: FloatArray) -> FloatArray:
    return np.asarray(weights[:, None] * matrix)
