"""Launcher wheels under programs drawn at random, many at once: what the shot network is trained on.

Motors are the textbook's permanent-magnet machine. All ranges are guesses, as wide as seemed possible. It has nothing
in common with the wheels of ``tests/link/wheel_controllers.py``, on which what was trained is tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

FloatArray = NDArray[np.float64]

STEP_S = 0.001
ON_OFF, BRAKES, COASTS, OPEN_LOOP, WINDS_UP = range(5)


@dataclass(frozen=True)
class Wheels:
    """``turns`` (n, wheels) every ``STEP_S``; ``shots`` and ``others`` (changes of anything else): seconds, a wheel."""

    turns: FloatArray
    volts: FloatArray
    """Of the battery (n, wheels), share of the nominal ones."""
    shots: list[list[float]]
    others: list[list[float]]
    share: FloatArray
    """Of its speed that a shot takes (wheels,)."""


@dataclass(frozen=True)
class _Plan:
    setpoint: FloatArray  # (n, wheels), share of the speed without load
    taken: FloatArray  # share of the speed lost in a step
    volts: FloatArray  # share of the nominal ones
    shots: list[list[float]]
    others: list[list[float]]


class Draw:
    """Draws (wheels,) numbers."""

    def __init__(self, wheels: int, seed: int) -> None:
        self.wheels, self.rng = wheels, np.random.default_rng([seed, 5])

    def even(self, low: float, high: float) -> FloatArray:
        return self.rng.uniform(low, high, self.wheels)

    def ratio(self, low: float, high: float) -> FloatArray:
        """Evenly in the logarithm."""
        return np.exp(self.rng.uniform(np.log(low), np.log(high), self.wheels))

    def few(self, share: float, some: FloatArray, others: float) -> FloatArray:
        """``some`` for a share of the wheels, else ``others``."""
        return np.where(self.rng.random(self.wheels) < share, some, others)


def _plan(wheels: int, seconds: float, share: FloatArray, tau: FloatArray, rng: np.random.Generator) -> _Plan:
    n = round(seconds / STEP_S)
    setpoint, taken, volts = np.zeros((n, wheels)), np.zeros((n, wheels)), np.ones((n, wheels))
    shots: list[list[float]] = [[] for _ in range(wheels)]
    others: list[list[float]] = [[] for _ in range(wheels)]
    for one in range(wheels):
        now, level = 0.3, float(np.exp(rng.uniform(*np.log([0.12, 0.8]))))
        setpoint[round(now / STEP_S) :, one] = level
        now += float(rng.uniform(0.3, 1.0)) + float(rng.uniform(0.3, 2.0)) * tau[one]
        gap = float(rng.uniform(0.18, 0.6) if rng.random() < 0.3 else rng.uniform(0.45, 2.5))
        changes = float(rng.uniform(1.0, 9.0))
        shoots = rng.random() < 0.7
        length = 1 if rng.random() < 0.5 else round(float(np.exp(rng.uniform(0, 3.2))))
        while now < seconds - 1.5:
            for _ in range(1 + int(rng.poisson(changes))):
                at = round(now / STEP_S)
                if shoots and at < n:
                    taken[at : at + length, one] += share[one] * rng.uniform(0.8, 1.2) / length
                    shots[one].append(at * STEP_S)
                now += max(gap * float(rng.uniform(0.5, 1.5)), 0.16)
            now += float(rng.uniform(0.0, 1.2))
            at = round(now / STEP_S)
            if at >= n:
                break
            others[one].append(now)
            if rng.random() < 0.12:  # the robot drives off
                until = at + round(float(rng.uniform(0.1, 2.0)) / STEP_S)
                volts[at:until, one] *= float(rng.uniform(0.75, 0.97))
                others[one].append(until * STEP_S)
            else:
                new = 0.0 if rng.random() < 0.06 else level * float(rng.uniform(0.6, 1.5))
                new = min(max(new, 0.1), 0.85) if new else 0.0
                took = round(float(rng.uniform(0.03, 1.0)) / STEP_S) if rng.random() < 0.25 else 1
                now_at = setpoint[at, one]
                setpoint[at:, one] = new
                setpoint[at : at + took, one] = np.linspace(now_at, new, took)[: n - at]
                level = new or level
                if not new:  # and soon on again
                    now += float(rng.uniform(0.3, 2.0))
                    setpoint[round(now / STEP_S) :, one] = level
                    others[one].append(now)
            now += float(rng.uniform(0.2, 2.5)) if rng.random() < 0.5 else float(rng.uniform(0.1, 0.6)) + tau[one]
    # A battery behind cables falls within some hundredths of a second.
    soft = np.cumsum(np.vstack([np.zeros((1, wheels)), volts]), axis=0)
    span = 60
    volts[span:] = (soft[span + 1 :] - soft[1:-span]) / span
    return _Plan(setpoint, taken, volts, shots, others)


def draw_wheels(wheels: int, seconds: float, seed: int) -> Wheels:
    """So many wheels for so long."""
    draw = Draw(wheels, seed)
    rng = draw.rng
    tau = draw.ratio(0.12, 4.0)  # seconds, of motor and wheel
    share = np.clip(0.054 / tau * draw.ratio(0.4, 2.5), 0.015, 0.3)
    no_load = draw.ratio(1500, 7000) / 60  # turns a second
    friction, viscous = draw.ratio(0.01, 0.15), draw.ratio(0.005, 0.1)  # of that, in a second
    program = rng.choice(5, wheels, p=[0.3, 0.175, 0.175, 0.175, 0.175])
    on_off = program == ON_OFF
    period = np.maximum(draw.few(0.6, np.round(draw.ratio(2, 50)), 20), 1).astype(int)
    gain = np.where(on_off, 0, draw.ratio(0.5, 12))
    integral_s = draw.few(0.85, draw.ratio(0.08, 2.0), np.inf)
    forward = draw.few(0.7, draw.even(0.3, 1.0), 0.0)
    lowest = np.where(program == BRAKES, -1.0, 0.0)
    chance = rng.random(wheels)
    coasts = (on_off & (chance < 0.8)) | (program == COASTS) | ((program == WINDS_UP) & (chance < 0.7))
    held = program != WINDS_UP
    most_amps = draw.few(0.25, draw.ratio(0.2, 0.8), 9.0)  # of those when stalled
    slew = draw.few(0.15, draw.ratio(1.0, 20.0), 1e9)  # of full power, in a second
    below, above = draw.few(0.3, draw.even(0.7, 1.0), 1.0), draw.few(0.3, draw.even(0.0, 0.5), 0.0)
    hysteresis = draw.few(0.3, draw.ratio(0.001, 0.02), 0.0)
    smoothing = draw.few(0.6, draw.even(0.2, 1.0), 1.0)
    counts = draw.ratio(20, 4096)
    ohm = draw.ratio(0.02, 0.15)  # of the battery, in those of the stalled motor
    strays, strays_s = draw.ratio(0.0002, 0.003), draw.ratio(0.02, 0.3)
    late = rng.integers(0, 50, wheels)
    plan = _plan(wheels, seconds, share, tau, rng)

    n = len(plan.setpoint)
    turns, battery = np.empty((n, wheels)), np.empty((n, wheels))
    speed, total, seen, counted, summed, given = (np.zeros(wheels) for _ in range(6))
    wander, duty, on = np.zeros(wheels), np.zeros(wheels), np.zeros(wheels, dtype=bool)
    for i in range(n):
        speed = speed * (1 - plan.taken[i])
        wanted, due = plan.setpoint[i], (i + late) % period == 0
        if due.any():
            whole = np.floor(total * counts)
            new = (whole - counted) / counts / (period * STEP_S) / no_load
            seen = np.where(due, seen + smoothing * (new - seen), seen)
            counted = np.where(due, whole, counted)
            error = wanted - seen
            asked = forward * wanted + gain * (error + summed)
            within = np.clip(asked, lowest, 1.0)
            grows = due & (~held | (within == asked) | ((asked - within) * error < 0))
            summed = np.where(grows, summed + error * period * STEP_S / integral_s, summed)
            on = np.where(due, (seen < wanted * (1 - hysteresis)) | (on & (seen < wanted * (1 + hysteresis))), on)
            given = np.where(on_off, np.where(on, below, above), np.where(program == OPEN_LOOP, wanted, within))
            most = slew * period * STEP_S
            given = np.where(wanted > 0, np.clip(given, duty - most, duty + most), 0.0)
            duty = np.where(due, given, duty)
        turning = speed / no_load
        volts = plan.volts[i] - ohm * duty * np.clip(duty * plan.volts[i] - turning, 0, most_amps)
        amps = duty * volts - turning
        amps = np.where((coasts | (wanted <= 0)) & (amps < 0), 0.0, np.clip(amps, -most_amps, most_amps))
        lost = (friction + viscous * turning) * (speed > 0)
        speed = np.maximum(speed + (amps / tau - lost) * no_load * STEP_S, 0.0)
        if i % 5 == 0:
            part = 5 * STEP_S / strays_s
            wander = wander * (1 - part) + strays * np.sqrt(2 * part) * rng.standard_normal(wheels)
        total = total + speed * (1 + wander) * STEP_S
        turns[i], battery[i] = total, volts
    return Wheels(turns, battery, plan.shots, plan.others, share)


def read(wheels: Wheels, one: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray | None, float]:
    """Seconds, turns and volts (m,) as one robot's lines tell of a wheel, and how far most of them are apart."""
    exact_s = np.arange(len(wheels.turns)) * STEP_S
    turned, until_s = wheels.turns[:, one], exact_s[-1]
    usual = rng.random()
    rate = 20.0 if usual < 0.25 else 50.0 if usual < 0.4 else float(np.exp(rng.uniform(*np.log([11, 110]))))
    counts = float(rng.choice([4, 12, 28, 48, 56, 256, 2048, 4096], p=[0.04, 0.1, 0.1, 0.18, 0.18, 0.1, 0.15, 0.15]))
    at = np.arange(1, int(until_s * rate) - 1) / rate + float(rng.uniform(0, 1 / rate))
    stray_s = float(rng.choice([0.0, 0.0005, 0.002, 0.1 / rate]))
    at = np.sort(at + np.clip(rng.normal(0, stray_s, len(at)), -0.4 / rate, 0.4 / rate)) if stray_s else at
    if rng.random() < 0.1:
        at = at[rng.random(len(at)) > rng.choice([0.01, 0.05, 0.2])]
    said, volts = np.round(at, 3), _read_volts(wheels.volts[:, one], at, rng)
    if rng.random() < 0.5:
        return said, np.floor(np.interp(at, exact_s, turned) * counts) / counts, volts, 1 / rate
    loop_s = min(float(rng.choice([0.005, 0.01, 0.02, 0.05])), 1 / rate)
    end_s = np.floor(at / loop_s + 1e-9) * loop_s
    since_s = end_s - loop_s if rng.random() < 0.5 else np.concatenate([[end_s[0] - 1 / rate], end_s[:-1]])
    span = np.maximum(end_s - since_s, loop_s)
    behind, ahead = (np.interp(s, exact_s, turned) * counts for s in (end_s - span, end_s))
    whole = rng.random() < 0.7
    rpm = (np.floor(ahead) - np.floor(behind) if whole else np.round(ahead - behind, 1)) / counts / span * 60
    if rng.random() < 0.06:
        part = float(rng.uniform(0.15, 0.8))
        for i in range(1, len(rpm)):
            rpm[i] = rpm[i - 1] + part * (rpm[i] - rpm[i - 1])
    rpm = np.round(rpm, int(rng.choice([0, 1])))
    return said, np.concatenate([[0.0], np.cumsum(rpm[1:] / 60 * np.diff(said))]), volts, 1 / rate


