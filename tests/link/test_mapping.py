"""What is guessed of lines that robot programs print, kind by kind; and the speed of a port found on a pseudo-terminal.

The lines are invented, as students write them (common practice, no source).
"""

from __future__ import annotations

import random
import termios
import time
from collections.abc import Callable, Iterator

import pytest
from printing_robot import PrintingRobot

from fieldtune import load_robot
from fieldtune.link.raw_line import RawLine
from fieldtune.link.troubleshooting.mapping import guess
from fieldtune.link.troubleshooting.raw_names import read_names

HERON = load_robot("heron")
Line = Callable[[int], str]
KINDS: dict[str, tuple[Line, dict[str, tuple[str, float]]]] = {
    "our own names": (
        lambda k: f"t_ms={100 + 20 * k},wheel_counts={4000 + 35 * k},battery_mv={9800 - k},setpoint=1400,fired=0",
        {"t_ms": ("t_ms", 1), "wheel_counts": ("wheel_counts", 1), "battery_mv": ("battery_mv", 1),
         "setpoint": ("setpoint", 1), "fired": ("fired", 1)},
    ),
    "capitals within": (
        lambda k: f"timeMs:{100 + 20 * k} encoderCount:{4000 + 35 * k} batteryVolts:{9.8 - k / 100:.1f} targetRpm:1400",
        {"timeMs": ("t_ms", 1), "encoderCount": ("wheel_counts", 1), "batteryVolts": ("battery_v", 1),
         "targetRpm": ("setpoint", 1)},
    ),
    "words and units": (
        lambda k: f"time = {0.1 + 0.02 * k:.2f} s, flywheel speed = {1380 + k} rpm, target = 1400 rpm, volts = 9.81 V",
        {"time": ("t_ms", 1), "flywheel speed": ("wheel_rpm", 1), "target": ("setpoint", 1), "volts": ("battery_v", 1)},
    ),
    "another language, with units": (
        lambda k: f"vitesse : 1 {380 + k},4 tr/min ; batterie : {9.8 - k / 100:.2f} V".replace(".", ","),
        {"vitesse": ("wheel_rpm", 1), "batterie": ("battery_v", 1)},
    ),
    "one JSON object": (
        lambda k: f'{{"millis": {100 + 20 * k}, "enc": {4000 + 35 * k}, "vbat": 9.8, "shot": false}}',
        {"millis": ("t_ms", 1), "enc": ("wheel_counts", 1), "vbat": ("battery_v", 1), "shot": ("fired", 1)},
    ),
    "radians a second, a share of power": (
        lambda k: f"t={100 + 20 * k} omega={146.6 + k / 10:.1f} goal=1400 power=0.63",
        {"t": ("t_ms", 1), "omega": ("wheel_rpm", 9.5493), "goal": ("setpoint", 1), "power": ("power_pct", 100)},
    ),
    "turns a second, millivolts": (
        lambda k: f"ms={100 + 20 * k} rps={23.3 + k / 100:.2f} mv=9800",
        {"ms": ("t_ms", 1), "rps": ("wheel_rpm", 60), "mv": ("battery_mv", 1)},
    ),
    "bare columns": (lambda k: f"{100 + 20 * k},{4000 + 35 * k},9800,1400", {"column 1": ("t_ms", 1)}),
    "columns with tabs": (lambda k: f"{100 + 20 * k}\t{1380 + k}\t9.8", {"column 1": ("t_ms", 1)}),
    "distance and current with units": (
        lambda k: f"dist: {1.9 + k / 100:.2f}m rpm: 1400 amps: 4.2A",
        {"dist": ("distance_m", 1), "rpm": ("wheel_rpm", 1), "amps": ("current_a", 1)},
    ),
    "microseconds, ticks, centimetres": (
        lambda k: f"micros={100000 + 20000 * k} ticks={4000 + 35 * k} range_cm=190",
        {"micros": ("t_us", 1), "ticks": ("wheel_counts", 1), "range_cm": ("distance_m", 0.01)},
    ),
    "a striker": (
        lambda k: f"ms={100 + 20 * k} draw=31.5 fired={k % 2} vbat=9.81",
        {"ms": ("t_ms", 1), "draw": ("draw_mm", 1), "fired": ("fired", 1), "vbat": ("battery_v", 1)},
    ),
    "shots counted": (
        lambda k: f"ms={100 + 20 * k} rpm={1380 + k} shots={3 + k // 12}",
        {"ms": ("t_ms", 1), "rpm": ("wheel_rpm", 1), "shots": ("fired", 1)},
    ),
    "no count of shots": (
        lambda k: f"ms={100 + 20 * k} rpm={1380 + k} shots={3 + k % 5}",
        {"ms": ("t_ms", 1), "rpm": ("wheel_rpm", 1)},
    ),
    "a tag before, milliamperes": (
        lambda k: "[shooter] speed=1400 setpoint=1410 current=4200",
        {"speed": ("wheel_rpm", 1), "setpoint": ("setpoint", 1), "current": ("current_ma", 1)},
    ),
    "text for people": (lambda k: "Robot ready, waiting for start", {}),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_names_are_guessed(kind: str) -> None:
    line, wanted = KINDS[kind]
    found = guess(read_names([line(k) for k in range(10)]), HERON)
    assert {name: (one.ours, pytest.approx(one.scale, rel=1e-4)) for name, one in found.items()} == wanted


class SlowPort(PrintingRobot):
    """A pseudo-terminal whose other end is only understood at one speed: at any other it gives noise."""

    def __init__(self, baud: int) -> None:
        self._speed, self._noise = getattr(termios, f"B{baud}"), random.Random(1)
        super().__init__(self._said)

    def _said(self, _: int) -> bytes:
        right = termios.tcgetattr(self.robot_end)[5] == self._speed
        return b"t_ms=1,enc=2\n" if right else bytes(self._noise.randrange(128, 256) for _ in range(13))


@pytest.fixture
def port(request: pytest.FixtureRequest) -> Iterator[SlowPort]:
    with SlowPort(request.param) as made:
        yield made


def until(fits: Callable[[], bool], seconds: float = 15.0) -> None:
    end = time.monotonic() + seconds
    while not fits():
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.mark.slow
@pytest.mark.parametrize("port", [115200, 57600, 9600], indirect=True)
def test_the_speed_of_a_port_is_found_and_an_unplugged_one_said(port: SlowPort) -> None:
    raw = RawLine(port.device)
    try:
        until(lambda: raw.baud is not None and len(raw.lines()) > 3)
        assert getattr(termios, f"B{raw.baud}") == port._speed
        assert raw.words == f"sends text at {raw.baud} baud"
        port.pull()
        until(lambda: not raw.words.startswith("sends"))
        assert raw.lines()  # what came stays to be looked at
    finally:
        raw.stop()
