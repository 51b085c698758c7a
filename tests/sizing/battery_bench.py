"""A simulated wheel on a pack with hidden resistance and charge, many seeds side by side.

Written apart from the product's own formulas: explicit Euler at 4 ms with the terminal voltage solved for at every
step, an encoder that reads with noise, a meter in steps of 10 mV unless a line is worse, a controller with full power
below and proportional near the setpoint.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

RPM = 2 * math.pi / 60
DT = 0.004


@dataclass
class Truth:
    """Hidden values, shape (n,): ohms, charge 0..1 at the start, capacity (C), offset of the rest voltage (V)."""

    resistance: np.ndarray
    charge: np.ndarray
    capacity: np.ndarray
    offset: np.ndarray


@dataclass(frozen=True)
class Line:
    """What the robot sends: lines a second, the meter's step (V), and the current sensor's faults.

    ``every``: a current comes with every so many lines, 0 with none.
    """

    rate_hz: float = 50.0
    meter_v: float = 0.01
    every: int = 1
    noise_a: float = 0.15
    zero_a: float = 0.0
    gain: float = 1.0
    step_a: float = 0.0

    def current(self, true, rng):
        """Readings of the sensor, None where none is sent."""
        read = self.gain * true + self.zero_a + rng.normal(0, self.noise_a, len(true))
        if self.step_a:
            read = np.round(read / self.step_a) * self.step_a
        sent = [self.every > 0 and k % self.every == 0 for k in range(len(true))]
        return [float(a) if there else None for a, there in zip(read, sent, strict=True)]


MEASURED, SILENT = Line(), Line(every=0)
LINES = {
    "measured": MEASURED,
    "no current": SILENT,
    "noisy and off zero": Line(noise_a=0.5, zero_a=0.4, gain=1.03),
    "current now and then": Line(every=25),
    "wrong sign": Line(gain=-1.0),
    "whole amps": Line(step_a=1.0),
    "coarse meter": Line(meter_v=0.05),
    "20 lines a second": Line(rate_hz=20.0),
    "20 lines, no current": Line(rate_hz=20.0, every=0),
}


@dataclass
class Recording:
    """Samples (time, n) of a run, and per seed the time of every shot and the wheel's speed as it was fired."""

    t: np.ndarray
    rpm: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    setpoint: np.ndarray
    shot_times: list[float]
    shot_rpm: np.ndarray
    charge: np.ndarray


class Simulation:
    """Steps a batch of robots; ``curve(charge)`` is the pack's rest voltage, ``robot`` gives drive and wheel."""

    def __init__(self, robot, truth, curve, kept, rng, line=MEASURED):
        drive, wheel = robot.drive, robot.launcher.mechanism
        self.n = len(truth.charge)
        self.truth, self.curve, self.kept, self.rng = truth, curve, kept, rng
        self.line, self.every = line, round(1 / line.rate_hz / DT)
        self.motors, self.gear = drive.motors, drive.reduction
        self.r_motor = drive.nominal_voltage / drive.stall_current
        self.k_t = drive.stall_torque / (drive.stall_current - drive.no_load_current)
        self.k_e = (drive.nominal_voltage - drive.no_load_current * self.r_motor) / drive.no_load_speed
        self.no_load_current, self.efficiency = drive.no_load_current, drive.efficiency
        self.inertia = wheel.wheel_inertia * (1 + wheel.speed_ratio**2)
        self.w = np.zeros(self.n)
        self.charge = truth.charge.copy()
        self.read = curve(truth.charge) + truth.offset
        self.t = 0.0

    def step(self, setpoint):
        """One step; returns terminal volts and battery amps. ``setpoint`` in rpm, 0 for off."""
        rest = self.curve(self.charge) + self.truth.offset
        emf = self.k_e * self.gear * self.w
        goal = setpoint * RPM
        # Feed-forward to the motor voltage that holds the goal, by the battery voltage the controller last read; full
        # power as soon as the wheel lags 3 %.
        wanted = self.k_e * self.gear * goal + self.no_load_current * self.r_motor
        wanted = wanted + (goal - self.w) / max(goal * 0.03, 1e-9) * rest * (setpoint > 0)
        on = np.clip(wanted / self.read, 0.0, 1.0) if setpoint > 0 else np.zeros(self.n)
        # Chopped: motors see on * U, the battery gives on * n * I; U = rest - r * on * n * I, I = (on U - emf) / R.
        ratio = self.truth.resistance * on * self.motors / self.r_motor
        terminal = (rest + ratio * emf) / (1 + ratio * on)
        each = np.where(on > 0, np.maximum((on * terminal - emf) / self.r_motor, 0.0), 0.0)
        amps = on * self.motors * each
        terminal = rest - self.truth.resistance * amps
        self.read = terminal
        push = each > self.no_load_current
        torque = (
            self.motors * self.k_t * (each - self.no_load_current) * self.gear * np.where(push, self.efficiency, 1.0)
        )
        self.w = np.maximum(self.w + DT * torque / self.inertia, 0.0)
        self.charge = self.charge - amps * DT / self.truth.capacity
        self.t += DT
        return terminal, amps

    def run(self, seconds, setpoint, shots_at=()):
        """Run on; at each time of ``shots_at`` (s from now) an element takes its share of the speed in 20 ms."""
        steps = round(seconds / DT)
        shot_steps = {round(s / DT) for s in shots_at}
        rows, shot_times, shot_rpm = [], [], []
        loss = 0
        for k in range(steps):
            if k in shot_steps:
                shot_times.append(self.t)
                shot_rpm.append(self.w / RPM)
                loss = 5
            if loss:
                self.w, loss = self.w * self.kept**0.2, loss - 1
            volts, amps = self.step(setpoint)
            if k % self.every == 0:
                rows.append((self.t, self.w / RPM, volts, amps, np.full(self.n, setpoint)))
        t = np.array([r[0] for r in rows])
        rpm, volts, amps, wanted = (np.array([r[j] for r in rows]) for j in range(1, 5))
        rpm = np.maximum(np.round((rpm + self.rng.normal(0, 6, rpm.shape)) / 2) * 2, 0)
        meter = self.line.meter_v
        volts = np.round((volts + self.rng.normal(0, 0.015, volts.shape)) / meter) * meter
        speeds = np.array(shot_rpm).reshape(len(shot_rpm), self.n)
        return Recording(t, rpm, volts, amps, wanted, shot_times, speeds, self.charge.copy())


