"""The exit speed a target needs as a smooth function of distance and unknowns, and the tensor that keeps it.

Everything the tool decides is decided in *needed log exit speed*: ln of the speed at which the element crosses the
target ``miss`` metres long (basket, zone, gate: along the range; window: high). For a flight it is U-shaped in the
distance with its minimum where the path peaks at the target, so the descending branch of a basket is smooth and
single-valued, where the landing distance over speed has a square-root edge.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from functools import reduce
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.rim_scores import RimScores
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.openings import Free
    from fieldtune.robot.model import Element, Target


@frozen
class RequiredSpeedPoint:
    """Needed log speeds (n,), their derivatives, and the path's slope where it crosses with its derivative over the
    angle, and its bend (1/m, the slope's change a metre); nan where no speed does it."""

    value: FloatArray
    d_distance: FloatArray
    d_miss: FloatArray
    d_angle: FloatArray
    d_drag: FloatArray
    slope: FloatArray
    slope_by_angle: FloatArray
    bend: FloatArray

    def put(self, places: NDArray[np.intp], other: RequiredSpeedPoint) -> None:
        """Take the other's m points for those at ``places`` (m,)."""
        for name in self.__match_args__:
            getattr(self, name)[places] = getattr(other, name)

    def take(self, which: NDArray[np.bool_]) -> RequiredSpeedPoint:
        """Some of the points."""
        return RequiredSpeedPoint(*(getattr(self, name)[which] for name in self.__match_args__))


class RequiredSpeed(Protocol):
    """What a target asks of the exit speed. ``d_low``..``d_high`` is the range of distances (m) it is made for."""

    @property
    def d_low(self) -> float: ...

    @property
    def d_high(self) -> float: ...

    @property
    def rim(self) -> RimScores | None:
        """What scores off a basket's rim and board; None where only clean passes count."""
        ...

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """Needed ln(speed in m/s) at true distances (metres), arguments broadcast to (n,)."""
        ...

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """Misses between which the element scores, and half the free side width."""
        ...

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """The same, where that of the target's centre is known already."""
        ...

    def for_draws(self, angle_error: FloatArray, log_drag: FloatArray) -> DrawsRequiredSpeed:
        """The same for draws (K,) whose unknowns are given once, to be asked at many distances."""
        ...


class DrawsRequiredSpeed(Protocol):
    """A required speed for draws with their own unknowns; nothing is said of ``d_drag``."""

    def log_speed(self, distance: ArrayLike, miss: ArrayLike, which: NDArray[np.intp]) -> RequiredSpeedPoint:
        """Needed ln(speed) at true distances (n,) and misses, for the draws of those numbers (n,)."""
        ...

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        ...


@frozen
class EachDraw:
    """Any required speed, asked with each draw's unknowns."""

    need: RequiredSpeed | TargetRequiredSpeed
    angle_error: FloatArray
    log_drag: FloatArray

    def log_speed(self, distance: ArrayLike, miss: ArrayLike, which: NDArray[np.intp]) -> RequiredSpeedPoint:
        """See ``DrawsRequiredSpeed.log_speed``."""
        return self.need.log_speed(distance, miss, self.angle_error[which], self.log_drag[which])

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        return self.need.free_at(center)


@frozen
class TargetRequiredSpeed(ABC):
    """What every law has in common: a target lets the element through by the slope of its path alone."""

    target: Target
    element: Element

    @property
    def rim(self) -> RimScores | None:
        """See ``RequiredSpeed.rim``."""
        return None

    @abstractmethod
    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """See ``RequiredSpeed.log_speed``."""

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """See ``RequiredSpeed.free``."""
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        return self.target.free(self.element, center.slope)

    def for_draws(self, angle_error: FloatArray, log_drag: FloatArray) -> DrawsRequiredSpeed:
        """See ``RequiredSpeed.for_draws``."""
        return EachDraw(self, angle_error, log_drag)


def exit_angle_room(exit_angle: float) -> float:
    """How far the angle may be off before the path goes vertical, radians."""
    return max(math.radians(88) - exit_angle, math.radians(0.5))


# A smooth function of a few variables as a tensor of coefficients: exact at its nodes, differentiable everywhere.
#
# Along an axis that is smooth all over, Chebyshev polynomials: the error falls geometrically with the number of nodes
# (Trefethen, Approximation Theory and Approximation Practice, SIAM 2013, chapters 3 to 5). Along an axis that may have
# a rough end, a cubic spline: what is wrong in one place dies out within a few nodes (de Boor, A Practical Guide to
# Splines, Springer 2001, chapter 4).


_INSIDE = 1 - 1e-12


@frozen
class Axis:
    """An interval [low, high] with ``count`` Chebyshev nodes; outside it the function is held at the edge."""

    low: float
    high: float
    count: int

    def nodes(self) -> FloatArray:
        """The nodes, ascending, shape (count,)."""
        if self.count == 1:
            return np.array([(self.low + self.high) / 2])
        unit = -np.cos(np.pi * (np.arange(self.count) + 0.5) / self.count)
        return self.low + (unit + 1) / 2 * (self.high - self.low)

    def rows(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Chebyshev polynomials (n, count) at x and their derivatives with respect to x."""
        if self.count == 1:
            return np.ones((len(x), 1)), np.zeros((len(x), 1))
        scale = 2 / (self.high - self.low)
        raw = (x - self.low) * scale - 1
        # T_k = cos(k t) and T_k' = k sin(k t) / sin(t); a hair inside the ends, where the quotient is still a number.
        turn = np.arccos(np.clip(raw, -_INSIDE, _INSIDE))
        order = np.arange(self.count)
        multiples = np.outer(turn, order)
        slopes = np.sin(multiples) * order * (np.where(np.abs(raw) <= 1, scale, 0.0) / np.sin(turn))[:, None]
        return np.cos(multiples), slopes

    def fit_matrix(self) -> FloatArray:
        """Matrix (count, count) from values at the nodes to Chebyshev coefficients."""
        if self.count == 1:
            return np.ones((1, 1))
        turn = np.pi * (1 - (np.arange(self.count) + 0.5) / self.count)
        return np.asarray(np.linalg.inv(np.cos(np.outer(turn, np.arange(self.count)))))


@frozen
class SplineAxis:
    """An interval [low, high] with ``count`` evenly spaced nodes and a cubic spline through them, not-a-knot at the
    ends; outside it the function is held at the edge."""

    low: float
    high: float
    count: int

    def nodes(self) -> FloatArray:
        """The nodes, ascending, shape (count,)."""
        return np.linspace(self.low, self.high, self.count)

    def pieces(self, x: FloatArray) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
        """First of the four uniform cubic B-splines not zero at x (n,), their values and derivatives (4, n)."""
        step = (self.high - self.low) / (self.count - 1)
        raw = (x - self.low) / step
        held = np.clip(np.where(np.isnan(raw), 0.0, raw), 0.0, self.count - 1)
        place = np.minimum(held.astype(np.intp), self.count - 2)
        u = held - place
        v = 1 - u
        u2, v2 = u * u, v * v
        u3, v3 = u2 * u, v2 * v
        values = np.stack([v3, 3 * u3 - 6 * u2 + 4, 3 * v3 - 6 * v2 + 4, u3]) / 6
        slopes = np.stack([-v2, 3 * u2 - 4 * u, 4 * v - 3 * v2, u2]) / 2
        return place, np.where(np.isnan(x), np.nan, values), slopes * np.where(raw == held, 1 / step, 0.0)

    def fit_matrix(self) -> FloatArray:
        """Matrix (count + 2, count) from values at the nodes to coefficients."""
        system = np.zeros((self.count + 2, self.count + 2))
        place, values, _ = self.pieces(self.nodes())
        for k in range(4):
            system[np.arange(self.count), place + k] = values[k]
        system[-2, :5] = system[-1, -5:] = [1, -4, 6, -4, 1]
        return np.asarray(np.linalg.inv(system)[:, : self.count])


@frozen
class Tensor:
    """Coefficients (c_1, ..., c_a, m) of m functions over the same axes, those with splines first."""

    axes: tuple[Axis | SplineAxis, ...]
    coefficients: FloatArray

    @classmethod
    def fitted(cls, axes: tuple[Axis | SplineAxis, ...], values: FloatArray) -> Tensor:
        """Tensor through ``values`` (count_1, ..., count_a, m) given at the grid of the axes' nodes."""
        coefficients = np.asarray(values, dtype=float)
        for place, axis in enumerate(axes):
            coefficients = np.moveaxis(np.tensordot(axis.fit_matrix(), coefficients, (1, place)), 0, place)
        return cls(axes, np.ascontiguousarray(coefficients))

    def given(self, points: list[FloatArray]) -> FloatArray:
        """Coefficients (K, splines' c_1, ..., 2 m) with the axes behind the splines given, as one (K,) array an axis.

        The m functions, and their derivatives along the first of the axes that are given.
        """
        smooth = [axis for axis in self.axes if isinstance(axis, Axis)]
        rows = [axis.rows(x) for axis, x in zip(smooth, points, strict=True)]
        (first, bent), others = rows[0], [row for row, _ in rows[1:]]
        weights = [reduce(_outer, [row, *others]) for row in (first, bent)]
        shape = self.coefficients.shape
        local = shape[: len(self.axes) - len(smooth)]
        table = self.coefficients.reshape(int(np.prod(local)), -1, shape[-1])
        parts = [np.einsum("kr,srm->ksm", weight, table, optimize=True) for weight in weights]
        return np.concatenate(parts, axis=-1).reshape(len(first), *local, -1)

    def at(self, points: list[FloatArray]) -> tuple[FloatArray, list[FloatArray]]:
        """Values (m, n), and their derivatives an axis [(m, n)], at points given as one (n,) array an axis."""
        local = [axis.pieces(x) for axis, x in zip(self.axes, points, strict=True) if isinstance(axis, SplineAxis)]
        rows = [(values.T, bends.T) for _, values, bends in local]
        rows += [axis.rows(x) for axis, x in zip(self.axes, points, strict=True) if isinstance(axis, Axis)]
        value = self._near([place for place, _, _ in local], len(points[0]))
        slopes: list[FloatArray] = []
        for row, bent in rows:
            slopes = [_contracted(slope, row) for slope in slopes]
            slopes.append(_contracted(value, bent))
            value = _contracted(value, row)
        return value.T, [slope.T for slope in slopes]

    def _near(self, places: list[NDArray[np.intp]], n: int) -> FloatArray:
        """The few coefficients near each of n points (n, 4, ..., rest), four along each spline from ``places`` on."""
        shape, count = self.coefficients.shape, len(places)
        table = self.coefficients.reshape(*shape[:count], -1)
        if not places:
            return np.broadcast_to(table, (n, table.shape[-1]))
        run = np.arange(4)
        ahead = [run.reshape(-1, *[1] * (count - 1 - k)) for k in range(count)]
        firsts = [place.reshape(-1, *[1] * count) for place in places]
        return np.asarray(table[tuple(first + more for first, more in zip(firsts, ahead, strict=True))])


def _outer(one: FloatArray, other: FloatArray) -> FloatArray:
    """Products of all columns: (n, a) and (n, b) give (n, a b)."""
    return np.asarray((one[:, :, None] * other[:, None, :]).reshape(len(one), -1))


def _contracted(partial: FloatArray, row: FloatArray) -> FloatArray:
    """Sum over the leading axis of what is left: partial (n, count * rest) with row (n, count) gives (n, rest)."""
    return np.asarray(np.einsum("ni,nij->nj", row, partial.reshape(*row.shape, -1)))
