"""The one door from the student-robot bench into the product: bytes with arrival times in, what is shown out.

Whoever moves the decoder mends this module alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment
from student_firmware import Firmware, sent
from wheel_controllers import WheelRun

from fieldtune import load_robot
from fieldtune.link import Line

Chunks = Sequence[tuple[float, bytes]]
LOOK_S = 0.02


@dataclass(frozen=True)
class Found:
    """A shot as the product tells of it: when its line arrived, and the speed at release (rpm, None if unknown)."""

    arrival_s: float
    speed_rpm: float | None
    depth_rpm: float | None


@dataclass(frozen=True)
class Look:
    """What a screen shows at one moment, None where blank."""

    time_s: float
    wheel_rpm: float | None
    battery_v: float | None
    distance_m: float | None


@dataclass(frozen=True)
class Decoding:
    """All that came of a line. ``dropped`` and ``notices``: counts by cause."""

    looks: list[Look]
    shots: list[Found]
    lines: int
    good: int
    dropped: Mapping[str, int]
    notices: Mapping[str, int]
    clock: str


@cache
def _heron() -> Any:
    return load_robot("heron")


def robot_for(
    counts_per_turn: float = 56.0,
    share: float = 0.12,
    names: Mapping[str, str] | None = None,
    columns: tuple[str, ...] = (),
) -> Any:
    """The demonstration robot with this encoder at the wheel, and wheels whose speed falls by ``share`` at a shot.

    ``names``: our field -> the robot's; ``columns``: order of bare numbers.
    """
    robot = _heron()
    encoder = replace(robot.encoder, counts_per_turn=counts_per_turn, on="wheel", bits=32)
    wheel = replace(robot.launcher.mechanism, wheel_inertia=_inertia(robot, share))
    link = replace(robot.link, fields=dict(names or {}), columns=columns)
    return replace(robot, encoder=encoder, launcher=replace(robot.launcher, mechanism=wheel), link=link)


def _inertia(robot: Any, share: float) -> float:
    """Of one wheel, kg m^2, so that the element's energy is what falling by ``share`` sets free; spin left aside."""
    wheel, mass = robot.launcher.mechanism, robot.element.mass
    second = wheel.speed_ratio if wheel.wheels == 2 else 0.0
    speed = wheel.grip * wheel.wheel_diameter / 2 * (1 + second) / 2  # m/s at 1 rad/s
    energy = mass * speed**2 / 2 / wheel.grip
    return 2 * energy / (1 - (1 - share) ** 2) / (1 + second**2)


def decode_lines(chunks: Chunks, robot: Any, until_s: float | None = None) -> Decoding:
    """Feeds chunks in order of arrival; looks every 20 ms up to ``until_s``, not at all where that is None."""
    line, shots, looks = Line(robot), {}, []
    due, last_s = 0.0, 0.0
    for arrival_s, data in chunks:
        while until_s is not None and due < min(arrival_s, until_s):
            looks.append(_look(line, due))
            due += LOOK_S
        line.feed(data, arrival_s)
        last_s = arrival_s
        for shot in line.shots[-8:]:
            shots[shot.number] = shot
    while until_s is not None and due < until_s:
        looks.append(_look(line, due))
        due += LOOK_S
    health = line.live("live", "", None, last_s).health
    found = [Found(s.arrival_s, s.speed_rpm, s.depth_rpm) for s in shots.values()]
    return Decoding(looks, found, health.lines, health.good, health.dropped, health.notices, health.clock)


def _look(line: Line, now: float) -> Look:
    live = line.live("live", "", None, now)
    return Look(now, live.wheel_rpm, live.battery_v, live.distance_m)


def matched(found: Sequence[Found], true_s: Sequence[float], slack_s: float) -> tuple[list[tuple[int, int]], int]:
    """Pairs (index found, index true), each used once, within ``slack_s``; and how many found are no true shot's.

    As many pairs as there can be, and of those the nearest ones in all: several may be told together, and late.
    """
    off_s = np.abs(np.subtract.outer([shot.arrival_s for shot in found], true_s))
    no_pair_s = 1.0 + slack_s * len(found)  # worse than all others together
    pairs = zip(*linear_sum_assignment(np.where(off_s <= slack_s, off_s, no_pair_s)), strict=True)
    near = [(int(i), int(j)) for i, j in pairs if off_s[i, j] <= slack_s]
    return near, len(found) - len(near)


def slack_s(firmware: Firmware) -> float:
    """How late a shot of this program may be told."""
    return 0.15 + firmware.late_s + 2 / firmware.rate_hz


def caught(wheel: WheelRun, firmware: Firmware, share: float, seed: int) -> tuple[float, int]:
    """Share of a wheel's shots that are found by what a program sends of it, and how many more were made up."""
    found = decode_lines(sent(firmware, wheel, seed), robot_for(firmware.counts_per_turn, share)).shots
    pairs, made_up = matched(found, [shot.time_s for shot in wheel.shots], slack_s(firmware))
    return len(pairs) / len(wheel.shots), made_up


def wrong_and_blank(
    looks: Sequence[Look], t: np.ndarray, rpms: Sequence[np.ndarray], late_s: float, from_s: float = 1.0
) -> tuple[float, float]:
    """Seconds in which the speed shown was wrong, and in which none was shown, from ``from_s`` on.

    Wrong: more than 80 rpm outside what the wheel did in the last 0.2 s (and ``late_s``, where lines come that late).
    ``rpms``: the wheels that it may be, each (n,) at ``t``.
    """
    step = float(t[1] - t[0])
    wrong = blank = 0
    for look in looks:
        if look.time_s < from_s:
            continue
        if look.wheel_rpm is None:
            blank += 1
            continue
        end = int(look.time_s / step) + 1
        begin = max(int((look.time_s - 0.2 - late_s) / step), 0)
        wrong += not any(
            rpm[begin:end].min() - 80 <= look.wheel_rpm <= rpm[begin:end].max() + 80
            for rpm in rpms
            if len(rpm[begin:end])
        )
    return wrong * LOOK_S, blank * LOOK_S
