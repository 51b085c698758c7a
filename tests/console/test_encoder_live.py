"""The encoder's scale on a live line, by keys: hand turns, full power, and counts so wrong that every line is dropped.

A second program plays the robot over a pseudo-terminal: it knows its wheel, and the profile's counts a turn are wrong.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from printing_robot import PrintingRobot
from terminal import Terminal

from fieldtune.link.text.checksums import framed
from fieldtune.robot.starter import new_profile_text

pytestmark = pytest.mark.slow

A_TURN = 48 * 2.1
"""Counts a turn of the wheel, really: 48 on the motor, 2.1 motor turns a turn of the wheel."""
FREE_RPM = 6100 / 2.1


class Player(PrintingRobot):
    """Prints a line fifty times a second; ``rpm`` is what the wheel really does."""

    def __init__(self) -> None:
        self.rpm, self.setpoint, self.power = 0.0, 0.0, 0.0
        self.turns = 0.0
        self._began = self._before = time.monotonic()
        super().__init__(self._said, 0.02)

    def _said(self, number: int) -> bytes:
        now = time.monotonic()
        self.turns += self.rpm / 60 * (now - self._before)
        self._before = now
        said = f"t_ms={1000 * (now - self._began):.0f},wheel_counts={self.turns * A_TURN:.0f},battery_mv=9600"
        return framed(f"{said},setpoint={self.setpoint:g},power_pct={self.power:g}")

    def by_hand(self, turns: float, seconds: float = 4.0) -> None:
        """Exactly so many turns, as by a patient hand."""
        end, self.rpm = self.turns + turns, 60 * turns / seconds
        while self.turns < end - 0.02 * turns:
            time.sleep(0.01)
        self.rpm = 0.0
        time.sleep(0.1)
        self.turns = end


@pytest.fixture
def player() -> Iterator[Player]:
    with Player() as made:
        yield made


def opened(folder: Path, player: Player, counts: int) -> Path:
    path = folder / "kite.toml"
    text = new_profile_text("kite", "flywheel").replace("counts_per_turn = 48", f"counts_per_turn = {counts}")
    path.write_text(text.replace('port = "auto"', f'port = "{player.device}"'))
    return path


def test_ten_hand_turns_find_the_scale_and_then_the_programs_own_wrong_one(tmp_path: Path, player: Player) -> None:
    profile = opened(tmp_path, player, 96)
    with Terminal("console", "kite", profiles=tmp_path) as console:
        console.wait("Before anything turns", 20)
        console.press("\r")
        console.wait(r"line: reading .*samples/s", 20)
        console.press("\x05")
        console.wait("turn the wheel 10 times by hand")
        console.press("\r")
        console.wait("counts so far")
        player.by_hand(10)
        console.wait("1008 counts so far")
        console.press("\r")
        console.wait(r"0\.50 × what was turned by hand")
        console.wait("t takes counts_per_turn = 48")
        console.press("t")
        console.wait(lambda _: "counts_per_turn = 48" in profile.read_text(), 20)
        console.wait(lambda screen: "By the profile" not in screen and "samples/s" in screen, 20)
        player.setpoint, player.rpm = 1200.0, 600.0  # the program's own control has the scale wrong by 2
        console.wait(r"0\.50 × what the program asks for", 20)
        console.press("\x05")
        assert "t takes" not in console.wait("the robot program's own scale is wrong")
        console.press("q")
        console.process.wait(15)


def test_full_power_finds_a_factor_without_any_setpoint(tmp_path: Path, player: Player) -> None:
    opened(tmp_path, player, 192)
    player.power, player.rpm = 100.0, 0.93 * FREE_RPM
    with Terminal("console", "kite", profiles=tmp_path) as console:
        console.wait("Before anything turns", 20)
        console.press("\r")
        console.wait(r"0\.25 × what the gear train allows at full power", 20)
        console.press("\x05")
        console.wait("t takes counts_per_turn = 48")
        console.press("q")
        console.process.wait(15)


@pytest.mark.parametrize("counts", [12, 6, 3])
def test_counts_so_wrong_that_every_line_is_dropped_are_found(tmp_path: Path, player: Player, counts: int) -> None:
    opened(tmp_path, player, counts)
    player.setpoint, player.rpm = 1800.0, 1800.0
    with Terminal("console", "kite", profiles=tmp_path) as console:
        console.wait("Before anything turns", 20)
        console.press("\r")
        console.wait(rf"readback is {48 / counts:.0f}\.\d\d × what the program asks for", 20)
        console.press("\x05")
        console.wait("t takes counts_per_turn = 48")
        console.press("q")
        console.process.wait(15)
