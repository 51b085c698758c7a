"""The moving parts of the simulated robot: battery, motor, wheel or cocked striker, in small steps of time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

import numpy as np

from fieldtune.constants import RPM
from fieldtune.robot.drivetrain import train

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Battery, Drive, Robot

STEP_S = 0.002
_REST_CURRENT_A = 0.35  # controller and radio
_SPIN_UP_S = 0.35  # of a wheel whose profile has no drive
_RELEASE_S = 0.02


class Supply:
    """A battery that sags under current and slowly empties. Without one in the profile the voltage stays."""

    def __init__(
        self, battery: Battery | None, drive: Drive | None, charge: float = 0.92, resistance_share: float = 1.0
    ) -> None:
        self._battery, self._drive = battery, drive
        self._charge = charge
        self._capacity_as = 3600 * ((battery.capacity_ah if battery else None) or 3.0)
        self._resistance = resistance_share * ((battery.resistance if battery else None) or 0.1)
        nominal = drive.nominal_voltage if drive else 12.0
        self._nominal = nominal
        self.voltage = self._rest()

    def another(self, rng: np.random.Generator) -> Supply:
        """Another battery: a fuller one for a tired one and the other way round, older or younger."""
        charge = rng.uniform(0.3, 0.5) if self._charge > 0.7 else rng.uniform(0.9, 1.0)
        return Supply(self._battery, self._drive, charge, math.exp(0.2 * rng.standard_normal()))

    def _rest(self) -> float:
        battery = self._battery
        volts = None if battery is None else battery.rest_voltage(self._charge)
        return self._nominal * (0.97 + 0.08 * self._charge) if volts is None else volts

    def draw(self, amperes: float, seconds: float) -> None:
        """Lets a current flow for a moment."""
        total = max(amperes, 0.0) + _REST_CURRENT_A
        self._charge = max(self._charge - total * seconds / self._capacity_as, 0.02)
        self.voltage = max(self._rest() - total * self._resistance, 0.1 * self._nominal)


class Plant(Protocol):
    """A launcher's drive. ``quantity`` is wheel rpm or draw in mm."""

    current_a: float
    power_pct: float
    ready: bool
    load: float
    """Torque (N m) of something stuck in it."""

    @property
    def quantity(self) -> float: ...

    def step(self, setpoint: float, supply: Supply) -> None:
        """Moves on by ``STEP_S`` towards the setpoint."""
        ...

    def release(self, exit_speed: float) -> None:
        """An element leaves at this speed (m/s)."""
        ...


class Wheel:
    """Flywheels under a speed loop (or open loop), with the motors' torque line and what friction they have."""

    def __init__(self, robot: Robot, wheel: Flywheel) -> None:
        self._wheel, self._element = wheel, robot.element
        self._drive = drive = robot.drive
        self._motor = train(drive, 0.0).motor if drive else None
        self._ratio = drive.reduction if drive else 1.0
        self._force = drive.motors * drive.efficiency if drive else 0.0
        self.inertia = robot.turning_inertia or 4e-4
        self._in_percent = robot.setpoint.scale.follows_voltage
        self._omega = 0.0
        self._sum = 0.0
        self._drop = self._share = 0.0
        self.turns = 0.0
        self.current_a = 0.0
        self.power_pct = 0.0
        self.load = 0.0

    @property
    def quantity(self) -> float:
        """Wheel rpm."""
        return self._omega / RPM

    ready = True

    def step(self, setpoint: float, supply: Supply) -> None:
        """Torque line, friction, and a shot's momentum spread over its contact time."""
        volts = self._command(setpoint, supply.voltage)
        if self._motor is None:
            self._follow(setpoint, supply)
        else:
            shaft = self._omega * self._ratio
            amps = (volts - self._motor.emf_constant * shaft) / self._motor.resistance if volts > 0 else 0.0
            amps = max(amps, 0.0)
            torque = self._motor.torque_constant * (amps - self._motor.no_load_current)
            self._omega += (torque * self._force * self._ratio - self.load) / self.inertia * STEP_S
            motors = self._drive.motors if self._drive else 1
            self.current_a = motors * amps * (volts / supply.voltage if supply.voltage > 0 else 0.0)
            supply.draw(self.current_a, STEP_S)
        if self._drop > 0:
            lost = min(self._drop, self._share)
            self._drop, self._omega = self._drop - lost, self._omega - lost
        self._omega = max(self._omega, 0.0)
        self.turns += self._omega * STEP_S / (2 * math.pi)

    def _command(self, setpoint: float, available: float) -> float:
        """Volts at the motors: the setpoint's share of the battery, or feed-forward and a slow sum over the error."""
        if self._in_percent:
            self.power_pct = max(min(setpoint, 100.0), 0.0)
            return available * self.power_pct / 100
        wanted = setpoint * RPM
        if self._motor is None or wanted <= 0:
            self._sum = 0.0
            self.power_pct = 0.0
            return 0.0
        error = wanted - self._omega
        if abs(error) < 0.2 * wanted:
            self._sum += 4.0 * error * STEP_S
        unit = self._motor.emf_constant * self._ratio
        volts = unit * (wanted + 6.0 * error + self._sum) + self._motor.no_load_current * self._motor.resistance
        if not 0 <= volts <= available:
            self._sum *= 0.99
        volts = max(0.0, min(volts, available))
        self.power_pct = 100 * volts / available if available > 0 else 0.0
        return volts

    def _follow(self, setpoint: float, supply: Supply) -> None:
        wanted = setpoint * RPM
        self._omega += (wanted - self._omega) * STEP_S / _SPIN_UP_S
        self.current_a = 1.0
        supply.draw(self.current_a, STEP_S)

    def release(self, exit_speed: float) -> None:
        """The element's momentum is taken out of the wheels within about 8 ms."""
        rotors = 0.0 if self._drive is None else self._drive.rotors
        shot = self._wheel.shot(self._omega * RPM, self._element, rotors, exit_speed)
        if shot is not None:
            self._drop += float(self._wheel.drop(shot))
            self._share = self._drop / 4


