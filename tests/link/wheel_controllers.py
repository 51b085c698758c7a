"""Launcher wheels under six kinds of control, with every turn known: motor, wheel, battery, shots, setpoint changes.

Written apart from the product's own simulator, so that no mistake can be in both. All figures are invented. The motor
is the textbook's permanent-magnet machine: torque falls in a straight line from stall to no load, current likewise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP_S = 0.001
NO_LOAD_RPM = 2900.0  # of the wheel, at nominal voltage
NOMINAL_V, FULL_V, BATTERY_OHM = 12.0, 13.0, 0.09
STALL_A = 15.0
FRICTION_RPM_PER_S = 120.0  # bearings and belt, at any speed
V_PER_AS = 0.001  # open-circuit voltage per charge that the launcher draws; the rest of the robot draws as well
_SECONDS_TIMES_SHARE = 0.054  # a wheel from which a shot takes 12 % has a time constant of 0.45 s
_ENCODER = 256.0  # counts a turn that the robot's own control loop works with
_SHAKE = 0.0012  # standard deviation of the speed's wander, as a share of the speed
_SHAKE_S = 0.05


@dataclass(frozen=True)
class Shot:
    """An element leaves at ``time_s`` and takes ``depth_rpm`` from a wheel that ran at ``before_rpm``."""

    time_s: float
    before_rpm: float
    depth_rpm: float


@dataclass(frozen=True)
class WheelRun:
    """What happened: arrays (n,) over time in steps of ``STEP_S``; ``turns`` since the start."""

    t: FloatArray
    rpm: FloatArray
    turns: FloatArray
    volts: FloatArray
    setpoint: FloatArray
    duty: FloatArray
    shots: tuple[Shot, ...]

    def __post_init__(self) -> None:
        for values in (self.t, self.rpm, self.turns, self.volts, self.setpoint, self.duty):
            values.setflags(write=False)  # tests share runs

    def turns_at(self, seconds: FloatArray) -> FloatArray:
        """Turns at any times (m,)."""
        return np.interp(seconds, self.t, self.turns)

    def index(self, seconds: float) -> int:
        """Index of a moment."""
        return min(max(int(seconds / STEP_S), 0), len(self.t) - 1)

    def quiet(self, seconds: FloatArray, within_s: float = 0.6) -> NDArray[np.bool_]:
        """Whether no shot and no change of setpoint happened within ``within_s`` before or 0.1 s behind times (m,)."""
        changes = self.t[1:][np.diff(self.setpoint) != 0]
        events = np.sort(np.concatenate([[0.0], changes, [shot.time_s for shot in self.shots]]))
        since = seconds[:, None] - events[None, :]
        return ~((since > -0.1) & (since < within_s)).any(axis=1)


class Control:
    """One way to hold a speed. ``period_s``: how often it decides; ``coasts``: its driver lets the wheel run free."""

    period_s = 0.02
    coasts = False
    current_limit = np.inf  # of stall current

    def duty(self, wanted: float, seen: float, volts: float) -> float:
        """Share of the battery's voltage (-1 to 1) for a wanted and a measured speed, rpm."""
        raise NotImplementedError


class OnOff(Control):
    """Full power below the setpoint, nothing above it."""

    period_s = 0.01
    coasts = True

    def duty(self, wanted: float, seen: float, volts: float) -> float:
        return 1.0 if seen < wanted else 0.0


class ProportionalIntegral(Control):
    """Proportional and integral gain around a feed-forward of three quarters; the integral is held within limits."""

    def __init__(self, gain: float, integral_s: float, lowest: float = 0.0, held: bool = True, forward: float = 0.75):
        self._gain, self._integral_s, self._lowest, self._held, self._forward = gain, integral_s, lowest, held, forward
        self._sum = 0.0

    def duty(self, wanted: float, seen: float, volts: float) -> float:
        error = (wanted - seen) / NO_LOAD_RPM
        asked = self._forward * wanted / NO_LOAD_RPM + self._gain * (error + self._sum)
        given = min(max(asked, self._lowest), 1.0)
        if not self._held or given == asked or (asked - given) * error < 0:
            self._sum += error * self.period_s / self._integral_s
        return given


class FeedForward(Control):
    """The duty that should make the speed, with no look at the encoder: it sinks with the battery."""

    def duty(self, wanted: float, seen: float, volts: float) -> float:
        return min(wanted / NO_LOAD_RPM, 1.0)


class CurrentLimited(ProportionalIntegral):
    """A stiff loop behind a driver that limits the motor's current, when braking too."""

    current_limit = 0.35


class WindsUp(ProportionalIntegral):
    """An integral without limits and a driver that coasts: it overshoots after each spin-up and shot."""

    coasts = True


def control(kind: str) -> Control:
    """A fresh controller of a kind, one of ``CONTROLS``."""
    return {
        "on-off": OnOff,
        "PI stiff": lambda: ProportionalIntegral(8.0, 0.3, lowest=-1.0),
        "PI soft": lambda: ProportionalIntegral(1.2, 0.5),
        "feed-forward": FeedForward,
        "PI current-limited": lambda: CurrentLimited(8.0, 0.3, lowest=-1.0),
        "PI winding up": lambda: WindsUp(2.5, 0.35, held=False, forward=0.4),
    }[kind]()


CONTROLS = ("on-off", "PI stiff", "PI soft", "feed-forward", "PI current-limited", "PI winding up")


