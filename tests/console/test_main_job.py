"""The main job on real pseudo-terminals: a simulated robot, ten shots confirmed by keys, a power cut, and nothing lost.

Two processes as at a practice field: the robot's, whose trigger is the space bar of its own terminal, and the
console's, which only listens. This test is the robot program: it sets the setpoint that the console recommends.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from terminal import Terminal

from fieldtune.robot import find_profile

KEYS = {"in": "i", "short": "s", "long": "l", "left": "\x1b[D", "right": "\x1b[C"}
SPOT, DISTANCE = "3", 2.6


def rows_of_shots(text: str) -> list[str]:
    """The rows of the log that the main screen shows."""
    return [line.strip() for line in text.splitlines() if re.match(r"^ {0,5}\d+  [●▼▲◀▶]", line)]


def recommended(text: str) -> tuple[float, float, float]:
    """Setpoint, and the window around it, as the screen says them."""
    window = re.search(r"Good range (\d+) to (\d+) rpm", text)
    value = re.search(r"(?:Set the wheel to|Ready at) (\d+) rpm", text.split("▶")[-1])
    assert window, text
    assert value, text
    return float(value[1]), float(window[1]), float(window[2])


def test_ten_shots_a_power_cut_and_the_same_advice(tmp_path: Path) -> None:
    home = tmp_path / "profiles"
    home.mkdir()
    shutil.copy(find_profile("heron"), home / "heron.toml")
    with Terminal("simulate", "heron", "--seed", "7", "--distance", f"{DISTANCE} m", profiles=home) as robot:
        device = re.search(r"/dev/\S+", robot.wait(r"/dev/\S+\s"))
        assert device
        path = Path(device[0])
        # Opened before the console, which takes the port for itself.
        with path.open("wb", buffering=0) as program:
            with Terminal("console", "heron", "--port", str(path), profiles=home) as console:
                console.wait("Before anything turns")
                console.press("\r")
                console.wait(r"line: reading .*samples/s")
                console.press(SPOT)
                advised = []
                for number in range(1, 11):
                    value = _bring_to_setpoint(console, program)
                    advised.append(value)
                    robot.press(" ")
                    outcome = re.search(
                        rf"shot {number} from [\d.]+ m: (\w+)", robot.wait(rf"shot {number} from .*: \w+,")
                    )
                    assert outcome
                    console.wait("Where did it go")
                    console.press(KEYS[outcome[1]])
                    console.wait(f"confirmed: shot {number}, {outcome[1]}")
                text = console.wait(lambda screen: "from 10 shots" in screen and _settled(screen))
                value, low, high = recommended(text)
                assert low <= value <= high
                assert all(low - 10 <= earlier <= high + 10 for earlier in advised[-3:]), (advised, low, high)
                rows = rows_of_shots(text)
                assert [row.split()[0] for row in rows] == ["10", "9", "8", "7", "6"]
                console.kill()
            with Terminal("console", "heron", "--port", str(path), profiles=home) as again:
                again.wait(r"line: reading .*samples/s")
                again.press(SPOT)
                text = again.wait(
                    lambda screen: (
                        _settled(screen)
                        and all(said in screen for said in ("from 10 shots", "mid field"))
                        and bool(rows_of_shots(screen))
                    )  # the log is read after the answer that was kept
                )
                assert rows_of_shots(text) == rows
                assert recommended(text) == (value, low, high)
                again.press("k")
                again.wait(r"10 shots count")
                again.press("q")
                again.process.wait(10)
                assert again.process.returncode == 0


def _settled(screen: str) -> bool:
    """Whether the advice is of now and not still being worked out."""
    return bool(re.search(r"▶  +(Ready at|Set the wheel)", screen)) and "Good range" in screen


def _bring_to_setpoint(console: Terminal, program: object) -> float:
    """Do what the console says until the wheel is ready; returns the setpoint."""
    while True:
        text = console.wait(r"▶  +(Ready at \d+ rpm|Set the wheel to \d+ rpm)")
        wanted = re.search(r"▶  +Set the wheel to (\d+) rpm", text)
        if wanted is None:
            return recommended(text)[0]
        program.write(f"setpoint={wanted[1]}\n".encode())  # type: ignore[attr-defined]
        console.wait(lambda screen, wanted=wanted: f"▶  Set the wheel to {wanted[1]} rpm" not in screen)