def _read_volts(exact: FloatArray, at: FloatArray, rng: np.random.Generator) -> FloatArray | None:
    """Of a 12 V battery at instants (m,), as a robot tells of them: late, smoothed, with other loads, or not at all."""
    kind = rng.random()
    if kind < 0.2:
        return None
    volts = 12.0 * exact
    if kind < 0.45:  # a filter before the converter, or in the program
        part = STEP_S / float(np.exp(rng.uniform(*np.log([0.003, 0.5]))))
        volts = lfilter([part], [1, part - 1], volts - volts[0]) + volts[0]
    elif kind < 0.5:  # not the battery of this drive
        volts = np.full(len(volts), 12.0)
    late_s = float(rng.uniform(0, 0.1)) if rng.random() < 0.3 else 0.0
    if rng.random() < 0.2:  # read seldom
        apart_s = float(rng.choice([0.05, 0.1, 0.2, 1.0]))
        at = np.floor(at / apart_s) * apart_s
    loads_s = float(np.exp(rng.uniform(*np.log([0.02, 1.0]))))
    part, size = STEP_S / loads_s, float(rng.choice([0.0, 0.01, 0.05, 0.2]))
    strays = rng.standard_normal(len(volts)) * size * np.sqrt(2 * part)
    volts = volts + lfilter([1.0], [1, part - 1], strays)
    read = volts[np.clip(np.round((at - late_s) / STEP_S).astype(int), 0, len(volts) - 1)]
    read = read + rng.standard_normal(len(read)) * float(rng.choice([0.0, 0.005, 0.02, 0.06]))
    step = float(rng.choice([0.001, 0.01, 0.02, 0.05, 0.1]))
    return np.asarray(np.round(read / step) * step)
