"""Drive, battery and encoder as in the profile, and the drive as one straight line at wheel, arm or crank.

At full power every motor sees the same voltage, the battery's open-circuit voltage less what all of them together lose
in pack and wiring. Motors in parallel on one resistance are the same as motors of a higher resistance each:

    I = (V_oc - k_e G w) / (R_motor + n R_battery),    T = n G eta k_t (I - I_0)

(equivalent circuit of the permanent-magnet motor: Fitzgerald, Kingsley & Umans, Electric Machinery, section 7.6).
Gears and number of stages may be arrays, so one call covers a whole sweep.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen
from fieldtune.lazy import LazyModule
from fieldtune.physics.motor import Motor, motor, on_supply, time_constant
from fieldtune.robot.chemistry import CHEMISTRIES, Chemistry, ChemistryName

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray
else:
    np = LazyModule("numpy")

SETTLED = 0.01
"""The wheel counts as back within this share of the setpoint: less than the usual scatter of exit speeds."""


@frozen
class Train:
    """Motors, gears and supply together. ``motor.resistance`` already holds each motor's share of the supply's.

    ``rotor_inertia``: of one motor's rotor, kg m^2.
    """

    motor: Motor
    motors: int
    reduction: FloatArray
    efficiency: FloatArray
    rotor_inertia: float = 0.0

    @property
    def rotors(self) -> FloatArray:
        """Inertia of all rotors at the output, kg m^2."""
        return np.asarray(self.motors * self.rotor_inertia * self.reduction**2)

    def no_load_speed(self, open_circuit_v: ArrayLike) -> FloatArray:
        """Unloaded speed at the output, rad/s; zero where the voltage does not even overcome the motors' own drag."""
        m = self.motor
        volts = np.asarray(open_circuit_v, dtype=float) - m.no_load_current * m.resistance
        return np.asarray(np.maximum(volts, 0.0) / (m.emf_constant * self.reduction), dtype=float)

    def stall_torque(self, open_circuit_v: ArrayLike) -> FloatArray:
        """Torque at the output standing still, N m."""
        return self.torque(open_circuit_v, 0.0)

    def torque(self, open_circuit_v: ArrayLike, speed: ArrayLike) -> FloatArray:
        """Torque at the output at full power, N m, never below zero."""
        m = self.motor
        amps = self.current(open_circuit_v, speed) / self.motors - m.no_load_current
        return np.maximum(self.motors * self.reduction * self.efficiency * m.torque_constant * amps, 0.0)

    def speed(self, open_circuit_v: ArrayLike, torque: ArrayLike) -> FloatArray:
        """Output speed at full power under a load torque, rad/s; nan where the load stalls the drive."""
        m = self.motor
        amps = self.motor_current(torque)
        value = (np.asarray(open_circuit_v, dtype=float) - amps * m.resistance) / (m.emf_constant * self.reduction)
        return np.where(value > 0, value, np.nan)

    def motor_current(self, torque: ArrayLike) -> FloatArray:
        """Current of one motor under a load torque at the output, A."""
        m = self.motor
        share = np.asarray(torque, dtype=float) / (self.motors * self.reduction * self.efficiency)
        return m.no_load_current + share / m.torque_constant

    def current(self, open_circuit_v: ArrayLike, speed: ArrayLike) -> FloatArray:
        """Battery current of all motors at full power, A, never below zero."""
        m = self.motor
        emf = m.emf_constant * self.reduction * np.asarray(speed, dtype=float)
        volts = np.asarray(open_circuit_v, dtype=float) - emf
        return np.asarray(np.maximum(self.motors * volts / m.resistance, 0.0), dtype=float)

    def time_constant(self, inertia: ArrayLike) -> FloatArray:
        """Time constant of the approach to the no-load speed, s, for an inertia (kg m^2) referred to the output."""
        return time_constant(self.motor, inertia, self.reduction, self.efficiency, self.motors)


def train(
    drive: Drive, resistance: float, reduction: ArrayLike | None = None, efficiency: ArrayLike | None = None
) -> Train:
    """The drive on a supply of this resistance (ohms); ``reduction`` and ``efficiency`` replace the profile's gears.

    What the profile says the train takes without load counts as current without load, one motor's share each.
    """
    bare = motor(
        drive.nominal_voltage, drive.no_load_speed, drive.stall_torque, drive.stall_current, drive.no_load_current
    )
    share = (drive.no_load_torque or 0.0) / (drive.motors * drive.reduction * drive.efficiency)
    bare = replace(bare, no_load_current=bare.no_load_current + share / bare.torque_constant)
    return Train(
        motor=on_supply(bare, resistance, drive.motors),
        motors=drive.motors,
        reduction=np.asarray(drive.reduction if reduction is None else reduction, dtype=float),
        efficiency=np.asarray(drive.efficiency if efficiency is None else efficiency, dtype=float),
        rotor_inertia=drive.rotor_inertia,
    )


def hold_current(drive: Drive, supply_v: float, speed: float) -> float:
    """Battery current (A, all motors) that holds an unloaded wheel at this speed (rad/s) with a chopped supply.

    A chopper passes power on: battery current is the motors' current times the share of the time it is on. Without a
    ``no_load_torque`` in the profile each gear stage is taken to lose, unloaded, half of what it loses at a quarter of
    the motors' stall torque (common practice, rough: a recording tells better).
    """
    bare = train(drive, 0.0).motor
    if drive.no_load_torque is None:
        stages = len(drive.gears) * (1 - drive.stage_efficiency) / 2 * drive.stall_current / 4
        bare = replace(bare, no_load_current=bare.no_load_current + stages)
    volts = bare.emf_constant * drive.reduction * speed + bare.no_load_current * bare.resistance
    return drive.motors * bare.no_load_current * min(volts / supply_v, 1.0)


def back_share(kept: ArrayLike) -> FloatArray:
    """Share of the setpoint at which the wheel counts as back, after a shot that left it this share of its speed.

    Within 1 %; where a shot takes hardly more than that, when nine tenths of the drop are made good.
    """
    return np.asarray(1 - np.minimum(SETTLED, (1 - np.asarray(kept, dtype=float)) / 10))


# What moves the launcher, as the profile gives it: motors and gears, battery, encoder.


@frozen
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


@frozen
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


@frozen
class Encoder:
    """``counts_per_turn`` after x4 decoding."""

    counts_per_turn: float
    on: Literal["motor", "wheel"]
    bits: int
