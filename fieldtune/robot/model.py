"""What a robot is, in SI: frozen records that the profile reader fills and every other room reads.

Lengths in metres, masses in kilograms, angles in radians, speeds of rotation in rad/s, unless a name ends in its
unit. A key the profile leaves out is ``None`` where nothing sensible stands in for it.
"""

from __future__ import annotations

import math
from dataclasses import field, replace
from pathlib import Path
from typing import Literal

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.robot.arm import Arm
from fieldtune.robot.drivetrain import Battery, Drive, Encoder
from fieldtune.robot.element import Element, Shape, Surface
from fieldtune.robot.flywheel import Flywheel
from fieldtune.robot.launchers import Launcher, Mechanism, Outline
from fieldtune.robot.setpoints import SetpointRange, SetpointUnit
from fieldtune.robot.spring import SpringWire
from fieldtune.robot.striker import Striker
from fieldtune.robot.target_kinds import Basket, Gate, Window, Zone
from fieldtune.robot.targets import Target

__all__ = [
    "Air", "Arm", "Basket", "Battery", "Drive", "Element", "Encoder", "Floor", "Flywheel", "Gate", "Hood",
    "Launcher", "LinkSettings", "Mechanism", "Robot", "SetpointRange", "SetpointUnit", "Shape", "Spot", "SpringWire",
    "Striker", "Surface", "Target", "Uncertainty", "Window", "Zone",
]  # fmt: skip

_LOW, _FLAT = 2e-3, math.radians(0.5)
"""Height (m) and angle off the floor within which an element counts as sliding from the exit on."""


@frozen
class Floor:
    """Kinetic friction coefficient; slope in radians, rising away from the launcher is positive.

    ``rolling`` is the rolling-resistance coefficient of a ball on it (force over weight); ``restitution`` that of the
    element bouncing on it, ``None`` where the profile gives none.
    """

    friction: float
    slope: float
    rolling: float = 0.02
    restitution: float | None = None


@frozen
class Air:
    """Kelvin, pascal, relative humidity 0..1."""

    temperature: float = 288.15
    pressure: float = 101325.0
    humidity: float = 0.0


@frozen
class Uncertainty:
    """One standard deviation each: relative for grip, drag, friction, efficiency, exit_speed_scatter; else SI."""

    grip: float = 0.08
    efficiency: float = 0.10
    exit_angle: float = math.radians(2.0)
    drag: float = 0.15
    friction: float = 0.20
    distance: float = 0.03
    exit_speed_scatter: float = 0.015
    exit_angle_scatter: float = math.radians(0.6)
    side_scatter: float = math.radians(2.0)
    miss: float = 0.05
    remainder: float | None = None
    """What the physics leaves out, over the setpoints: relative exit speed; None for a share of grip or efficiency."""
    battery: float = 0.02
    """Exit speed from one battery period to the next, relative."""


@frozen
class LinkSettings:
    """How the robot's line is read; ``fields`` maps our name to the robot's.

    ``scale``: by our name, what the robot's numbers are multiplied by to be in our unit. ``opening``: gentle where the
    controller is not to start anew each time its port is opened.
    """

    port: str = "auto"
    baud: int | None = None
    checksum: Literal["auto", "required", "none"] = "auto"
    fields: dict[str, str] = field(default_factory=dict)
    columns: tuple[str, ...] = ()
    scale: dict[str, float] = field(default_factory=dict)
    opening: Literal["usual", "gentle"] = "usual"


@frozen
class Spot:
    """A named place on the field, ``distance`` in metres."""

    name: str
    distance: float


@frozen
class Hood:
    """What sets the exit angle: lowest and highest angle above the horizontal and the step between settings, degrees.

    The exit angle in ``[launcher]`` is where it stands when nothing else is known.
    """

    low: float
    high: float
    step: float

    @property
    def settings(self) -> tuple[float, ...]:
        """The angles (degrees) that are tried for a recommendation: all, or evenly spread ones where there are many."""
        count = self._steps
        every = math.ceil(count / _MOST_SETTINGS)
        chosen = [round(self.low + k * self.step, 9) for k in range(0, count + 1, every)]
        return tuple(chosen if count % every == 0 else [*chosen, round(self.low + count * self.step, 9)])

    def nearest(self, exit_angle_deg: float) -> float:
        """The setting nearest to an angle, degrees."""
        steps = round((min(max(exit_angle_deg, self.low), self.high) - self.low) / self.step)
        return round(self.low + min(steps, self._steps) * self.step, 9)

    @property
    def _steps(self) -> int:
        """Steps from the lowest to the highest setting."""
        return math.floor((self.high - self.low) / self.step + 1e-6)

    def holds(self, exit_angle_deg: float) -> bool:
        """Whether it can stand at this angle, within half a step."""
        return self.low - self.step / 2 <= exit_angle_deg <= self.high + self.step / 2


