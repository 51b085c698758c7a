"""A jam is current without a shot: named on the line of a simulated robot, and never on lines without one."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.recordings.recording_reader import RecordedLine
from fieldtune.link.sim.robot import SimulatedRobot

RECORDINGS = Path(__file__).parents[1] / "recordings"


class Followed:
    """A simulated robot and the line that is read from it."""

    def __init__(self, seed: int, rate_hz: float) -> None:
        self.robot = load_robot("heron")
        self.sim, self.line = SimulatedRobot(self.robot, seed, rate_hz), Line(self.robot)
        self.time_s, self.step_s = 0.0, 1 / rate_hz
        self.jams: list[float] = []
        """Times at which one was named."""

    def go(self, seconds: float, *commands: str) -> None:
        for command in commands:
            assert self.sim.command(command) is None
        for k in range(round(seconds / self.step_s)):
            self.line.feed(self.sim.line(), self.time_s)
            self.time_s += self.step_s
            if k % 5 == 0 and self.line.live("live", "", None, self.time_s).wheel.jam_a is not None:
                self.jams.append(self.time_s)


@pytest.mark.parametrize(("seed", "rate_hz"), [(0, 100.0), (1, 50.0), (2, 20.0)])
def test_a_jam_is_named_within_a_second_and_a_shot_is_none(seed: int, rate_hz: float) -> None:
    world = Followed(seed, rate_hz)
    world.go(4.0)
    for _ in range(4):
        world.go(0.6, "fire")
    world.go(2.5, "setpoint=2200")
    world.go(3.0, "setpoint=1500")
    for _ in range(3):
        world.go(0.4, "fire")
    world.go(2.0)
    assert not world.jams
    began = world.time_s
    world.go(1.5, "jam")
    assert world.jams
    assert began < world.jams[0] < began + 1.0
    assert world.line.health().notices["jam"] == 1
    shots = len(world.line.shots)
    world.go(2.0, "clear")
    cleared = world.jams[-1]
    assert cleared < began + 2.5
    world.go(1.0, "fire")
    assert world.jams[-1] == cleared
    assert len(world.line.shots) == shots + 1


@pytest.mark.parametrize("path", sorted(RECORDINGS.glob("*.rec")), ids=lambda path: path.stem)
def test_recorded_lines_without_a_jam_name_none(path: Path) -> None:
    recorded = RecordedLine(path)
    line = Line(load_robot(RECORDINGS / "robots" / f"{recorded.header()['robot']}.toml"))
    for chunk in recorded.chunks():
        line.feed(chunk.data, chunk.arrival_us / 1e6)
    assert "jam" not in line.health().notices