class Cocking:
    """A striker or arm drawn back by a motor against its spring, and let go."""

    ready_within_mm = 0.6

    def __init__(self, robot: Robot, drawn: Drawn) -> None:
        self._drawn = drawn
        self._drive = robot.drive
        self._motor = train(robot.drive, 0.0).motor if robot.drive else None
        self._draw_mm = 0.0
        self._releasing_s = 0.0
        self._rest_s = 0.0
        self.current_a = 0.0
        self.power_pct = 0.0
        self.load = 0.0
        self.ready = False

    @property
    def quantity(self) -> float:
        """Draw, mm."""
        return self._draw_mm

    def step(self, setpoint: float, supply: Supply) -> None:
        """Cocks, holds, or snaps back."""
        if self._releasing_s > 0:
            self._releasing_s -= STEP_S
            self._draw_mm *= 0.55
            if self._releasing_s <= 0:
                self._draw_mm, self._rest_s = 0.0, 0.25
            self.current_a = 0.0
        elif self._rest_s > 0:
            self._rest_s -= STEP_S
        else:
            self._cock(setpoint, supply.voltage)
        self.ready = self._releasing_s <= 0 and abs(self._draw_mm - setpoint) < self.ready_within_mm and setpoint > 0
        supply.draw(self.current_a, STEP_S)

    def _cock(self, setpoint: float, volts: float) -> None:
        away = setpoint - self._draw_mm
        if abs(away) < 0.05:
            self.current_a, self.power_pct = 0.0, 0.0
            return
        speed = self._speed_mm(volts)
        self.power_pct = 100.0 if away > 0 else -40.0
        self._draw_mm += math.copysign(min(abs(away), speed * STEP_S * (1.0 if away > 0 else 0.6)), away)

    def _speed_mm(self, volts: float) -> float:
        """Draw speed, mm/s, from the motor's torque line under the spring's force at the crank."""
        drive, machine_ = self._drive, self._motor
        if drive is None or machine_ is None:
            self.current_a = 2.0
            return 60.0
        radius = self._drawn.crank_radius(drive.crank_radius) or self._drawn.pivot_radius
        force = float(self._drawn.tip_force(self._draw_mm / 1000))
        load = force * radius / (drive.reduction * drive.efficiency * drive.motors)
        amps = load / machine_.torque_constant + machine_.no_load_current
        shaft = (volts - amps * machine_.resistance) / machine_.emf_constant
        self.current_a = amps * drive.motors
        return max(shaft / drive.reduction * radius * 1000, 2.0)

    def release(self, exit_speed: float) -> None:
        """The latch opens."""
        self._releasing_s = _RELEASE_S
        self.ready = False
