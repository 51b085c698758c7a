"""The causes of misses: what each is called, what helps against it, how far it moves a shot at one spot.

What isn't known yet is correlated once shots have spoken (less grip and less drag look alike), so the mean square miss
of the unknowns is shared out by Shapley effects: each one's mean contribution over all orders in which they could
become known (Owen & Prieur, SIAM/ASA J. Uncertainty Quantification 5 (2017) 986; from memory).
They are never negative and sum to the whole; where nothing is correlated they are the plain variances.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import Belief, Unknowns
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Target

SPEED, ANGLE, SIDE = "speed scatter", "angle scatter", "side scatter"
HOLD, STEP, BATTERY, READING = "hold error", "setpoint step", "battery", "distance reading"
LEVEL, EXIT_ANGLE, DRAG, FRICTION, BIAS = "exit speed", "exit angle", "drag", "friction", "side bias"

SCATTERS = (SPEED, ANGLE, SIDE, HOLD, BATTERY)
UNKNOWNS = (LEVEL, EXIT_ANGLE, DRAG, FRICTION, READING)

REMEDIES = {
    SPEED: "feed elements of one size and hardness the same way each time, at full speed",
    ANGLE: "take play out of the guide that the element leaves by",
    SIDE: "guide the element at both sides until it has left",
    HOLD: "tune the wheel's control: fieldtune response shows how well it holds",
    STEP: "let the robot program accept finer setpoints",
    BATTERY: "measure the battery's voltage and give it, or control the speed by the encoder",
    READING: "measure the distance from the element at the exit, and check the sensor against a tape",
    LEVEL: "confirm shots: fieldtune next says which",
    EXIT_ANGLE: "confirm shots from unlike distances, or film the exit from the side",
    DRAG: "confirm shots from unlike distances",
    FRICTION: "confirm shots from unlike distances, or tilt a piece of the floor",
    BIAS: "turn the launcher by the side bias that the shots show",
}
"""What helps against each cause."""


_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_NEWTON = 5


@frozen
class KnownErrors:
    """What shots do not tell, as standard deviations of the log exit speed; None where unknown.

    ``hold``: of the wheel at release around its setpoint; it is a part of the speed scatter. ``battery``: of an open
    loop whose voltage nobody has measured; 0 where the voltage is known or doesn't matter.
    """

    hold: float | None
    battery: float | None


Change = Callable[[Belief, float], Belief]
"""Makes a cause smaller: by a share of 1 (gone) or 1/2."""


@frozen
class Part:
    """A cause before its hit chances: mean square miss (m^2), and how to make it smaller (None: the step)."""

    cause: str
    square: float
    smaller: Change | None


def parts_at(
    target: Target,
    need: RequiredSpeed,
    belief: Belief,
    distance: float,
    level: FloatArray,
    errors: KnownErrors,
    rounding: float,
) -> list[Part]:
    """All causes that act at this spot. ``level`` (size,) turns gains into log speed at the setpoint."""
    draws, best, weights = belief.draws, belief.best, belief.weights
    true = distance + float(best.distance_bias[0])
    hold, battery = errors.hold or 0.0, errors.battery or 0.0
    unknowns = _covariance(_unknowns(draws, level), weights)
    slopes = [_slope(need, belief, true, which, math.sqrt(unknowns[which, which])) for which in range(4)]

    def mean_square(values: FloatArray) -> float:
        return float(weights @ values**2)

    def moved(which: int, square: float) -> float:
        return square * _slope(need, belief, true, which, math.sqrt(square)) ** 2

    speed = max(mean_square(draws.speed_scatter) - hold**2 - battery**2, 0.0)
    parts = [
        Part(SPEED, moved(0, speed), partial(_less_of_the_rest, hold**2 + battery**2)),
        Part(SIDE, true**2 * mean_square(draws.side_scatter), partial(_scaled, "side_scatter")),
        Part(BIAS, true**2 * mean_square(draws.side_bias), partial(_scaled, "side_bias")),
        Part(STEP, moved(0, rounding**2), None),
    ]
    angle = moved(1, mean_square(draws.angle_scatter))
    if angle > 0:
        parts.append(Part(ANGLE, angle, partial(_scaled, "angle_scatter")))
    for name, sd in ((HOLD, errors.hold), (BATTERY, errors.battery)):
        if sd:
            parts.append(Part(name, moved(0, sd**2), partial(_less_scatter, sd)))
    names = (LEVEL, EXIT_ANGLE, target.by_way(lambda: DRAG, lambda: FRICTION), READING)
    squares = shapley_effects(unknowns, np.array(slopes))
    for i, (name, square) in enumerate(zip(names, squares, strict=True)):
        if slopes[i] != 0:
            parts.append(Part(name, float(square), partial(_known, level, i)))
    return parts


def _slope(need: RequiredSpeed, belief: Belief, true: float, which: int, sd: float) -> float:
    """Root mean square miss (m) over the standard deviation of one cause that acts alone, with its sign.

    ``which``: log exit speed, angle, log drag or distance. Near the angle that throws farthest the miss is a parabola
    over the angle, so it is solved for at seven points (Gauss-Hermite) and not linearised; where no speed gets there,
    it is.
    """
    best = belief.best
    at = need.log_speed(true, 0.0, best.angle_error, best.log_drag)
    linear = float((np.array([1.0, -at.d_angle[0], -at.d_drag[0], -at.d_distance[0]]) / at.d_miss[0])[which])
    if linear == 0 or not sd > 0:
        return linear
    shift = [sd * _NODES if k == which else 0 * _NODES for k in range(4)]
    miss = linear * shift[which]
    for _ in range(_NEWTON):
        there = need.log_speed(true + shift[3], miss, best.angle_error + shift[1], best.log_drag + shift[2])
        step = (at.value + shift[0] - there.value) / there.d_miss
        step = np.where(np.isfinite(step) & (there.d_miss > 0), step, 0.0)
        miss = miss + np.clip(step, -true / 4, true / 4)
    return math.copysign(math.sqrt(float(_WEIGHTS @ miss**2)) / sd, linear)


# -- making a cause smaller ------------------------------------------------------------------------------------------


def _scaled(name: str, belief: Belief, share: float) -> Belief:
    return replace(belief, draws=replace(belief.draws, **{name: getattr(belief.draws, name) * (1 - share)}))


def with_scatter(belief: Belief, sd: float) -> Belief:
    """With one more independent scatter of the log exit speed."""
    return replace(belief, draws=replace(belief.draws, speed_scatter=np.hypot(belief.draws.speed_scatter, sd)))


def _less_scatter(sd: float, belief: Belief, share: float) -> Belief:
    """With a part ``sd`` of the speed scatter made smaller by a share."""
    lost = sd**2 * (1 - (1 - share) ** 2)
    scatter = np.sqrt(np.maximum(belief.draws.speed_scatter**2 - lost, 0.0))
    return replace(belief, draws=replace(belief.draws, speed_scatter=scatter))


def _less_of_the_rest(other: float, belief: Belief, share: float) -> Belief:
    """With all but ``other`` (a variance) of the speed scatter made smaller by a share."""
    own = np.maximum(belief.draws.speed_scatter**2 - other, 0.0)
    return replace(belief, draws=replace(belief.draws, speed_scatter=np.sqrt(other + own * (1 - share) ** 2)))


def _known(level: FloatArray, which: int, belief: Belief, share: float) -> Belief:
    return better_known(belief, level, which, share)


def _unknowns(draws: Unknowns, level: FloatArray) -> FloatArray:
    """What acts along the range (K, 4): log exit speed at the setpoint, angle, log drag, distance."""
    return np.column_stack([draws.gain @ level, draws.angle_error, draws.log_drag, draws.distance_bias])


def _covariance(values: FloatArray, weights: FloatArray) -> FloatArray:
    away = values - weights @ values
    return np.asarray((away * weights[:, None]).T @ away)


def better_known(belief: Belief, level: FloatArray, which: int, share: float) -> Belief:
    """The belief with one unknown nearer to its mean by a share of 1, and all others as they go with it.

    The others move by their regression on it: the conditional distribution, were all normal.
    """
    draws, weights = belief.draws, belief.weights
    seen = _unknowns(draws, level)[:, which]
    away = seen - weights @ seen
    variance = float(weights @ away**2)
    if not variance > 0:
        return belief

    def moved(values: FloatArray) -> FloatArray:
        return np.asarray(values - share * np.multiply.outer(away, (weights * away) @ values / variance))

    return replace(
        belief,
        draws=replace(
            draws,
            gain=moved(draws.gain),
            angle_error=moved(draws.angle_error),
            log_drag=moved(draws.log_drag),
            distance_bias=moved(draws.distance_bias),
        ),
    )


def shapley_effects(covariance: FloatArray, slopes: FloatArray) -> FloatArray:
    """Variance of ``slopes @ x`` shared out among correlated normal x (n,): (n,), summing to the whole.

    Owen & Prieur (2017): what knowing x_i takes off the variance, averaged over the orders.
    """
    n = len(slopes)

    def explained(known: tuple[int, ...]) -> float:
        """Variance that knowing these takes away."""
        if not known:
            return 0.0
        cross = covariance[list(known)] @ slopes
        return float(cross @ np.linalg.pinv(covariance[np.ix_(known, known)], hermitian=True) @ cross)

    effects = np.zeros(n)
    for i in range(n):
        others = [k for k in range(n) if k != i]
        for size in range(n):
            weight = math.factorial(size) * math.factorial(n - size - 1) / math.factorial(n)
            for known in combinations(others, size):
                together = tuple(sorted((*known, i)))
                effects[i] += weight * (explained(together) - explained(known))
    return np.maximum(effects, 0.0)
