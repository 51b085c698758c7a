"""The log posterior given rows of evidence, with exact derivatives, and the normal probabilities it is made of.

Every row compares linear combinations of a few smooth *features* of the unknowns with a normal scatter whose variance
is a sum of loads times unknown variances. So a batch of unknowns costs one matrix product, and second derivatives are
needed of the features only. The same code serves range and side misses (and any probit or least-squares problem).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from fieldtune.frozen import frozen
from fieldtune.normal import log_ndtr, ndtr

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray

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


@frozen
class Rows:
    """n rows of evidence of one kind.

    ``upper`` None: a measured value, normal about zero in ``lower @ features``. Otherwise an interval from ``lower``
    to ``upper`` (n, F) of a normal variable; ``open_low``/``open_high`` (n,): it has no such edge. Its variance is
    ``loads @ variances + extra + error * unit^2``. ln unit is ``log_unit @ features``: what one metre of measured miss
    is in log speed, and so the likelihood's Jacobian. ``log_wild`` (n,): ln of share times density of a wild outcome
    (minus infinity: none). ``count`` (n,): how many times the row was seen; ``source`` (n,): the shot it came from,
    -1 where it was measured beside them.
    """

    lower: FloatArray
    upper: FloatArray | None
    open_low: BoolArray
    open_high: BoolArray
    loads: FloatArray
    extra: FloatArray
    log_wild: FloatArray
    log_unit: FloatArray | None
    error: float
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
            None if self.log_unit is None else self.log_unit[index],
            self.error,
            self.count[index],
            self.source[index],
        )

    def widened(self, factor: float) -> Rows:
        """The same rows seen through a scatter ``factor`` times as wide: a smoother function to begin with."""
        return replace(self, loads=self.loads * factor**2, extra=self.extra * factor**2, error=self.error * factor**2)

    def log_likelihood(self, features: FloatArray, variances: FloatArray) -> FloatArray:
        """(K, n) log likelihoods, wild share included."""
        variance = variances @ self.loads.T + self.extra
        unit = None if self.log_unit is None else features @ self.log_unit.T
        if self.error:
            variance += self.error if unit is None else self.error * np.exp(2 * unit)
        inverse = 1 / np.sqrt(variance)
        low = features @ self.lower.T
        low *= inverse
        if self.upper is None:
            value = log_density(low) if unit is None else log_density(low) + unit
            if not self.may_be_wild:
                return np.asarray(value + np.log(inverse) + self.log_tame)
            likely = np.exp(value) * inverse
        else:
            high = features @ self.upper.T
            high *= inverse
            low[:, self.open_low], high[:, self.open_high] = -np.inf, np.inf
            if not self.may_be_wild:
                return self.mixed(log_interval(low, high))
            likely = np.maximum(ndtr(high) - ndtr(low), 0.0)
        return np.asarray(np.log(np.exp(self.log_tame) * likely + np.exp(self.log_wild)))

    @property
    def may_be_wild(self) -> bool:
        """Whether each row may be a wild outcome: beside those the far tails of others don't count."""
        return bool(np.isfinite(self.log_wild).all())

    @property
    def log_tame(self) -> FloatArray:
        """ln of the share of outcomes that are not wild (n,)."""
        return np.where(np.isfinite(self.log_wild), math.log1p(-WILD_SHARE), 0.0)

    def mixed(self, log_likelihood: FloatArray) -> FloatArray:
        """With the small share of wild outcomes mixed in."""
        return np.asarray(np.logaddexp(self.log_tame + log_likelihood, self.log_wild))

    def seen(self, features: FloatArray, variances: FloatArray) -> RowTerms:
        """Derivatives at one point: features (F,), variances (V,)."""
        unit = np.zeros(len(self)) if self.log_unit is None else self.log_unit @ features
        parts, error = self.loads * variances, self.error * np.exp(2 * unit)
        variance = parts.sum(axis=1) + self.extra + error
        log_scale = 0.5 * np.log(variance)
        lower = self.lower @ features
        if self.upper is None:
            terms = point_terms(lower, log_scale)
        else:
            low, high = np.where(self.open_low, -np.inf, lower), np.where(self.open_high, np.inf, self.upper @ features)
            terms = interval_terms(low, high, log_scale)
        return RowTerms(terms, terms.value + unit, parts / variance[:, None], error / variance)


@frozen
class RowTerms:
    """Rows at one point: terms, log likelihoods (n,), shares of variance by cause (n, V) and by measuring (n,)."""

    terms: Terms
    log_likelihood: FloatArray
    shares: FloatArray
    error_share: FloatArray


