"""A swinging arm that throws an element from its tip: work of spring or torque, less gravity's share, into arm and
element.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.constants import STANDARD_GRAVITY

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


def lift_work(
    draw: ArrayLike,
    arm_length: ArrayLike,
    release_angle: ArrayLike,
    tip_mass: ArrayLike,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Work (J) that lifts a mass (kg) at the tip through a draw (m along the arc) up to the release angle (rad, from
    behind).

    Negative where the tip comes down: an arm drawn beyond the vertical.
    """
    d, length, up, mass = (np.asarray(a, dtype=float) for a in (draw, arm_length, release_angle, tip_mass))
    return np.asarray(mass * gravity * length * (np.sin(up) - np.sin(up - d / length)), dtype=float)


def exit_speed(
    draw: ArrayLike,
    *,
    arm_length: ArrayLike,
    arm_inertia: ArrayLike,
    element_mass: ArrayLike,
    release_angle: ArrayLike,
    spring_rate: float | None,
    torque: float | None,
    preload: ArrayLike = 0.0,
    efficiency: ArrayLike = 1.0,
    arm_moment: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed (m/s) of the tip, and so of the element, at release; 0 where the arm is too weak to lift it.

    ``draw`` (m) is the tip's way along its arc. A spring of rate (N/m, at the tip) gives k d^2 / 2 + preload d, a
    constant torque (N m, at the pivot) gives torque d / length; ``spring_rate`` wins where both are given, and one
    must be. ``efficiency`` is on that work. The arm stands ``release_angle`` (rad) above the horizontal at release,
    seen from behind. ``arm_moment`` (kg m) is the arm's own mass times its centre's distance from the pivot, 0 where
    the arm is balanced or unknown. Broadcasts.
    """
    d, length = np.asarray(draw, dtype=float), np.asarray(arm_length, dtype=float)
    if spring_rate is not None:
        work = 0.5 * spring_rate * d**2 + np.asarray(preload, dtype=float) * d
    elif torque is not None:
        work = torque * d / length
    else:
        raise ValueError("an arm needs spring_rate or torque")
    mass = np.asarray(element_mass, dtype=float)
    weight_at_tip = mass + np.asarray(arm_moment, dtype=float) / length
    left = np.asarray(efficiency, dtype=float) * work - lift_work(d, length, release_angle, weight_at_tip, gravity)
    moving = np.asarray(arm_inertia, dtype=float) / length**2 + mass
    return np.asarray(np.sqrt(2 * np.maximum(left, 0.0) / moving), dtype=float)