def feed(watch, recording, seed, line):
    """Give one seed's samples to a watch; the setpoint is as the robot sends it."""
    r = recording
    rows = zip(
        r.t.tolist(), r.rpm[:, seed].tolist(), r.volts[:, seed].tolist(),
        line.current(r.amps[:, seed], np.random.default_rng([seed, len(r.t)])), r.setpoint[:, seed].tolist(),
        strict=True,
    )  # fmt: skip
    for t, rpm, volts, amps, setpoint in rows:
        watch.feed(t, rpm, volts, amps, setpoint)


@dataclass
class Outcome:
    """Per seed: relative errors of resistance, ceiling and forecast, shots between the first warning and the first
    shot that fell short (positive: warned before; nan: never), and whether the forecast's 90 % interval held it."""

    resistance: np.ndarray
    ceiling: np.ndarray
    forecast: np.ndarray
    warned_before: np.ndarray
    shots_seen: np.ndarray
    inside: np.ndarray


CELLS = {"nimh": 10, "lead-acid": 6, "li-ion": 3, "lifepo4": 4}
CAPACITY_AH = {"nimh": 3.0, "lead-acid": 3.0, "li-ion": 4.0, "lifepo4": 4.0}
PAUSE, SHOTS, MORE = 2.5, 20, 50


def hidden(robot, chemistry, seeds, seed, lowest_voltage, ceiling, charge_at, curve):
    """Draw what is hidden, so that some 15 to 32 shots are left after the watched ones; returns it and the setpoint."""
    rng = np.random.default_rng(seed)
    cells, coulombs = CELLS[chemistry], CAPACITY_AH[chemistry] * 3600
    resistance = rng.uniform(0.025, 0.080, seeds)
    setpoint = 10 * round(0.097 * ceiling(robot, float(curve(np.array(0.4))), 0.05, PAUSE))
    offset = rng.normal(0, 0.010, seeds)
    lowest = np.array([lowest_voltage(robot, setpoint, r, PAUSE) for r in resistance])
    capacity = coulombs * rng.lognormal(0, 0.05, seeds)
    left = rng.uniform(15, 32, seeds) + SHOTS
    charge = charge_at(chemistry, lowest - offset, cells) + left * 13.0 / capacity
    return Truth(resistance, charge, capacity, offset), setpoint, rng


def watched(robot, chemistry, seeds, seed, kept, line, tools):
    """Run a batch until a shot falls short, with a watch on every seed, and compare it with the hidden truth.

    A shot falls short when full power no longer brings the wheel to where it was at the first shots: by 0.03 %, which
    the simulated controller never strays otherwise.
    """

    def curve(charge):
        return tools.open_circuit_voltage(chemistry, charge, CELLS[chemistry])

    truth, setpoint, rng = hidden(
        robot, chemistry, seeds, seed, tools.lowest_voltage, tools.ceiling, tools.charge_at, curve
    )
    simulation = Simulation(robot, truth, curve, kept, rng, line)
    idle = simulation.run(1.0, 0)
    first = simulation.run(3 + SHOTS * PAUSE, setpoint, [2.5 + k * PAUSE for k in range(SHOTS)])
    rest = simulation.run(MORE * PAUSE, setpoint, [2.0 + k * PAUSE for k in range(MORE)])
    short = rest.shot_rpm < first.shot_rpm[1:4].mean(axis=0) - 3e-4 * setpoint
    left = np.where(short.any(axis=0), short.argmax(axis=0), MORE)
    rows = []
    for k in range(seeds):
        watch = tools.BatteryWatch(robot)
        feed(watch, idle, k, line)
        feed(watch, first, k, line)
        now = watch.status(setpoint, 3.2)
        true_ceiling = tools.ceiling(robot, float(curve(first.charge[k])) + truth.offset[k], truth.resistance[k], PAUSE)
        warned = _first_warning(watch, rest, k, line, setpoint, rest.shot_times[min(left[k], MORE - 1)])
        rows.append(
            (
                now.resistance_ohm / truth.resistance[k] - 1,
                now.ceiling / true_ceiling - 1,
                now.shots_left / max(left[k], 1) - 1,
                warned,
                now.shots_seen,
                now.shots_left_90[0] <= left[k] <= now.shots_left_90[1],
            )
        )
    return Outcome(*np.array(rows).T)


def _first_warning(watch, recording, seed, line, setpoint, short_at):
    """Shots between the first warning and the short shot; nan where there was none before it."""
    r = recording
    amps = line.current(r.amps[:, seed], np.random.default_rng([seed, 2]))
    for k in range(np.searchsorted(r.t, short_at)):
        watch.feed(float(r.t[k]), float(r.rpm[k, seed]), float(r.volts[k, seed]), amps[k], setpoint)
        if k % 25 == 0 and watch.status(setpoint).warning is not None:
            return (short_at - r.t[k]) / PAUSE
    return np.nan