@frozen
class LogPosterior:
    """Log posterior: rows of evidence and a standard normal prior (``precision`` 1; 0 for a flat one), (P,)."""

    unknown: Unknown
    rows: tuple[Rows, ...]
    precision: FloatArray

    def value(self, points: FloatArray) -> FloatArray:
        """Log posterior (K,) up to a constant, at points (K, P)."""
        prior = -0.5 * (points**2) @ self.precision
        return np.asarray(prior + self.log_likelihood(self.unknown.features(points), self.unknown.variances(points)))

    def log_likelihood(self, features: FloatArray, variances: FloatArray) -> FloatArray:
        """Log likelihood (K,) of all rows, at features (K, F) and variances (K, V)."""
        total = np.zeros(len(features))
        for rows in self.rows:
            total += rows.log_likelihood(features, variances) @ rows.count
        return total

    def of_shots(self, chosen: BoolArray) -> LogPosterior:
        """The same with the evidence of some of the shots only, ``chosen`` (shots,), and all measured beside shots."""
        parts = [part.take(np.flatnonzero((part.source < 0) | chosen[part.source])) for part in self.rows]
        return replace(self, rows=tuple(part for part in parts if len(part)))

    def derivatives(self, u: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Log posterior, its gradient (P,) and its Hessian (P, P) at u (P,)."""
        value = float(-0.5 * (u * u) @ self.precision)
        gradient, hessian = -self.precision * u, np.diag(-self.precision)
        features, variances = self.unknown.features(u[None])[0], self.unknown.variances(u[None])[0]
        slopes, columns = self.unknown.jacobian(u), self.unknown.log_sd_columns()
        pull = np.zeros(len(features))
        for rows in self.rows:
            seen = rows.seen(features, variances)
            mixed = rows.mixed(seen.log_likelihood)
            # Share of each row that is no wild outcome.
            true = np.exp(rows.log_tame + seen.log_likelihood - mixed)
            value += float(mixed @ rows.count)
            part, bent, row_pull = _assemble(rows, seen, true, slopes, columns)
            gradient, hessian, pull = gradient + part, hessian + bent, pull + row_pull
        return value, gradient, hessian + self.unknown.curvature(u, pull)


def _assemble(
    rows: Rows, seen: RowTerms, true: FloatArray, slopes: FloatArray, columns: list[tuple[int, float]]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gradient, Hessian without the features' own curvature, and the pull on the features.

    Log scale is ln of a sum of exponentials, so its second derivative is two weighted means of outer products.
    """
    terms, weight = seen.terms, rows.count * true
    j_lower = rows.lower @ slopes
    j_scale = np.zeros_like(j_lower)
    g_scale = weight * terms.scale
    hessian = np.zeros((slopes.shape[1], slopes.shape[1]))
    for place, (column, log_scale) in enumerate(columns):
        j_scale[:, column] = seen.shares[:, place] * log_scale
        hessian[column, column] += 2 * log_scale**2 * float(g_scale @ seen.shares[:, place])
    moves, firsts = [j_lower, j_scale], [terms.lower, terms.scale]
    bends = [(0, 0, terms.lower2), (0, 1, terms.lower_scale), (1, 1, terms.scale2 - 2 * terms.scale)]
    pull = rows.lower.T @ (weight * terms.lower)
    if rows.log_unit is not None:
        j_unit = rows.log_unit @ slopes
        j_scale += _times(seen.error_share, j_unit)
        hessian += j_unit.T @ _times(2 * g_scale * seen.error_share, j_unit)
        pull += rows.log_unit.T @ (weight + g_scale * seen.error_share)
        moves, firsts = [*moves, j_unit], [*firsts, np.ones(len(rows))]
    if rows.upper is not None:
        moves, firsts = [*moves, rows.upper @ slopes], [*firsts, terms.upper]
        last = len(moves) - 1
        bends += [(0, last, terms.lower_upper), (1, last, terms.upper_scale), (last, last, terms.upper2)]
        pull += rows.upper.T @ (weight * terms.upper)
    gradient = np.zeros(slopes.shape[1])
    mixed = np.zeros_like(j_lower)
    for move, first in zip(moves, firsts, strict=True):
        gradient += move.T @ (weight * first)
        mixed += _times(first, move)
    for one, other, bend in bends:
        block = moves[one].T @ _times(weight * bend, moves[other])
        hessian += block if one == other else block + block.T
    hessian += mixed.T @ _times(weight * (1 - true), mixed)
    return gradient, hessian, pull


def _times(weights: FloatArray, matrix: FloatArray) -> FloatArray:
    return np.asarray(weights[:, None] * matrix)


# Normal probabilities of intervals on the log scale, accurate far out in the tails, with their derivatives.


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


@frozen
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
