"""Balls that come down on the rim or the board of a basket: which of them fall in.

The rim is a torus, the board a plane behind it that begins at the rim's height. Between touches a ball falls freely;
the air is left out over these few tenths of a second. A touch gives back the share ``restitution`` of the speed into
what it touches, and friction acts at the ball's surface until that no longer slips, or by Coulomb's law (Garwin, Am. J.
Phys. 37 (1969) 88; Brody, Phys. Teach. 22 (1984) 494; both from memory).

x goes forward and z to the right from the rim's centre, y up from its plane; metres, seconds. Spin is the ball's
surface speed by its axis (m/s), backspin positive about z.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray

_LONGEST, _SHORTEST = 0.02, 4e-4
"""Steps (s): no longer than the first, no shorter than the second however near the ball is to a touch."""

_MOST_STEPS = 700
"""A ball that is neither in nor out after so many lies between rim and board, and is not in."""
_FRICTION = 0.5
"""Of a ball on rim and board: common practice for rubber, plastic and leather on painted metal."""


@frozen
class Rim:
    """``radius`` (m) of the opening, ``tube`` (m): radius of the rim's round section; ``board`` (m): width, height and
    distance behind the rim, None where there is none."""

    radius: float
    tube: float
    board: tuple[float, float, float] | None = None

    @property
    def ring(self) -> float:
        """Radius (m) of the middle of the rim."""
        return self.radius + self.tube

    @property
    def board_at(self) -> float:
        """Where the board stands, x (m); infinite without one."""
        return np.inf if self.board is None else self.radius + 2 * self.tube + self.board[2]


def falls_in(
    rim: Rim,
    ball: float,
    inertia: float,
    place: FloatArray,
    velocity: FloatArray,
    spin: FloatArray,
    restitution: FloatArray,
) -> BoolArray:
    """Which balls (n,) fall in: ``ball`` (m) their radius, ``inertia`` I / (m R^2), ``place`` and ``velocity`` (3, n)
    before the first touch, ``spin`` (n,), ``restitution`` (n,) of their touches."""
    n = place.shape[1]
    turn = np.stack([np.zeros(n), np.zeros(n), spin])
    scored = np.zeros(n, dtype=bool)
    lanes, q, v, e = np.arange(n), place.copy(), velocity.copy(), restitution
    for _ in range(_MOST_STEPS):
        across = np.hypot(q[0], q[2])
        reach = np.hypot(across - rim.ring, q[1]) - rim.tube - ball
        gap = np.minimum(reach, rim.board_at - ball - q[0])
        step = np.clip(0.6 * gap / (np.sqrt((v * v).sum(axis=0)) + 0.3), _SHORTEST, _LONGEST)
        q = q + v * step
        q[1] -= STANDARD_GRAVITY / 2 * step**2
        v[1] -= STANDARD_GRAVITY * step
        v, turn = _touch_rim(rim, ball, inertia, q, v, turn, e)
        if rim.board is not None:
            v, turn = _touch_board(rim, ball, inertia, q, v, turn, e)
        across = np.hypot(q[0], q[2])
        below = q[1] < -rim.tube
        within = below & (across < rim.radius)
        scored[lanes[within]] = True
        gone = within | (below & (q[1] < -rim.tube - ball)) | ((v[1] < 0) & (across > rim.ring + rim.tube + 8 * ball))
        if gone.any():
            left = ~gone
            lanes, q, v, turn, e = lanes[left], q[:, left], v[:, left], turn[:, left], e[left]
            if not lanes.size:
                break
    return scored


def _touch_rim(
    rim: Rim, ball: float, inertia: float, q: FloatArray, v: FloatArray, turn: FloatArray, e: FloatArray
) -> tuple[FloatArray, FloatArray]:
    across = np.maximum(np.hypot(q[0], q[2]), 1e-9)
    share = rim.ring / across
    away = np.stack([q[0] * (1 - share), q[1], q[2] * (1 - share)])
    far = np.sqrt((away * away).sum(axis=0))
    return _struck(far < rim.tube + ball, away / np.maximum(far, 1e-9), inertia, v, turn, e)


def _touch_board(
    rim: Rim, ball: float, inertia: float, q: FloatArray, v: FloatArray, turn: FloatArray, e: FloatArray
) -> tuple[FloatArray, FloatArray]:
    assert rim.board is not None
    width, height, _ = rim.board
    met = (q[0] > rim.board_at - ball) & (np.abs(q[2]) < width / 2) & (q[1] > 0) & (q[1] < height)
    normal = np.zeros_like(q)
    normal[0] = -1.0
    return _struck(met, normal, inertia, v, turn, e)


def _struck(
    met: BoolArray, normal: FloatArray, inertia: float, v: FloatArray, turn: FloatArray, e: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Velocity and spin after a touch of those balls that move into what they meet, ``normal`` (3, n) out of it."""
    into = -(v * normal).sum(axis=0)
    at = np.flatnonzero(met & (into > 0))
    if not at.size:
        return v, turn
    n, hit, w = normal[:, at], into[at], turn[:, at]
    slip = v[:, at] + hit * n + _cross(n, w)
    size = np.sqrt((slip * slip).sum(axis=0))
    way = slip / np.maximum(size, 1e-12)
    rub = np.minimum(_FRICTION * (1 + e[at]) * hit, size * inertia / (1 + inertia))
    v, turn = v.copy(), turn.copy()
    v[:, at] += (1 + e[at]) * hit * n - rub * way
    turn[:, at] += _cross(n, way) * rub / inertia
    return v, turn


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
