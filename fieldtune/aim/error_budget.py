"""Error budget: how much of the miss each cause makes, what mending it buys, whether the wheel holds well enough.

Misses add up as mean squares, along the range and to the side together. Hit chances without a cause are computed
anew, with the setpoint chosen anew, and never linearised.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import Belief
from fieldtune.aim.error_causes import BATTERY, HOLD, REMEDIES, SCATTERS, UNKNOWNS, KnownErrors, parts_at, with_scatter
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.hood import at_best_angle, hood_table
from fieldtune.aim.places import Place
from fieldtune.aim.reach import why_not
from fieldtune.aim.recommend import mean_log_speed
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.setpoint_search import Best, best_setpoint
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import how_far
from fieldtune.robot.exit_speed import drive_quantity
from fieldtune.robot.model import Robot, Target

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed

_RIPPLES = 2.0


@frozen
class Held:
    """How the wheel was seen to hold one setpoint, rpm: steady error (positive: too fast), root mean square ripple."""

    setpoint: float
    steady_error_rpm: float
    ripple_rpm: float


@frozen
class HoldSpot:
    """At one spot: the good range, and what the wheel runs at when told the best setpoint (ripple twice over)."""

    distance_m: float
    spot: str | None
    setpoint: float
    low: float
    high: float
    held_low: float
    held_high: float

    @property
    def good_enough(self) -> bool:
        """Whether all of it lies within the good range."""
        return self.low <= self.held_low and self.held_high <= self.high


@frozen
class HoldVerdict:
    """``good_enough``: at every spot; None where no spot scores, or the setpoint is not a speed."""

    good_enough: bool | None
    words: str
    spots: tuple[HoldSpot, ...] = ()


def hold_verdict(
    robot: Robot, target: Target, belief: Belief, places: Sequence[Place], seen: Sequence[Held], battery_v: float | None
) -> HoldVerdict:
    """Compares what the wheel was seen to do at the nearest setpoint with the good range at each spot."""
    if not robot.setpoint.scale.is_speed or not seen:
        return HoldVerdict(None, "no verdict: the setpoint is not a wheel speed, so there is none to hold")
    spots = []
    rows = hood_table(robot, target, belief, [place.distance_m for place in places], battery_v)
    for place, row in zip(places, rows, strict=True):
        if row.setpoint is None or row.low is None or row.high is None:
            continue
        value = row.setpoint
        nearest = min(seen, key=lambda held: abs(held.setpoint - value))
        share = value / nearest.setpoint
        middle, most = value + share * nearest.steady_error_rpm, _RIPPLES * share * nearest.ripple_rpm
        spots.append(HoldSpot(place.distance_m, place.name, value, row.low, row.high, middle - most, middle + most))
    if not spots:
        return HoldVerdict(None, "no verdict: no spot scores, so there is no good range to hold")
    bad = [spot for spot in spots if not spot.good_enough]
    if not bad:
        least = min(spots, key=lambda spot: min(spot.held_low - spot.low, spot.high - spot.held_high))
        return HoldVerdict(
            True, f"good enough: at every spot the wheel stays in the good range; {_said(least)}", (*spots,)
        )
    worst = max(bad, key=lambda spot: max(spot.low - spot.held_low, spot.held_high - spot.high))
    where = "at every spot" if len(bad) == len(spots) else f"at {len(bad)} of {len(spots)} spots"
    words = f"not good enough: {where} the wheel leaves the good range; {_said(worst)}"
    return HoldVerdict(False, words, tuple(spots))


def _said(spot: HoldSpot) -> str:
    name = spot.spot or how_far(spot.distance_m)
    return (
        f"at {name} it runs between {spot.held_low:.0f} and {spot.held_high:.0f} rpm, "
        f"and {spot.low:.0f} to {spot.high:.0f} rpm score nearly as well as the best"
    )


_WORTH_MENDING = 0.005
_WORST_HOLD = 0.5


@frozen
class Cause:
    """One cause of misses at one spot; ``None`` where nobody has measured it.

    ``miss_m``: its root mean square. ``share``: of the mean square miss. ``without`` and ``halved``: hit chance if it
    were gone, or half as large; for an unknown: if it were known, or known twice as well.
    """

    cause: str
    miss_m: float | None
    share: float | None
    without: float | None
    halved: float | None


@frozen
class SpotBudget:
    """The budget at one distance, largest cause first; no causes where nothing scores from there (``why_not``).

    ``miss_m`` is the root mean square of all causes together. ``hit_probability`` is that of ``aim``, less what the
    battery costs where its voltage is not known.
    """

    distance_m: float
    spot: str | None
    setpoint: float | None
    hit_probability: float | None
    miss_m: float | None
    causes: tuple[Cause, ...] = ()
    why_not: str | None = None


@frozen
class ErrorBudget:
    """Budgets of all spots; ``mend_first`` names the cause that pays most when halved, ``advice`` says it."""

    robot: str
    spots: tuple[SpotBudget, ...]
    mend_first: str | None
    advice: str


def error_budget(
    robot: Robot,
    target: Target,
    belief: Belief,
    places: Sequence[Place],
    errors: KnownErrors,
    battery_v: float | None = None,
) -> ErrorBudget:
    """The error budget at some distances. Raises ``InputError`` for a hold error that is none."""
    if errors.hold is not None and not 0 <= errors.hold < _WORST_HOLD:
        raise InputError(f"hold error {errors.hold:g}: expected a share of the setpoint from 0 to 0.5, such as 0.01")
    held = [at_best_angle(robot, target, belief, place.distance_m, battery_v) for place in places]
    spots = tuple(
        _spot(one, target, required_speed_for(one, target), belief, place, errors, battery_v)
        for one, place in zip(held, places, strict=True)
    )
    cause, advice = _advice(spots)
    return ErrorBudget(robot.name, spots, cause, advice)


# -- one spot --------------------------------------------------------------------------------------------------------


def _spot(
    robot: Robot,
    target: Target,
    need: RequiredSpeed,
    belief: Belief,
    place: Place,
    errors: KnownErrors,
    battery_v: float | None,
) -> SpotBudget:
    lowest = target.slowest_wins
    belief = with_scatter(belief, errors.battery or 0.0)

    def best_of(changed: Belief, of: Robot = robot, rounded: bool = True) -> tuple[Best | None, HitChanceCurve]:
        curve = HitChanceCurve.at(of, need, changed, place.distance_m, battery_v)
        return best_setpoint(curve, lowest_wins=lowest, rounded=rounded), curve

    best, exact = best_of(belief)[0], best_of(belief, rounded=False)[0]
    reason = why_not(robot, target, need, belief, place.distance_m, battery_v)
    if best is None or exact is None or reason is not None:
        said = reason or f"no setpoint scores from {how_far(place.distance_m)}"
        return SpotBudget(place.distance_m, place.name, None, None, None, why_not=said)

    def chance(changed: Belief, of: Robot = robot) -> float:
        found, curve = best_of(changed, of)
        # The setpoint chosen is the middle of what scores nearly as well as the best: the old one may be the better.
        return max(found.probability if found else 0.0, float(curve.mean(np.array([best.setpoint]))[0]))

    rounding = mean_log_speed(robot, belief, best.setpoint, battery_v)
    rounding -= mean_log_speed(robot, belief, exact.setpoint, battery_v)
    level = belief.basis.at(drive_quantity(robot, best.setpoint, battery_v))[0]
    parts = parts_at(target, need, belief, place.distance_m, level, errors, rounding)
    whole = sum(part.square for part in parts)
    finer = replace(robot, setpoint=replace(robot.setpoint, step=robot.setpoint.step / 2))
    causes = []
    for part in sorted(parts, key=lambda part: -part.square):
        if part.smaller is None:
            without, halved = exact.probability, chance(belief, finer)
        else:
            without, halved = chance(part.smaller(belief, 1.0)), chance(part.smaller(belief, 0.5))
        if part.cause not in SCATTERS:
            # To know more can't harm; what the draws' chance correlations make of it, a few tenths of a point, can.
            without, halved = max(without, best.probability), max(halved, best.probability)
        share = part.square / whole if whole > 0 else 0.0
        causes.append(Cause(part.cause, math.sqrt(part.square), share, without, halved))
    unmeasured = [HOLD] * (errors.hold is None) + [BATTERY] * (errors.battery is None)
    causes += [Cause(name, None, None, None, None) for name in unmeasured]
    return SpotBudget(place.distance_m, place.name, best.setpoint, best.probability, math.sqrt(whole), tuple(causes))


# -- in words --------------------------------------------------------------------------------------------------------


def _advice(spots: Sequence[SpotBudget]) -> tuple[str | None, str]:
    """The cause whose half buys most over the spots, and one sentence."""
    judged = [spot for spot in spots if spot.hit_probability is not None]
    if not judged:
        return None, "nothing to mend before one of these distances can be reached"
    now = float(np.mean([spot.hit_probability for spot in judged if spot.hit_probability is not None]))
    halved: dict[str, list[float]] = {}
    for spot in judged:
        for cause in spot.causes:
            if cause.halved is not None:
                halved.setdefault(cause.cause, []).append(cause.halved)
    means = {cause: float(np.mean(chances)) for cause, chances in halved.items() if len(chances) == len(judged)}
    first = max(means, key=lambda cause: means[cause], default=None)
    if first is None or means[first] - now < _WORTH_MENDING:
        return (
            None,
            f"no single cause is worth mending: half of any changes the hit chance of {_percent(now)} by under 1 %",
        )
    over = f" (mean of {len(judged)} spots)" if len(judged) > 1 else ""
    buys = f"the hit chance from {_percent(now)} to {_percent(means[first])}{over}; {REMEDIES[first]}"
    if first in UNKNOWNS:
        return first, f"first find out the {first}: known twice as well, it raises {buys}"
    return first, f"mend first the {first}: half of it raises {buys}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
