"""What one element takes out of the wheels: the drop that makes, and the energy a seen drop stands for."""

from __future__ import annotations

from fieldtune.link.sample import RPM
from fieldtune.robot.model import Robot


def drop_share(robot: Robot) -> float | None:
    """Drop over speed that one element makes; None where the profile can't tell. Independent of speed."""
    kept = robot.speed_kept
    return None if kept is None else 1 - max(kept, 0.2)


def released_energy(robot: Robot, before_rpm: float, depth_rpm: float) -> float | None:
    """Energy the wheels lost in a drop of so much from a speed, joules; None without an inertia."""
    total = robot.turning_inertia
    if not total:
        return None
    before, after = before_rpm / RPM, max(before_rpm - depth_rpm, 0.0) / RPM
    return total * (before**2 - after**2) / 2
