"""The recordings of tests/recordings, made anew by the simulated robot. Run as a program, then link_recordings.py:

python tests/link/make_recordings.py
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from link_faults import flip, lose, unchecked
from link_recordings import HOME

from fieldtune import load_robot
from fieldtune.link import Recorder
from fieldtune.link.sim import SimulatedRobot

Heard = tuple[int, bytes]
"""Arrival, microseconds, and what came."""


def run(
    robot: str, seconds: float, commands: Sequence[tuple[float, str]], seed: int, rate_hz: float = 100.0
) -> Iterator[Heard]:
    """Lines of one simulated robot with commands at their seconds, each up to 8 ms late on the wire."""
    late = np.random.default_rng(seed)
    simulated, waiting = SimulatedRobot(load_robot(HOME / "robots" / f"{robot}.toml"), seed, rate_hz), [*commands]
    for number in range(round(seconds * rate_hz)):
        while waiting and waiting[0][0] <= number / rate_hz:
            simulated.command(waiting.pop(0)[1])
        yield round(1e6 * number / rate_hz) + int(late.integers(0, 8000)), simulated.line()


def keep(name: str, about: str, robot: str, heard: Iterator[Heard]) -> None:
    """A recording in the project's own format."""
    path = HOME / f"{name}.rec"
    path.unlink(missing_ok=True)
    with_place = {"about": f"{about} Invented: made by the simulated robot.", "robot": robot}
    recorder = Recorder(path, with_place)
    for at, data in heard:
        recorder.write(at, data)
    recorder.close()


def faulty(heard: Iterator[Heard], fault: Callable[..., bytes], rate: float) -> Iterator[Heard]:
    rng = np.random.default_rng(9)
    for at, data in heard:
        yield at, fault(data, rate, rng)


def restarted() -> Iterator[Heard]:
    """The controller restarts after three seconds; the port is closed for 0.8 s."""
    for at, data in run("heron", 3.0, [(2.0, "fire")], 5):
        last = at
        yield at, data
    yield last, b""
    for at, data in run("heron", 3.0, [(2.0, "fire")], 6):
        yield at + 3_800_000, data


def rolling_over() -> list[str]:
    """JSON Lines, the clock 1.5 s before its roll-over at 32 bits, with a note that looks like markup."""
    lines = []
    for _, data in run("heron", 3.0, [(2.0, "fire")], 7):
        words = unchecked(data).decode().strip().split(",")
        said = {name: json.loads(value) for name, value in (word.split("=") for word in words)}
        said["t_ms"] = (said["t_ms"] + 2**32 - 1500) % 2**32
        lines.append(json.dumps({**said, "note": "a {text} with [markup]"}))
    return lines


def captured(name: str, about: str, robot: str, lines: list[str]) -> None:
    """A capture as plain text."""
    head = [f"# about: {about} Invented: made by the simulated robot.", f"# robot: {robot}"]
    (HOME / f"{name}.txt").write_text("\n".join(head + lines) + "\n")


if __name__ == "__main__":
    shots = [(2.0, "fire"), (3.0, "setpoint=1800"), (4.0, "fire"), (5.5, "fire")]
    keep(
        "heron-three-shots",
        "Heron on a clean line: spin-up, a new setpoint, three shots.",
        "heron",
        run("heron", 7.0, shots, 1),
    )
    keep(
        "heron-noisy",
        "Heron on a line that turns one bit in a thousand bytes.",
        "heron",
        faulty(run("heron", 6.0, [(2.0, "fire"), (4.0, "fire")], 2), flip, 0.001),
    )
    keep(
        "heron-lossy",
        "Heron on a line that loses one byte in a hundred.",
        "heron",
        faulty(run("heron", 4.0, [(2.0, "fire")], 3), lose, 0.01),
    )
    keep(
        "heron-restart",
        "Heron whose controller restarts after three seconds, with the port reopened.",
        "heron",
        restarted(),
    )
    keep(
        "otter-two-shots",
        "Otter, a striker: cocks, is let go twice.",
        "otter",
        run("otter", 5.0, [(1.5, "fire"), (3.0, "fire")], 4),
    )
    captured(
        "heron-json-roll-over",
        "Heron as JSON Lines with a clock that rolls over at 32 bits, captured as text.",
        "heron",
        rolling_over(),
    )
    skiff = [unchecked(data).decode().strip() for _, data in run("skiff", 4.0, [(2.0, "fire")], 8)]
    captured("skiff-columns", "Skiff, bare numbers in columns, as a terminal program captured them, without times.",
             "skiff", ["hello, this is the robot", *skiff])  # fmt: skip
