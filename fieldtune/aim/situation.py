"""A target as every draw of what is believed sees it from a distance: in needed log exit speed, with all scatter.

In log exit speed a target is an interval [need(low), need(high)] and a launch is normal with the scatter of speed and
of angle, so the probability of a hit is a difference of two normal integrals, averaged over the side miss where the
opening is round.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.opening_edges import center_point, edges
from fieldtune.frozen import frozen
from fieldtune.normal import gauss_legendre, ndtr, ndtri, quick_ndtr

if TYPE_CHECKING:
    from fieldtune.aim.draws import Unknowns
    from fieldtune.aim.required_speed.interface import DrawsRequiredSpeed, RequiredSpeed, RequiredSpeedPoint
    from fieldtune.aim.rim_scores import RimScores
    from fieldtune.arrays import FloatArray, IntArray

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = gauss_legendre(5)
_NEVER = 1e-7
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)


@frozen
class Touches:
    """Needed log speeds ``bounds`` (n, m) of ascending misses, and the steps (n, m) by which the probability to score,
    in them and off the rim, falls there."""

    bounds: FloatArray
    steps: FloatArray

    def hit(self, log_speed: FloatArray, spread: FloatArray) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s) with scatter ``spread`` (n,)."""
        chance = np.zeros((len(spread), log_speed.shape[1]))
        for bound, step in zip(self.bounds.T, self.steps.T, strict=True):
            if step.any():
                gap = ((bound[:, None] - log_speed) / spread[:, None]).astype(np.float32)
                chance += step[:, None] * quick_ndtr(np.nan_to_num(gap, copy=False))
        return np.clip(np.where(chance < _NEVER, 0.0, chance), 0.0, 1.0)


def touches(
    need: DrawsRequiredSpeed,
    rim: RimScores,
    distance: FloatArray,
    center: RequiredSpeedPoint,
    unknowns: Unknowns,
    which: IntArray,
) -> Touches:
    """What scores over the misses that ``rim`` knows, as each draw sees it; needed speeds are a parabola over them."""
    angle, h = unknowns.angle_error, float(rim.misses[-1]) / 2
    straight = h * center.d_miss
    short, far = (need.log_speed(distance, miss, which).value for miss in (-h, h))
    short = np.where(np.isfinite(short), short, center.value - straight)
    far = np.where(np.isfinite(far), far, center.value + straight)
    share = rim.misses[None, :] / h
    tilt, curve = (far - short)[:, None] / 2, (far + short - 2 * center.value)[:, None] / 2
    bounds = np.maximum.accumulate(center.value[:, None] + share * tilt + share**2 * curve, axis=1)
    offset, side_sd = distance * unknowns.side_bias, np.maximum(distance * unknowns.side_scatter, 1e-6)
    scores = rim.over_misses(distance, angle, offset, side_sd)
    cells = np.pad((scores[:, 1:] + scores[:, :-1]) / 2, ((0, 0), (1, 1)))
    known = np.isfinite(bounds.sum(axis=1))[:, None]
    return Touches(np.where(known, bounds, 0.0), np.where(known, cells[:, :-1] - cells[:, 1:], 0.0))


