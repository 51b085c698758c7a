"""Robot programs as people write them: a wheel whose every turn is known, and the many ways to print it.

All invented for these tests; none of it uses the product's own simulator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.text.checksums import framed

STEP_S = 0.0005
LOOK_S = 0.02


class World:
    """A wheel that stands, spins up, shoots, is told another speed, and coasts to a stop."""

    shots = (2.4, 3.2, 4.9)
    seconds = 7.5

    def __init__(self, seed: int = 0) -> None:
        rng = np.random.default_rng(seed)
        self.t = np.arange(0.0, self.seconds, STEP_S)
        self.told = np.select([self.t < 0.5, self.t < 4.0, self.t < 5.8], [0.0, 1500.0, 2100.0], 0.0)
        rpm, wheel, shots = 0.0, np.zeros_like(self.t), list(self.shots)
        for i, told in enumerate(self.told):
            if shots and self.t[i] >= shots[0]:
                rpm *= 0.86
                shots.pop(0)
            push = min(max(12 * (told - rpm), -0.5 * rpm - 50), 4500.0) if told else -1.2 * rpm - 60
            rpm = max(rpm + push * STEP_S, 0.0)
            wheel[i] = rpm
        ripple = 0.002 * np.sin(2 * np.pi * 11 * self.t) + 0.001 * rng.standard_normal(len(self.t))
        self.rpm = wheel * (1 + ripple)
        self.turns = np.concatenate([[0.0], np.cumsum(self.rpm[:-1] / 60 * STEP_S)])
        self.volts = 10.2 - 0.05 * self.t

    def at(self, seconds: float) -> int:
        """Index of a moment."""
        return min(max(int(seconds / STEP_S), 0), len(self.t) - 1)

    def right(self, shown: float, seconds: float, within_s: float = 0.1) -> bool:
        """Whether a shown speed is within 2 % of what the wheel did at some moment of the last ``within_s``."""
        lately = self.rpm[self.at(seconds - within_s) : self.at(seconds) + 1]
        room = 0.02 * max(float(self.rpm[self.at(seconds)]), 150.0)
        return bool(lately.min() - room <= shown <= lately.max() + room)


@cache
def world_of(seed: int) -> World:
    """The world of a seed, which nobody changes."""
    return World(seed)


def _as_it_is(number: int, line: bytes) -> bytes:
    return line


@dataclass(frozen=True)
class Firmware:
    """One robot program. ``speed``: counts or rpm; ``between`` joins name and value pairs (or bare values).

    ``spoken`` changes each line in its own way; ``hold_s``: how often the program computes its rpm; ``restart_s``: when
    it reboots; ``late_s``: period in which the USB bridge hands over what it has.
    """

    rate_hz: float = 100.0
    speed: str = "counts"
    counts_per_turn: float = 56.0
    bits: int = 32
    signed: bool = False
    turning: int = 1
    clock: str | None = "t_ms"
    clock_bits: int = 32
    clock_starts: float = 3000.0
    counter_starts: int = 1234
    form: str = "{name}={value}"
    between: str = ","
    json: bool = False
    columns: bool = False
    checked: bool = False
    end: bytes = b"\n"
    extra: str = ""
    battery: str | None = "battery_mv"
    fired: bool = False
    told: bool = True
    rpm_form: str = "{:.0f}"
    rpm_noise: float = 0.0
    hold_s: float = 0.0
    uneven: float = 0.05
    late_s: float = 0.0
    restart_s: float | None = None
    names: dict[str, str] = field(default_factory=dict)
    spoken: Callable[[int, bytes], bytes] = _as_it_is

    def robot(self):
        """The demonstration robot with this program's encoder, names and columns."""
        robot = load_robot("heron")
        encoder = replace(robot.encoder, counts_per_turn=self.counts_per_turn, on="wheel", bits=self.bits)
        columns = tuple(self._readings(world_of(0), 0, 0.0, 0.0, 0.0)) if self.columns else ()
        return replace(robot, encoder=encoder, link=replace(robot.link, fields=self.names, columns=columns))

    def _readings(self, world, i, seconds, rpm, turns):
        """Our name -> the text printed."""
        said = {}
        if self.clock is not None:
            ticks = (self.clock_starts / 1000 + seconds) * (1e6 if self.clock == "t_us" else 1e3)
            said[self.clock] = str(int(ticks) % (1 << self.clock_bits))
        if self.speed == "counts":
            counts = int(np.floor(self.turning * turns * self.counts_per_turn)) + self.counter_starts
            half = 1 << (self.bits - 1)
            said["wheel_counts"] = str((counts + half) % (2 * half) - half if self.signed else counts % (2 * half))
        else:
            said["wheel_rpm"] = self.rpm_form.format(self.turning * rpm)
        if self.battery is not None:
            said[self.battery] = (
                f"{world.volts[i]:.2f}" if self.battery == "battery_v" else f"{world.volts[i] * 1e3:.0f}"
            )
        if self.told:
            said["setpoint"] = f"{world.told[i]:g}"
        return said

    def _line(self, said):
        named = {self.names.get(name, name): value for name, value in said.items()}
        if self.json:
            body = "{" + ", ".join(f'"{name}": {value}' for name, value in named.items()) + self.extra + "}"
        elif self.columns:
            body = self.between.join(named.values())
        else:
            pairs = (self.form.format(name=name, value=value) for name, value in named.items())
            body = self.between.join(pairs) + self.extra
        return (framed(body)[:-1] if self.checked else body.encode()) + self.end

    def lines(self, world: World, seed: int = 0) -> list[tuple[float, bytes]]:
        """(arrival in seconds, bytes), in order."""
        rng = np.random.default_rng(seed)
        due = np.arange(0.0, world.seconds - 0.1, 1 / self.rate_hz)
        read = due + rng.uniform(0, self.uneven / self.rate_hz, len(due))
        shots, held, held_at, found = list(world.shots), 0.0, -np.inf, []
        begun, turned = 0.0, 0.0
        silent = (np.inf, np.inf) if self.restart_s is None else (self.restart_s, self.restart_s + 0.8)
        for number, now in enumerate(read):
            i = world.at(now)
            if silent[0] <= now < silent[1]:
                begun, turned = now, world.turns[i]
                continue
            if now - held_at >= self.hold_s:
                held, held_at = world.rpm[i] * (1 + self.rpm_noise * rng.standard_normal()), now
            own = replace(self, clock_starts=0.0, counter_starts=0) if begun else self
            said = own._readings(world, i, now - begun, held, world.turns[i] - turned)
            if self.fired:
                said["fired"] = str(int(bool(shots) and shots[0] <= now))
                while shots and shots[0] <= now:
                    shots.pop(0)
            found.append((now, self.spoken(number, self._line(said))))
        if self.restart_s is not None:
            banner = b"\x00\xf8rst:0x1 (POWERON)\r\nboot: 0x13, mode 2\r\nlauncher v1.2, 115200 baud\r\n"
            found.append((silent[1] - 0.3, banner))
        return sorted(_in_bursts(found, self.late_s), key=lambda pair: pair[0])


