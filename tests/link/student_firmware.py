"""What student robots print: lines of a known wheel at many rates, with clocks, encoders and wires as they come.

Written apart from the product. All names and figures are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from student_styles import written
from wheel_controllers import FloatArray, WheelRun

Chunks = list[tuple[float, bytes]]
DISTANCE_M = 2.45
_BYTES_PER_S = 11_520.0  # of a wire at 115,200 baud, 8N1
_RPM_HZ = 50.0  # a program computes its own rpm at most so often, unless told otherwise


@dataclass(frozen=True)
class Firmware:
    """One robot program, and the way its bytes take.

    ``speed``: ``counts`` or ``rpm``. ``rpm_hz``: how often own rpm is computed, from counts over the time since;
    ``lowpass_s``: time constant of its low-pass. ``refresh_hz``: how often the counter is read anew, 0 for each line.
    ``clock``: ``t_ms``, ``t_us`` or None; ``clock_step_ms`` its resolution; ``clock_fault``: ``frozen``,
    ``whole seconds``, ``microseconds as ms``, ``seconds as ms``, ``fast`` (by 30 %) or nothing.
    ``jitter_s``: lines are up to so much late; ``bridge_s``: bytes are handed over every so often; ``clump_s``: bytes
    are kept back for times in this range. ``dead_s``: the encoder's wire is pulled then. ``faults``: share of bytes
    that are turned over in one bit, lost or doubled.
    """

    rate_hz: float = 100.0
    counts_per_turn: float = 56.0
    speed: str = "counts"
    rpm_hz: float = _RPM_HZ
    lowpass_s: float = 0.0
    refresh_hz: float = 0.0
    twice: bool = False
    clock: str | None = "t_ms"
    clock_step_ms: float = 1.0
    clock_fault: str = ""
    setpoint: bool = False
    battery: str = "battery_mv"
    distance: str | None = None
    fired: bool = False
    nan: str = ""
    style: str = "fields"
    checked: bool = False
    jitter_s: float = 0.003
    bridge_s: float = 0.0
    clump_s: tuple[float, float] = (0.0, 0.0)
    dead_s: float | None = None
    faults: float = 0.0
    header: bytes = b""
    names: dict[str, str] = field(default_factory=dict)
    columns: tuple[str, ...] = ()

    @property
    def late_s(self) -> float:
        """How late the last byte may come that tells of a moment."""
        return self.jitter_s + self.bridge_s + self.clump_s[1]


def sent(firmware: Firmware, wheel: WheelRun, seed: int = 0) -> Chunks:
    """(arrival in seconds, bytes) of a wheel's whole run, in order of arrival."""
    rng = np.random.default_rng([seed, 11])
    texts = list(_lines(firmware, wheel, rng))
    return _carried(firmware, texts, rng)


def two_robots(firmware: Firmware, one: WheelRun, other: WheelRun, seed: int = 0) -> Chunks:
    """Two robots that print on the same line, line by line in turn."""
    rng = np.random.default_rng([seed, 12])
    lines = [*_lines(firmware, one, rng), *((at + 0.004, text) for at, text in _lines(firmware, other, rng))]
    return _carried(firmware, sorted(lines), rng)


