"""A wheel of known speed, written out as a robot would: independent of the simulated robot."""

from __future__ import annotations

import numpy as np

from fieldtune.link.line import Line

COUNTS_PER_TURN = 100.8  # heron: 48 a motor turn, geared 22:33 and 20:28


def wheel_speed(t, setpoint_rpm, shots, share, recovery_s):
    """Rpm at times t: each shot takes ``share`` of the speed, which comes back with time constant ``recovery_s``."""
    rpm = np.full_like(t, setpoint_rpm)
    lag = 0.0
    previous = None
    for shot in shots:
        if previous is not None:
            lag *= np.exp(-(shot - previous) / recovery_s)
        lag = lag + share * (setpoint_rpm - lag)
        after = t >= shot
        rpm[after] = setpoint_rpm - lag * np.exp(-(t[after] - shot) / recovery_s)
        previous = shot
    return rpm


def wheel_turns(rpm_at, until_s, step_s=0.0005):
    """Fine times and the turns made by them."""
    t = np.arange(0.0, until_s, step_s)
    return t, np.concatenate([[0.0], np.cumsum(rpm_at(t)[:-1] / 60 * step_s)])


def count_lines(t, turns, rng, *, rate_hz=100.0, clock="ms", count_noise=0.0, time_noise_s=0.0, extra=""):
    """Lines with whole counts at about even times; ``time_noise_s`` is how unevenly the counter is read."""
    due = np.arange(0.05, t[-1] - 0.01, 1 / rate_hz)
    read = due + rng.uniform(0, 0.1 / rate_hz, len(due))
    counts = np.interp(read + time_noise_s * rng.standard_normal(len(due)), t, turns) * COUNTS_PER_TURN
    counts = np.floor(counts + count_noise * rng.standard_normal(len(due))).astype(np.int64) + 5000
    scale = 1000 if clock == "ms" else 1_000_000
    return [
        (due[i], f"t_{clock}={int(read[i] * scale)},wheel_counts={counts[i]}{extra}\n".encode())
        for i in range(len(due))
    ]


def lines_of_readings(wheel, at, read, rng, late_s, counts_per_turn=56.0):
    """Lines printed ``at`` (n,) seconds that say what the counter was when ``read`` (n,), heard from ``late_s`` on."""
    counts = np.floor(wheel.turns_at(read) * counts_per_turn)
    arrival = at + late_s + rng.uniform(0, 0.003, len(at))
    return [
        (float(when), b"t_ms=%d,wheel_counts=%d\n" % (1000 * (now + 3.2), count))
        for when, now, count in zip(arrival, at, counts, strict=True)
    ]


def shots_seen(robot, lines):
    """Times at which the line saw shots, on the wheel's own clock, with what it saw."""
    line = Line(robot)
    start = None
    for at, data in lines:
        samples = line.feed(data, at)
        if start is None and samples:
            start = lines[0][0]
    return [(shot.time_s + start, shot) for shot in line.shots]