@frozen
class Situation:
    """A target seen from n (draw, distance) pairs: log-speed bounds (n, m) over m side positions, with shares (m,).

    ``center`` (n,) is the needed log speed of the target's centre, ``spread`` (n,) the scatter in log speed there,
    ``near`` and ``far`` (n,) at the low and the high bound, where an error of the angle counts for more or less, and
    ``side`` (n,) the probability that the side miss is good. A draw that can't score has bounds of nan. ``touches``:
    where hits off rim and board count, which then decide alone; the bounds stay those of clean passes.
    """

    low: FloatArray
    high: FloatArray
    shares: FloatArray
    center: FloatArray
    spread: FloatArray
    near: FloatArray
    far: FloatArray
    side: FloatArray
    touches: Touches | None = None

    def hit(self, log_speed: ArrayLike) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s)."""
        speeds = np.asarray(log_speed, dtype=float)
        if self.touches is not None:
            return self.touches.hit(speeds, self.spread)
        leaves = np.isfinite(speeds)  # a draw too small to lift the element throws at no speed at all
        middle = np.where(np.isfinite(self.center), self.center, 0.0)  # float32 counts from here
        z = np.where(leaves, speeds, 0.0).T - middle
        inside = _below(self.high.T - middle, z, self.far)
        inside -= _below(self.low.T - middle, z, self.near)
        np.maximum(inside, 0.0, out=inside)
        mean = self.shares.astype(np.float32) @ inside.reshape(len(self.shares), -1)
        chance = (self.side * mean.reshape(inside.shape[1:])).T
        # Rounding leaves a hair beyond 1, and differences of tails chances that no event has.
        return np.where((chance < _NEVER) | ~leaves, 0.0, np.minimum(chance, 1.0))

    def of(self, which: slice) -> Situation:
        """As some of the draws see it."""
        touches = self.touches
        parts = {name: getattr(self, name)[which] for name in _BY_DRAW}
        touched = None if touches is None else Touches(touches.bounds[which], touches.steps[which])
        return Situation(**parts, shares=self.shares, touches=touched)

    @staticmethod
    def joined(scenes: Sequence[Situation]) -> Situation:
        """One target seen from several places as one, draw after draw of each."""
        if len(scenes) == 1:
            return scenes[0]
        parts = {name: np.concatenate([getattr(scene, name) for scene in scenes]) for name in _BY_DRAW}
        rims = [scene.touches for scene in scenes if scene.touches is not None]
        touched = None
        if rims:
            touched = Touches(*(np.concatenate([getattr(rim, name) for rim in rims]) for name in ("bounds", "steps")))
        return Situation(**parts, shares=scenes[0].shares, touches=touched)


_BY_DRAW = ("low", "high", "center", "spread", "near", "far", "side")


def _below(bound: FloatArray, z: FloatArray, spread: FloatArray) -> NDArray[np.float32]:
    """Probability (m, s, n) that launches around z (s, n) are slower than bounds (m, n); bounds of nan are none.

    Draws come last: the longest axis in one piece.
    """
    at = np.where(np.isnan(bound), np.inf, bound / spread).astype(np.float32, order="C")
    return quick_ndtr(at[:, None] - (z / spread).astype(np.float32))


def situation(need: RequiredSpeed, reading: ArrayLike, unknowns: Unknowns, which: IntArray | None = None) -> Situation:
    """The target as each draw sees it at distance readings (scalar, or (K,) one a draw).

    ``which`` (n,): the draws that look, from readings (n,); all of them, each once, where None.
    """
    given = need.for_draws(unknowns.angle_error, unknowns.log_drag)
    if which is None:
        which, seen = np.arange(len(unknowns.angle_error)), unknowns
    else:
        seen = unknowns.of(which)
    distance = np.asarray(reading, dtype=float) + seen.distance_bias
    center, at, free = center_point(given, distance, which)
    side_sd = np.maximum(distance * seen.side_scatter, 1e-6)
    offset = distance * seen.side_bias
    half = free.side
    left, right = ndtr(np.stack([-half - offset, half - offset]) / side_sd)
    if free.ring is not None:
        aside = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
        chord, shares = free.ring.chord(offset[:, None] + side_sd[:, None] * aside), _SHARES
    else:
        chord, shares = np.ones((len(distance), 1)), np.ones(1)
    passes = np.isfinite(free.low) & np.isfinite(center.value)

    def scatter(by_angle: FloatArray) -> FloatArray:
        by_angle = np.where(np.isfinite(by_angle), by_angle, center.d_angle)
        spread = np.sqrt(seen.speed_scatter**2 + (by_angle * seen.angle_scatter) ** 2)
        return np.where(passes, np.maximum(spread, 1e-6), 1.0)

    near, far = edges(given, distance, free, which, at)
    low = _along(chord, center, at, free.low, near.value)
    return Situation(
        low=np.where(passes[:, None], low, np.nan),
        high=_along(chord, center, at, free.high, far.value),
        shares=shares,
        center=center.value,
        spread=scatter(center.d_angle),
        near=scatter(near.d_angle),
        far=scatter(far.d_angle),
        side=np.where(passes, right - left, 0.0),
        touches=None if need.rim is None else touches(given, need.rim, distance, center, seen, which),
    )


def situations(need: RequiredSpeed, readings: FloatArray, unknowns: Unknowns) -> list[Situation]:
    """The target as all draws see it from each of some readings (n,)."""
    count = len(unknowns.angle_error)
    which = np.tile(np.arange(count), len(readings))
    seen = situation(need, np.repeat(readings, count), unknowns, which)
    return [seen.of(slice(k * count, (k + 1) * count)) for k in range(len(readings))]


def _along(
    chord: FloatArray, center: RequiredSpeedPoint, at: FloatArray, miss: FloatArray, edge: FloatArray
) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge at ``miss`` (n,): the parabola
    with value and slope of the path that crosses ``at`` misses (n,), and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        way = np.where(at == 0, miss, miss - at)
        share = np.where((at == 0)[:, None], chord, (chord * miss[:, None] - at[:, None]) / way[:, None])
        rise = center.d_miss * way
        return center.value[:, None] + share * rise[:, None] + share**2 * (edge - center.value - rise)[:, None]
