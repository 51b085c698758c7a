"""What a robot is, in SI: frozen records that the profile reader fills and every other room reads.

Lengths in metres, masses in kilograms, angles in radians, speeds of rotation in rad/s, unless a name ends in its
unit. A key the profile leaves out is ``None`` where nothing sensible stands in for it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from fieldtune.errors import InputError

Shape = Literal["sphere", "disc", "block"]
Surface = Literal["smooth", "felt", "seamed", "dimpled", "perforated"]
Kind = Literal["flywheel", "striker", "arm"]
TargetKind = Literal["basket", "window", "zone", "gate"]
SetpointUnit = Literal["rpm", "%", "mm"]

_LOW, _FLAT = 2e-3, math.radians(0.5)
"""Height (m) and angle off the floor within which an element counts as sliding from the exit on."""


@dataclass(frozen=True, slots=True)
class Element:
    """What is launched. ``diameter`` for sphere and disc; ``length``, ``width``, ``height`` for a block.

    A disc's ``height`` is its thickness (optional key; a tenth of the diameter otherwise).
    """

    shape: Shape
    mass: float
    diameter: float | None = None
    length: float | None = None
    width: float | None = None
    height: float | None = None
    surface: Surface = "smooth"
    drag: float | None = None
    lift: float | None = None

    @property
    def extent(self) -> float:
        """Largest horizontal size, metres: the diameter, or the diagonal of a block's footprint."""
        if self.diameter is not None:
            return self.diameter
        return math.hypot(self.length or 0.0, self.width or 0.0)

    @property
    def lying_height(self) -> float:
        """Height of the centre above the floor it lies on, metres."""
        return ((self.diameter if self.shape == "sphere" else self.height) or 0.0) / 2

    @property
    def density(self) -> float:
        """Mean density, kg/m^3."""
        if self.shape == "block":
            volume = (self.length or math.nan) * (self.width or math.nan) * (self.height or math.nan)
        elif self.shape == "disc":
            volume = math.pi / 4 * (self.diameter or math.nan) ** 2 * (self.height or math.nan)
        else:
            volume = math.pi / 6 * (self.diameter or math.nan) ** 3
        return self.mass / volume

    @property
    def passing_size(self) -> float:
        """Size that has to fit through an opening, metres."""
        if self.shape == "block":
            return max(self.length or 0.0, self.width or 0.0, self.height or 0.0)
        return self.diameter or 0.0

    @property
    def mean_projected_area(self) -> float:
        """Mean area seen from all directions, m^2: a quarter of the surface for any convex body (Cauchy 1832)."""
        if self.shape == "sphere":
            return math.pi * (self.diameter or 0.0) ** 2 / 4
        if self.shape == "disc":
            d, t = self.diameter or 0.0, self.height or 0.0
            return (math.pi * d**2 / 2 + math.pi * d * t) / 4
        a, b, c = self.length or 0.0, self.width or 0.0, self.height or 0.0
        return (a * b + b * c + a * c) / 2


@dataclass(frozen=True, slots=True)
class Flywheel:
    """One wheel against a rail (``wheels`` = 1) or a pair; inertia per wheel, referred to its axis, kg m^2.

    ``speed_ratio`` is the second (upper) wheel's speed over the first (lower) one's: below 1 gives backspin.
    Stated by the maker, or by whoever tested a like one: ``wheel_strength``, the stress its material stands (Pa), and
    ``wheel_top_speed`` (rad/s).
    """

    wheels: int
    wheel_diameter: float
    wheel_inertia: float | None
    speed_ratio: float
    grip: float
    wheel_density: float | None = None
    wheel_strength: float | None = None
    wheel_top_speed: float | None = None


@dataclass(frozen=True, slots=True)
class Striker:
    """A spring-driven striker. ``preload`` is the spring force at the stop (draw 0), newtons."""

    contact: Literal["strike", "push"]
    spring_rate: float
    preload: float
    draw_min: float
    draw_max: float
    spring_mass: float
    striker_mass: float
    restitution: float
    efficiency: float


@dataclass(frozen=True, slots=True)
class Arm:
    """A swinging arm; draw is the travel of its tip along the arc before release, metres.

    Exactly one of ``spring_rate`` (N/m at the tip) and ``torque`` (N m at the pivot) drives it. ``release_angle`` is
    the arm's elevation above the horizontal at release, seen from behind, radians: the element then leaves at
    90 degrees minus it.
    """

    arm_length: float
    arm_inertia: float
    release_angle: float
    spring_rate: float | None
    torque: float | None
    preload: float
    draw_min: float
    draw_max: float
    efficiency: float


