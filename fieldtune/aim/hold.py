"""Whether the robot's own control holds the wheel well enough for the good range of its setpoints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldtune.aim.draws import Belief
from fieldtune.aim.places import Place
from fieldtune.aim.recommend import table
from fieldtune.robot.model import Robot, Target

_RIPPLES = 2.0


@dataclass(frozen=True, slots=True)
class Held:
    """How the wheel was seen to hold one setpoint, rpm: steady error (positive: too fast), root mean square ripple."""

    setpoint: float
    steady_error_rpm: float
    ripple_rpm: float


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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
    for place, row in zip(places, table(robot, target, belief, [p.distance_m for p in places], battery_v), strict=True):
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
    name = spot.spot or f"{spot.distance_m:.2f} m"
    return (
        f"at {name} it runs between {spot.held_low:.0f} and {spot.held_high:.0f} rpm, "
        f"and {spot.low:.0f} to {spot.high:.0f} rpm score nearly as well as the best"
    )