def readings(firmware: Firmware, wheel: WheelRun, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """When each line is written, and its reading (counts, or rpm), both (n,)."""
    period = 1 / firmware.rate_hz
    at = np.arange(0.0, wheel.t[-1] - period, period)
    at = at + rng.uniform(0, 0.02, len(at)) * period
    hz = firmware.refresh_hz
    if firmware.speed == "rpm":
        hz = min(hz or firmware.rpm_hz, firmware.rpm_hz)
    read_at = at if not hz or hz >= firmware.rate_hz else _last_refresh(at, hz, rng)
    alive = read_at if firmware.dead_s is None else np.minimum(read_at, firmware.dead_s)
    counts = np.floor(wheel.turns_at(alive) * firmware.counts_per_turn)
    if firmware.speed == "counts":
        return at, counts
    # Own rpm: counts over the time since the last reading, held until the next one.
    new = np.concatenate([[True], np.diff(read_at) > 0])
    fresh = np.flatnonzero(new)
    steps = np.diff(counts[fresh], prepend=counts[0]) / firmware.counts_per_turn
    since = np.diff(read_at[fresh], prepend=read_at[0] - period)
    rpm = 60 * steps / since
    if firmware.lowpass_s:
        shares = 1 - np.exp(-since / firmware.lowpass_s)
        for i in range(1, len(rpm)):
            rpm[i] = rpm[i - 1] + shares[i] * (rpm[i] - rpm[i - 1])
    return at, rpm[np.cumsum(new) - 1]


def _last_refresh(at: FloatArray, hz: float, rng: np.random.Generator) -> FloatArray:
    """The newest time (n,) of an even refresh at or before each time (n,)."""
    phase = float(rng.uniform(0, 1 / hz))
    return np.maximum(np.floor((at - phase) * hz) / hz + phase, 0.0)


def spread_rpm(firmware: Firmware, wheel: WheelRun, window_s: float = 0.05, seed: int = 0) -> float:
    """Standard deviation of what the readings alone say of the speed over ``window_s``, while nothing happens, rpm.

    Taken from differences of neighbouring windows, so that a setpoint's slow approach is not counted; and not below
    that of a speed known to one count over the window (evenly spread, a twelfth of a square; GUM 4.3.7).
    """
    at, values = readings(firmware, wheel, np.random.default_rng([seed, 11]))
    window_s = max(window_s, 1 / firmware.rate_hz)
    marks = np.arange(at[0], at[-1], window_s)
    if firmware.speed == "counts":
        speeds = 60 * np.diff(np.interp(marks, at, values)) / np.diff(marks) / firmware.counts_per_turn
    else:
        sums = np.concatenate([[0.0], np.cumsum(values)])
        which = np.searchsorted(at, marks)
        speeds = np.diff(sums[which]) / np.maximum(np.diff(which), 1)
    middle = (marks[1:] + marks[:-1]) / 2
    quiet = wheel.quiet(middle) & (speeds > 300)
    changes = np.diff(speeds)[quiet[1:] & quiet[:-1]]
    one_count = 60 / (firmware.counts_per_turn * window_s) / np.sqrt(12)
    return max(float(np.sqrt(np.mean(changes**2) / 2)) if len(changes) else 0.0, float(one_count))


def _lines(firmware: Firmware, wheel: WheelRun, rng: np.random.Generator) -> Iterator[tuple[float, bytes]]:
    """(when it is written, text) of each line."""
    at, values = readings(firmware, wheel, rng)
    shots = [shot.time_s for shot in wheel.shots]
    before = -1.0
    ticks = _clock(firmware, at)
    where = np.minimum((at / (wheel.t[1] - wheel.t[0])).astype(int), len(wheel.t) - 1)
    volts = wheel.volts[where] + 0.01 * rng.standard_normal(len(at))
    wanted = wheel.setpoint[where]
    if firmware.header:
        yield 0.0, firmware.header
    for i, now in enumerate(at):
        said: dict[str, float | bool] = {}
        if firmware.clock is not None:
            said[firmware.clock] = ticks[i]
        if firmware.speed == "counts":
            said["wheel_counts"] = float(values[i])
        else:
            said["wheel_rpm"] = float(values[i])
        said[firmware.battery] = float(volts[i] if firmware.battery == "battery_v" else volts[i] * 1000)
        if firmware.distance is not None:
            said[firmware.distance] = DISTANCE_M * (1000 if firmware.distance == "distance_mm" else 1)
        if firmware.setpoint:
            said["setpoint"] = float(wanted[i])
        if firmware.fired:
            said["fired"] = any(before < shot <= now for shot in shots)
        if firmware.nan:
            said[firmware.nan] = float("nan")
        before = now
        text = written(firmware.style, said, firmware.names, firmware.checked)
        yield float(now), text * 2 if firmware.twice else text


def _clock(firmware: Firmware, at: FloatArray) -> list[float]:
    """What the robot's clock says at times (n,), in the unit that its field names, or in a wrong one."""
    seconds = 3.2 + at
    if firmware.clock_fault == "frozen":
        seconds = np.full_like(at, 3.2)
    elif firmware.clock_fault == "whole seconds":
        seconds = np.floor(seconds)
    elif firmware.clock_fault == "microseconds as ms":
        seconds = seconds * 1000
    elif firmware.clock_fault == "seconds as ms":
        seconds = seconds / 1000
    elif firmware.clock_fault == "fast":
        seconds = seconds * 1.3
    step_s = firmware.clock_step_ms / 1000
    if firmware.clock == "t_us":
        return [float(v) for v in np.floor(seconds * 1e6)]
    if firmware.clock_fault == "seconds as ms":
        return [float(v) for v in np.round(seconds * 1000, 2)]
    return [float(v) for v in np.floor(np.floor(seconds / step_s + 1e-9) * firmware.clock_step_ms + 1e-9)]


def _carried(firmware: Firmware, lines: list[tuple[float, bytes]], rng: np.random.Generator) -> Chunks:
    """Lines spoilt, delayed and put together as wire, bridge and host do it."""
    chunks: dict[float, bytearray] = {}
    free, clump, last = 0.0, 0.0, 0.0
    for at, text in lines:
        data = _spoilt(text, firmware.faults, rng) if firmware.faults else text
        free = max(free, at) + len(text) / _BYTES_PER_S if firmware.rate_hz <= 200 else at
        arrival = free + float(rng.uniform(0, firmware.jitter_s))
        if firmware.bridge_s:
            arrival = float(np.ceil(arrival / firmware.bridge_s)) * firmware.bridge_s
        if firmware.clump_s[1]:
            while clump < arrival:
                clump += float(rng.uniform(*firmware.clump_s))
            arrival = clump
        last = max(last, arrival)
        chunks.setdefault(last, bytearray()).extend(data)
    return [(at, bytes(data)) for at, data in chunks.items()]


def _spoilt(data: bytes, share: float, rng: np.random.Generator) -> bytes:
    """Each byte with chance ``share``: one bit turned over, lost, or doubled, one as likely as the other."""
    content = np.frombuffer(data, np.uint8).copy()
    fault = np.where(rng.random(len(content)) < share, rng.integers(1, 4, len(content)), 0)
    turned = fault == 1
    content[turned] ^= (1 << rng.integers(0, 8, int(turned.sum()))).astype(np.uint8)
    return np.repeat(content, np.where(fault == 2, 0, np.where(fault == 3, 2, 1))).tobytes()