def _in_bursts(lines, period_s):
    """Arrivals as a USB bridge makes them that hands over every so often."""
    if not period_s:
        return lines
    bursts = {}
    for at, data in sorted(lines, key=lambda pair: pair[0]):
        over = float(np.ceil(at / period_s) * period_s)
        bursts[over] = bursts.get(over, b"") + data
    return list(bursts.items())


@dataclass
class Seen:
    """What was shown of a world."""

    line: Line
    wrong_s: float = 0.0
    shown: float = 0.0
    caught: int = 0
    made_up: int = 0


def watched(firmware: Firmware, world: World, spoil=lambda data, rng: data, seed: int = 0) -> Seen:
    """Feeds a program's lines, spoilt by ``spoil(data, rng)``, and looks every ``LOOK_S``."""
    line, rng = Line(firmware.robot()), np.random.default_rng(seed)
    waiting, seen, wrong_since, shown, looks = iter(firmware.lines(world, seed)), Seen(line), None, 0, 0
    upcoming = next(waiting, None)
    for now in np.arange(0.0, world.seconds - 0.15, LOOK_S):
        while upcoming is not None and upcoming[0] <= now:
            line.feed(spoil(upcoming[1], rng), upcoming[0])
            upcoming = next(waiting, None)
        said = line.live("live", "", None, now).wheel_rpm
        looks, shown = looks + 1, shown + (said is not None)
        if said is None or world.right(said, now):
            wrong_since = None
        else:
            wrong_since = now if wrong_since is None else wrong_since
            seen.wrong_s = max(seen.wrong_s, round(now - wrong_since + LOOK_S, 9))
    slack = 0.12 + max(firmware.late_s, 2 / firmware.rate_hz)
    at = [shot.arrival_s for shot in line.shots]
    seen.shown = shown / looks
    seen.caught = sum(any(abs(a - b) < slack for a in at) for b in world.shots)
    seen.made_up = sum(not any(abs(a - b) < slack for b in world.shots) for a in at)
    return seen