def run_wheel(
    kind: str,
    setpoints: Sequence[tuple[float, float]],
    shots: Sequence[tuple[float, float]],
    seconds: float,
    share: float = 0.12,
    seed: int = 0,
) -> WheelRun:
    """Runs a wheel under control ``kind`` for ``seconds``.

    ``setpoints``: (time, rpm) in order, 0 switches off. ``shots``: (time, share of the speed that it takes) in order.
    ``share``: the typical share; wheels from which a shot takes less are heavier and therefore slower to spin up.
    """
    rng, loop = np.random.default_rng(seed), control(kind)
    n = round(seconds / STEP_S)
    tau = _SECONDS_TIMES_SHARE / share
    wander = _wander(n, rng)
    speeds, volts_now, wanted_now, given = (np.empty(n) for _ in range(4))
    shots_to_come, setpoints_to_come, found = list(shots), list(setpoints), []
    rpm, turns, open_v, volts, wanted, duty, seen = 0.0, 0.0, FULL_V, FULL_V, 0.0, 0.0, 0.0
    every, counted = round(loop.period_s / STEP_S), 0
    ohm = NOMINAL_V / STALL_A
    for i in range(n):
        now = i * STEP_S
        while setpoints_to_come and now >= setpoints_to_come[0][0]:
            wanted = setpoints_to_come.pop(0)[1]
        if shots_to_come and now >= shots_to_come[0][0]:
            depth = shots_to_come.pop(0)[1] * rpm
            found.append(Shot(now, rpm * (1 + wander[i]), depth))
            rpm -= depth
        if i % every == 0:
            counts = int(turns * _ENCODER)
            seen = 0.4 * seen + 0.6 * (counts - counted) / _ENCODER / loop.period_s * 60
            counted = counts
            duty = loop.duty(wanted, seen, volts) if wanted else 0.0
        back_v = rpm / NO_LOAD_RPM * NOMINAL_V
        # The driver draws duty x motor current; that sag and the motor's current are solved together.
        volts = (open_v + BATTERY_OHM * duty * back_v / ohm) / (1 + BATTERY_OHM * duty * duty / ohm)
        amps = (duty * volts - back_v) / ohm
        if (loop.coasts or not wanted) and amps < 0:
            amps = 0.0
        most = loop.current_limit * STALL_A
        amps = min(max(amps, -most), most)
        open_v -= V_PER_AS * max(duty * amps, 0.0) * STEP_S
        rpm += (amps / STALL_A * NO_LOAD_RPM / tau - (FRICTION_RPM_PER_S if rpm > 0 else 0.0)) * STEP_S
        rpm = max(rpm, 0.0)
        speeds[i], volts_now[i], wanted_now[i], given[i] = rpm, volts, wanted, duty
        turns += rpm / 60 * STEP_S
    speeds *= 1 + wander
    turned = np.concatenate([[0.0], np.cumsum(speeds[:-1]) / 60 * STEP_S])
    return WheelRun(np.arange(n) * STEP_S, speeds, turned, volts_now, wanted_now, given, tuple(found))


def _wander(n: int, rng: np.random.Generator) -> FloatArray:
    """Slow random unevenness (n,) of unit-free size ``_SHAKE``: first-order, so that it has no sudden steps."""
    coarse = rng.standard_normal(n // round(_SHAKE_S / STEP_S) + 3) * _SHAKE
    return np.interp(np.arange(n) * STEP_S / _SHAKE_S, np.arange(len(coarse)), coarse)


def shooting(kind: str, share: float, shots: int = 72, seed: int = 0) -> WheelRun:
    """A practice: ``shots`` shots 0.8 to 1.5 s apart, another setpoint up or down after every six of them."""
    rng = np.random.default_rng([seed, round(1000 * share)])
    now, rpm = 0.3, float(rng.uniform(1500, 2200))
    setpoints, planned = [(now, rpm)], []
    now += 1.0 + 0.2 / share
    for i in range(shots):
        if i and i % 6 == 0:
            now += 0.8
            rpm = float(np.clip(rpm * rng.choice([0.8, 0.88, 0.94, 1.06, 1.12, 1.25]), 1300, 2250))
            setpoints.append((now, rpm))
            now += 1.4
        planned.append((now, share * float(rng.uniform(0.9, 1.1))))
        now += float(rng.uniform(0.8, 1.5))
    return run_wheel(kind, setpoints, planned, now + 1.0, share, seed)


def changing(kind: str, lowerings: int, seconds: float, share: float = 0.12, seed: int = 0) -> WheelRun:
    """No shot at all: ``lowerings`` quick lowerings by 5 to 25 % and as many returns, spread over ``seconds``."""
    rng = np.random.default_rng([seed, 7])
    setpoints = [(0.3, 2100.0)]
    spacing = (seconds - 4.0) / max(lowerings, 1)
    for i in range(lowerings):
        begin = 3.0 + i * spacing + float(rng.uniform(0, 0.2 * spacing))
        rpm = float(rng.uniform(1700, 2250))
        setpoints.append((begin, rpm))
        setpoints.append((begin + 0.5 * spacing, rpm * float(rng.uniform(0.75, 0.95))))
    return run_wheel(kind, setpoints, [], seconds, share, seed)


@lru_cache(maxsize=12)
def session(kind: str, share: float = 0.12, seed: int = 0) -> WheelRun:
    """A short life of a wheel: still, up, shots, higher, shots, quickly lower, shots, and switched off."""
    setpoints = [(1.0, 1700.0), (8.0, 2100.0), (14.0, 1500.0), (19.0, 0.0)]
    shots = [(4.0, share), (5.1, share), (6.0, share), (11.0, share), (12.2, share), (16.2, share), (17.5, share)]
    return run_wheel(kind, setpoints, shots, 24.0, share, seed)
