"""An element passing between driven wheels, integrated in time: Coulomb friction from slip to rolling.

Written apart from the program. In a contact of some 5 ms the motors do nothing that counts, so that each wheel has only
its own inertia. Two contacts press with the same force, a half sine in time; each drags the element's surface along
with up to friction times force, and no harder than it takes to stop the slip (time stepping with impulses: Moreau, in
Nonsmooth Mechanics and Applications (1988); from memory). What comes out depends on the impulse, not on the time.
Lower contact first. Speeds m/s along the exit, spin as the speed of the surface, backspin positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
PASSES = 30


@dataclass(frozen=True)
class Pass:
    """How n elements came out. ``speed``, ``spin`` (surface) m/s; ``wheel_speed`` (2, n) rad/s after; ``impulse``
    (2, n) N s forward on the element; ``heat`` J from slip; ``grip``: exit speed over the mean of the rims' speeds
    before; ``slip`` (2, n) m/s left at the end.
    """

    speed: FloatArray
    spin: FloatArray
    wheel_speed: FloatArray
    impulse: FloatArray
    heat: FloatArray
    grip: FloatArray
    slip: FloatArray


def rolled_through(
    mass: FloatArray,
    spin_mass: FloatArray,
    wheel_radius: FloatArray,
    wheel_inertia: FloatArray,
    wheel_speed: FloatArray,
    push: FloatArray,
    rail: bool = False,
    steps: int = 400,
) -> Pass:
    """n elements of ``mass`` (kg) and ``spin_mass`` I / R^2 (kg) between wheels of one size (m) with ``wheel_inertia``
    (kg m^2 each) that turn at ``wheel_speed`` (2, n) rad/s; ``push`` is friction times the whole impulse that presses
    (N s). ``rail``: the upper contact is a fixed rail.
    """
    m, i_e, r, inertia = mass, spin_mass, wheel_radius, wheel_inertia
    rims = np.array(wheel_speed, dtype=float) * r
    if rail:
        rims[1] = 0.0
    before = rims.copy()
    speed, spin = np.zeros_like(m), np.zeros_like(m)
    impulse, heat = np.zeros_like(rims), np.zeros_like(m)
    turning = np.stack([r**2 / inertia, np.zeros_like(m) if rail else r**2 / inertia])
    own, cross = 1 / m + 1 / i_e + turning, 1 / m - 1 / i_e
    for step in range(steps):
        most = push * (math.cos(math.pi * step / steps) - math.cos(math.pi * (step + 1) / steps)) / 2
        slip = np.stack([rims[0] - speed - spin, rims[1] - speed + spin])
        now = np.zeros_like(rims)
        for _ in range(PASSES):
            for side in (0, 1):
                stopping = (slip[side] - cross * now[1 - side]) / own[side]
                now[side] = np.clip(stopping, -most, most)
        left = slip - own * now - cross * now[::-1]
        heat += np.sum(now * (slip + left) / 2, axis=0)
        speed, spin = speed + (now[0] + now[1]) / m, spin + (now[0] - now[1]) / i_e
        rims, impulse = rims - turning * now, impulse + now
    return Pass(speed, spin, rims / r, impulse, heat, speed / before.mean(axis=0), left)