@dataclass(frozen=True, slots=True)
class SpringWire:
    """Optional wire data of a helical spring, for stress: SI, ``material`` by ASTM designation."""

    wire_diameter: float
    coil_diameter: float
    active_turns: float
    total_turns: float | None
    free_length: float | None
    material: str


@dataclass(frozen=True, slots=True)
class Launcher:
    """The mechanism and where the element leaves it."""

    kind: Kind
    exit_angle: float
    exit_height: float
    flywheel: Flywheel | None = None
    striker: Striker | None = None
    arm: Arm | None = None
    spring_wire: SpringWire | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """Motors and gears; ``gears`` holds (driving, driven) teeth a stage, motor first. Speeds in rad/s."""

    control: Literal["speed", "power"]
    motors: int
    nominal_voltage: float
    no_load_speed: float
    stall_torque: float
    stall_current: float
    no_load_current: float
    gears: tuple[tuple[int, int], ...]
    stage_efficiency: float
    crank_radius: float | None = None
    teeth_available: tuple[int, ...] = ()

    @property
    def reduction(self) -> float:
        """Motor turns a turn of the wheel, arm or crank."""
        product = 1.0
        for driving, driven in self.gears:
            product *= driven / driving
        return product

    @property
    def efficiency(self) -> float:
        """Of the whole gear train."""
        return float(self.stage_efficiency ** len(self.gears))


@dataclass(frozen=True, slots=True)
class Battery:
    """``chemistry`` None where the profile names none; ``resistance`` of pack and wiring, ohms, None if unknown.

    ``nominal_voltage`` is the pack's, the drive's where the profile gives none.
    """

    chemistry: Literal["nimh", "lead-acid", "li-ion", "lifepo4"] | None
    cells: int
    resistance: float | None
    capacity_ah: float | None = None
    nominal_voltage: float | None = None


@dataclass(frozen=True, slots=True)
class Encoder:
    """``counts_per_turn`` after x4 decoding."""

    counts_per_turn: float
    on: Literal["motor", "wheel"]
    bits: int


@dataclass(frozen=True, slots=True)
class Target:
    """An opening, upright window, floor zone or gate.

    ``opening``: basket (diameter,) or (depth, width); window (width, height); zone (depth, width); gate (width,).
    """

    kind: TargetKind
    height: float
    opening: tuple[float, ...]
    clearance: float = 0.0
    name: str | None = None

    @property
    def on_floor(self) -> bool:
        """Whether the element has to come over the floor (zone, gate) instead of through the air."""
        return self.kind in ("zone", "gate")


@dataclass(frozen=True, slots=True)
class Floor:
    """Kinetic friction coefficient; slope in radians, rising away from the launcher is positive.

    ``rolling`` is the rolling-resistance coefficient of a ball on it (force over weight); ``restitution`` that of the
    element bouncing on it, ``None`` where the profile gives none.
    """

    friction: float
    slope: float
    rolling: float = 0.02
    restitution: float | None = None


@dataclass(frozen=True, slots=True)
class Air:
    """Kelvin, pascal, relative humidity 0..1."""

    temperature: float = 288.15
    pressure: float = 101325.0
    humidity: float = 0.0


@dataclass(frozen=True, slots=True)
class SetpointRange:
    """What the robot program accepts, in ``unit``: rpm at the wheel, % of battery voltage, or mm of draw.

    ``high_given``: the profile says so; else ``high`` follows from what the drive or the draw can do.
    """

    unit: SetpointUnit
    low: float
    high: float
    step: float
    high_given: bool = True

    @property
    def decimals(self) -> int:
        """Decimals in which setpoints a step apart are told apart, three at most."""
        return 0 if self.step <= 0 else min(3, max(0, math.ceil(-math.log10(self.step) - 1e-9)))


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """How the robot's line is read; ``fields`` maps our name to the robot's."""

    port: str = "auto"
    baud: int | None = None
    checksum: Literal["auto", "required", "none"] = "auto"
    fields: dict[str, str] = field(default_factory=dict)
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Spot:
    """A named place on the field, ``distance`` in metres."""

    name: str
    distance: float


@dataclass(frozen=True, slots=True)
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
