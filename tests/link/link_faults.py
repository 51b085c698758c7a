"""What can happen to bytes on a wire, and a run of the simulated robot through it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from fieldtune.link.line import Line
from fieldtune.link.sim import SimulatedRobot


def flip(data: bytes, rate: float, rng: np.random.Generator) -> bytes:
    """One bit of a share of the bytes turned over."""
    content = np.frombuffer(data, np.uint8).copy()
    hit = rng.random(len(content)) < rate
    content[hit] ^= (1 << rng.integers(0, 8, hit.sum())).astype(np.uint8)
    return content.tobytes()


def lose(data: bytes, rate: float, rng: np.random.Generator) -> bytes:
    """A share of the bytes missing."""
    content = np.frombuffer(data, np.uint8)
    return content[rng.random(len(content)) >= rate].tobytes()


def double(data: bytes, rate: float, rng: np.random.Generator) -> bytes:
    """A share of the bytes twice."""
    content = np.frombuffer(data, np.uint8)
    return np.repeat(content, 1 + (rng.random(len(content)) < rate)).tobytes()


def unchecked(line: bytes) -> bytes:
    """The same line without its frame."""
    return line.lstrip(b"$").split(b"*")[0] + b"\n"


@dataclass
class Run:
    """What came of a run: shown speeds against the truth, and shots against the truth."""

    line: Line
    longest_wrong_s: float = 0.0
    shown_share: float = 0.0
    true_shots: list[float] = field(default_factory=list)
    caught: int = 0
    phantoms: int = 0


def run(robot, fault, rate, *, seed=1, seconds=40.0, plain=False, every_s=3.0, url_rate=100.0):
    """Feeds a faulty line and watches what would be shown, every 10 ms: right is what the wheel did 0.1 s ago or since.

    A wheel that is up in a quarter of a second is never shown as it is this moment, on a line without fault either.
    """
    simulated, line = SimulatedRobot(robot, seed, url_rate), Line(robot)
    rng = np.random.default_rng(seed)
    result = Run(line)
    wrong_since = None
    shown = count = 0
    lately: deque[float] = deque(maxlen=int(0.1 * url_rate) + 1)
    next_shot, shots_at = every_s, []
    period = 1 / url_rate
    for i in range(int(seconds * url_rate)):
        now = i * period
        if now >= next_shot and now < seconds - 1.5:
            simulated.command("fire")
            next_shot += every_s
        before = len(simulated.outcomes)
        data = simulated.line()
        shots_at += [now] * (len(simulated.outcomes) - before)
        line.feed(fault(unchecked(data) if plain else data, rate, rng), now)
        said = line.live("live", "", None, now).wheel_rpm
        lately.append(simulated.quantity)
        room = 0.02 * max(lately[-1], 100.0)
        count += 1
        shown += said is not None
        if said is None or min(lately) - room <= said <= max(lately) + room:
            wrong_since = None
        else:
            wrong_since = now if wrong_since is None else wrong_since
            result.longest_wrong_s = max(result.longest_wrong_s, now - wrong_since + period)
    result.shown_share = shown / count
    result.true_shots = shots_at
    seen = [shot.arrival_s for shot in line.shots]
    result.caught = sum(any(abs(s - t) < 0.15 for s in seen) for t in shots_at)
    result.phantoms = sum(not any(abs(s - t) < 0.15 for t in shots_at) for s in seen)
    return result
