"""A ball over the floor: it slides until its surface keeps up, then rolls.

Friction at the touching point slows the ball and turns it until it rolls: without spin, on level floor, at
1 / (1 + alpha) of its speed with alpha = I / (m R^2): 5/7 for a solid sphere (alpha 2/5), 3/5 for a thin shell (2/3),
2/3 for a disc on its rim (1/2), 1/2 for a hoop (1) (closed form). Rolling, it carries 1 + alpha of its mass: slope,
rolling resistance and air drag slow it by 1 / (1 + alpha) of what they would slow a sliding body.

``spin`` is the surface speed of the spin (m/s), backspin positive: it may make the ball roll back, and then speeds and
distances are negative. Slopes in radians, rising away positive; distances along the floor. Everything broadcasts.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.physics import sliding

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

SOLID, SHELL = 2 / 5, 2 / 3
"""I / (m R^2) of a solid sphere and of a thin spherical shell."""

_PASSES, _NUDGE, _CLOSE = 30, 1e-4, 1e-12
_SLIP_STEPS = 8
"""Steps over the slip of a ball that air slows as well: 1e-6 of the distance."""


@frozen
class Ground:
    """What the floor does to an element: ``friction``, ``rolling`` resistance over weight, ``slope`` (rad),
    ``restitution`` of a bounce, air ``drag`` along the floor, rho C_D A / (2 m) in 1/m, and the element's ``inertia``
    I / (m R^2), inf where it does not turn.
    """

    friction: ArrayLike
    rolling: ArrayLike = 0.0
    slope: float = 0.0
    restitution: float = 0.0
    drag: float = 0.0
    inertia: float = SOLID


@frozen
class Rolling:
    """Where rolling begins: speed (m/s), distance (m) and time (s) from the start; nan where it never does."""

    speed: FloatArray
    distance: FloatArray
    time: FloatArray


def rolling_start(
    speed: ArrayLike, ground: Ground, spin: ArrayLike = 0.0, gravity: float = STANDARD_GRAVITY
) -> Rolling:
    """When a ball that starts at a speed (m/s) rolls: solid, without spin, on level floor after 2 v / (7 mu g).

    Without air drag in closed form. With it stepped over the slip of the touching point, which friction and air
    use up: v' = -a - c v |v| and slip' = -b - c v |v|, by the classical Runge-Kutta method of order 4.
    """
    v, mu, angle, alpha, s, c = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (speed, ground.friction, ground.slope, ground.inertia, spin, ground.drag))
    )
    slip, pull = v + s, gravity * np.sin(angle)
    rub = np.where(slip < 0, -1.0, 1.0) * gravity * mu * np.cos(angle)
    closing = rub * (1 + 1 / alpha) + pull
    usable = (closing * slip > 0) | (slip == 0)
    slowing = rub + pull
    if not np.any(c > 0):
        time = np.where(usable, slip, np.nan) / np.where(closing == 0, 1.0, closing)
        return Rolling(v - slowing * time, v * time - 0.5 * slowing * time**2, time)
    step = np.where(usable, slip, np.nan) / _SLIP_STEPS

    def rates(now: FloatArray) -> FloatArray:
        """Of speed, distance and time over slip that is used up."""
        air = c * now[0] * np.abs(now[0])
        per_time = closing + air
        held = np.where(per_time * slip > 0, per_time, np.nan)
        return np.stack([-(slowing + air) / held, now[0] / held, 1 / held])

    state = np.stack([v.astype(float), np.zeros_like(v), np.zeros_like(v)])
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(_SLIP_STEPS):
            k1 = rates(state)
            k2 = rates(state + 0.5 * step * k1)
            k3 = rates(state + 0.5 * step * k2)
            state = state + step / 6 * (k1 + 2 * k2 + 2 * k3 + rates(state + step * k3))
    rolled = np.where(slip == 0, np.stack([v, np.zeros_like(v), np.zeros_like(v)]), state)
    return Rolling(rolled[0], rolled[1], rolled[2])


def roll_stop_distance(
    speed: ArrayLike, ground: Ground, spin: ArrayLike = 0.0, gravity: float = STANDARD_GRAVITY
) -> FloatArray:
    """Distance (m) to rest of a ball.

    inf without rolling resistance on level floor, and where the floor falls away too steeply (minus inf: it rolls back
    for good).
    """
    begin = rolling_start(speed, ground, spin, gravity)
    way = np.where(begin.speed < 0, -1.0, 1.0)
    rolls = sliding.stop_distance(np.abs(begin.speed), ground.rolling, way * ground.slope, ground.drag, gravity)
    return np.asarray(begin.distance + way * rolls * (1 + ground.inertia), dtype=float)


def roll_needed_speed(
    distance: ArrayLike, ground: Ground, spin_ratio: ArrayLike = 0.0, gravity: float = STANDARD_GRAVITY
) -> FloatArray:
    """Speed (m/s) at which a ball comes to rest after a distance (m), and passes anything before it; nan where none
    does, or it would roll back. ``spin_ratio``: surface speed of the spin over the speed, backspin positive.

    Newton's method on ln(distance) over ln(speed), from the speed without air, whose line bends down with the air.
    """
    stop = np.asarray(distance, dtype=float)
    unit = rolling_start(1.0, replace(ground, drag=0.0), spin_ratio, gravity)
    slowing = sliding.slowing(ground.rolling, ground.slope, gravity)
    slowing = np.where((slowing > 0) & (unit.speed > 0), slowing, np.nan)
    share = unit.speed**2 * (1 + ground.inertia) / (2 * slowing)
    with np.errstate(invalid="ignore", divide="ignore"):
        wanted = np.log(np.where(stop > 0, stop, np.nan))
        x = 0.5 * (wanted - np.log(unit.distance + share))

        def reached(at: FloatArray) -> FloatArray:
            v = np.exp(at)
            return np.asarray(np.log(roll_stop_distance(v, ground, spin_ratio * v, gravity)))

        for _ in range(_PASSES):
            here = reached(x)
            steep = (reached(x + _NUDGE) - reached(x - _NUDGE)) / (2 * _NUDGE)
            change = np.clip((wanted - here) / steep, -1.0, 1.0)
            x = x + change
            if not np.any(np.abs(change) > _CLOSE):
                break
    return np.where(stop == 0, np.where(np.isnan(slowing), np.nan, 0.0), np.exp(x))


def roll_speed_at(
    speed: ArrayLike,
    distance: ArrayLike,
    ground: Ground,
    spin: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed left (m/s) of a ball that goes forward, after a distance (m); nan where it has stopped before."""
    begin = rolling_start(speed, ground, spin, gravity)
    v, x = np.asarray(speed, dtype=float), np.asarray(distance, dtype=float)
    share = np.minimum(x, begin.distance) / np.where(begin.distance > 0, begin.distance, 1.0)
    before = np.sqrt(np.maximum(v**2 + (begin.speed**2 - v**2) * share, 0.0))
    further = np.maximum(x - begin.distance, 0.0) / (1 + ground.inertia)
    rolls = sliding.speed_at(begin.speed, further, ground.rolling, ground.slope, ground.drag, gravity)
    return np.where(x < begin.distance, before, np.where(begin.speed < 0, np.nan, rolls))


def roll_time_to(
    speed: ArrayLike,
    distance: ArrayLike,
    ground: Ground,
    spin: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Time (s) of a ball that goes forward to a distance (m); nan where it has stopped before."""
    begin = rolling_start(speed, ground, spin, gravity)
    v, x = np.asarray(speed, dtype=float), np.asarray(distance, dtype=float)
    near = np.minimum(x, begin.distance)
    share = near / np.where(begin.distance > 0, begin.distance, 1.0)
    before = 2 * near / np.maximum(v + np.sqrt(np.maximum(v**2 + (begin.speed**2 - v**2) * share, 0.0)), 1e-12)
    further = np.maximum(x - begin.distance, 0.0) / (1 + ground.inertia)
    # Slowed by a share over x is the speed slowed in full over that share of x, but takes longer by its inverse.
    rolls = sliding.time_to(begin.speed, further, ground.rolling, ground.slope, ground.drag, gravity)
    rolls = rolls * (1 + ground.inertia)
    return np.where(x < begin.distance, before, np.where(begin.speed < 0, np.nan, begin.time + rolls))