_MOST_SETTINGS = 32
"""More angles than this tell nothing more: the hit chance over the angle has no narrower peaks."""


@frozen
class Robot:
    """One robot, complete. ``name`` is the profile's stem; ``targets`` has at least one entry."""

    name: str
    title: str
    element: Element
    launcher: Launcher
    drive: Drive | None
    battery: Battery | None
    encoder: Encoder | None
    targets: tuple[Target, ...]
    floor: Floor
    air: Air
    setpoint: SetpointRange
    uncertainty: Uncertainty
    link: LinkSettings
    spots: tuple[Spot, ...]
    path: Path | None = None
    warnings: tuple[tuple[str, str], ...] = ()
    turret: tuple[float, float] | None = None
    """How far the launcher turns by itself, radians, positive right; None where the whole robot has to."""
    field_range: tuple[float, float] | None = None
    """Nearest and farthest distance (m) that it plays from, where the profile says so ([field]); None elsewhere."""

    hood: Hood | None = None
    """How the exit angle can be set ([hood]); None where it is fixed."""

    feed_interval: float | None = None
    """Seconds from one fed element to the next ([feeder]); None where unknown."""

    @property
    def exit_angle_deg(self) -> float:
        """The profile's exit angle, degrees; with a hood, where that stands when nothing else is known."""
        return round(math.degrees(self.launcher.exit_angle), 9)

    def with_exit_angle(self, exit_angle_deg: float | None) -> Robot:
        """The robot with its hood held at an angle, degrees; as it stands by the profile where None.

        Without a hood the robot itself. Raises ``InputError`` for an angle that the hood can't have.
        """
        if self.hood is None:
            return self
        angle = math.degrees(self.launcher.exit_angle) if exit_angle_deg is None else exit_angle_deg
        if not self.hood.holds(angle):
            span = f"{self.hood.low:g} to {self.hood.high:g} deg"
            raise InputError(f"exit angle {angle:g} deg: {self.name}'s hood goes from {span}")
        radians = self.launcher.exit_angle if exit_angle_deg is None else math.radians(angle)
        return replace(self, launcher=replace(self.launcher, exit_angle=radians), hood=None)

    @property
    def turning_inertia(self) -> float | None:
        """Inertia (kg m^2) of wheels and rotors at the first wheel's speed; None without wheels, or where unknown."""
        wheels, rotors = self.launcher.mechanism.turning_inertia, 0.0 if self.drive is None else self.drive.rotors
        return None if wheels is None else wheels + rotors

    @property
    def speed_kept(self) -> float | None:
        """Share of its speed that a wheel keeps through a shot; None without wheels, or where unknown."""
        rotors = 0.0 if self.drive is None else self.drive.rotors
        kept = self.launcher.mechanism.by_motion(lambda wheel: wheel.speed_kept(self.element, rotors), lambda _: None)
        return None if kept is None else float(kept)

    @property
    def outline(self) -> Outline:
        """The launcher to scale, seen from the side."""
        return self.launcher.mechanism.outline(self.launcher.exit_angle, self.launcher.exit_height, self.element)

    @property
    def lands_first(self) -> bool:
        """Whether the element falls or flies to the floor before it slides or rolls there."""
        steep = self.launcher.exit_angle > max(self.floor.slope, 0.0) + _FLAT
        return steep or self.launcher.exit_height > self.element.lying_height + _LOW

    def target(self, name: str | None = None) -> Target:
        """The target of that name, or the only (first) one; raises ``InputError`` naming those there are."""
        if name is None:
            return self.targets[0]
        for target in self.targets:
            if target.name == name:
                return target
        names = [target.name for target in self.targets if target.name is not None]
        known = f"it has: {', '.join(names)}" if names else "its one target has no name, so leave the name out"
        raise InputError(f"robot {self.name} has no target {name!r}; {known}")
