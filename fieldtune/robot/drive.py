"""What moves the launcher, as the profile gives it: motors and gears, battery, encoder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fieldtune.robot.chemistry import CHEMISTRIES, Chemistry, ChemistryName


@dataclass(frozen=True, slots=True)
class Drive:
    """Motors and gears; ``gears`` holds (driving, driven) teeth a stage, motor first. Speeds in rad/s.

    ``rotor_inertia``: of one motor's rotor, kg m^2; 0 where the profile counts it to the wheels or leaves it out.
    ``no_load_torque`` (N m at the output): what gears, chain and bearings take beyond the motors' own no-load current.
    """

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
    rotor_inertia: float = 0.0
    no_load_torque: float | None = None

    @property
    def reduction(self) -> float:
        """Motor turns per turn of the wheel, arm or crank."""
        product = 1.0
        for driving, driven in self.gears:
            product *= driven / driving
        return product

    @property
    def efficiency(self) -> float:
        """Of the whole gear train."""
        return float(self.stage_efficiency ** len(self.gears))

    @property
    def rotors(self) -> float:
        """Inertia of all rotors at the output, kg m^2."""
        return self.motors * self.rotor_inertia * self.reduction**2

    @property
    def no_load_output(self) -> float:
        """Speed (rad/s) of wheel, arm or crank without load at nominal voltage."""
        return self.no_load_speed / self.reduction


@dataclass(frozen=True, slots=True)
class Battery:
    """``chemistry`` None where the profile names none; ``resistance`` of battery and wiring, ohms, None if unknown.

    ``nominal_voltage`` is the battery's, the drive's where the profile gives none. ``brownout``: voltage (V) below
    which the robot's controller cuts the motors or restarts.
    """

    chemistry: ChemistryName | None
    cells: int
    resistance: float | None
    capacity_ah: float | None = None
    nominal_voltage: float | None = None
    brownout: float | None = None

    @property
    def cell(self) -> Chemistry | None:
        """What its cells are like; None where the profile names no chemistry."""
        return None if self.chemistry is None else CHEMISTRIES[self.chemistry]

    def rest_voltage(self, charge: float) -> float | None:
        """Voltage at rest (V) at a charge 0..1; None without a chemistry."""
        return None if self.cell is None else float(self.cell.rest_voltage(charge, self.cells))


@dataclass(frozen=True, slots=True)
class Encoder:
    """``counts_per_turn`` after x4 decoding."""

    counts_per_turn: float
    on: Literal["motor", "wheel"]
    bits: int
