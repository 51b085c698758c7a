"""A season's day by one script through the public API, each number beside that of an oracle of the hidden robot.

``python tests/truth/season_day.py [NUMBER]``: look at the angle, tune, export and compile, drive (pose and
motion), change the battery, trim, play matches, print the sheet. The hidden physics is that of ``truth_physics``.
"""

from __future__ import annotations

import math
import runpy
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from truth_robots import HiddenRobot, hidden_robot

from fieldtune import Pose, Session, load_robot
from fieldtune.share.export import export
from fieldtune.share.program_source import source
from fieldtune.share.program_table import program_table
from fieldtune.share.trim import trim

SHOTS, JUMP, MATCHES, A_MATCH = 10, -0.04, 3, 12


@dataclass
class Day:
    """What the day came to: shares of the oracle's hits, and misses in metres of a robot in motion."""

    before: float
    tuned: float
    program: float
    jumped: float
    trimmed: float
    moving_miss_m: float
    standing_miss_m: float
    hits: int
    tried: int
    expected: float


def a_flywheel(number: int) -> HiddenRobot:
    """The first flywheel under speed control with a level opening, from ``number`` on."""
    while True:
        robot = hidden_robot(number)
        if robot.nominal.launcher == "flywheel" and robot.nominal.target == "basket" and not robot.nominal.power:
            return robot
        number += 1


def play(number: int, folder: Path, say: Any = print) -> Day:
    """The whole day on one hidden robot; prints as it goes."""
    hidden, rng = a_flywheel(number), np.random.default_rng([20, number])
    path = folder / f"{hidden.name}.toml"
    path.write_text(hidden.nominal.profile(), encoding="utf-8")
    robot = load_robot(str(path))
    with Session(robot, store=None) as session:

        def share(setpoints: list[float | None]) -> float:
            return float(hidden.hit_rates(setpoints).sum() / hidden.oracle().sum())

        def advised() -> list[float | None]:
            return [session.aim(float(d)).setpoint.value for d in hidden.readings]

        def shot(distance: float, setpoint: float, **more: Any) -> None:
            allowed = hidden.nominal.allowed(setpoint)
            session.confirm(distance, allowed, **hidden.shoot(distance, allowed, rng), **more)

        sweep = session.angle(40, 70, 10)
        say(
            f"{hidden.name}: angles of 40 to 70 deg: {', '.join(f'{row.mean:.2f}' for row in sweep.angles)} of all hits"
        )
        before = share(advised())
        for _ in range(SHOTS):
            asked = session.next()
            shot(asked.distance_m, asked.setpoint)
        tuned = share(advised())
        say(f"share of the oracle's hits: {before:.2f} from the profile, {tuned:.2f} after {SHOTS} shots")

        table = program_table(session, float(hidden.readings[0]), float(hidden.readings[-1]))
        (program := folder / "table.py").write_text(source(table, "python", "2026-03-14"))
        if shutil.which("javac"):
            (folder / "Table.java").write_text(source(table, "java", "2026-03-14", "Table"))
            subprocess.run(["javac", "-d", str(folder), str(folder / "Table.java")], check=True)
        by_program = share([_loaded(program).setpoint(float(d)) for d in hidden.readings])
        say(f"by the exported program: {by_program:.2f}")
        moving, standing = _driven(session, hidden)
        say(f"at 0.8 and -0.4 m/s the mean shot misses by {100 * moving:.1f} cm, standing by {100 * standing:.1f} cm")

        session.swap("another")
        hidden.shift = JUMP
        jumped = share([_loaded(program).setpoint(float(d)) for d in hidden.readings])
        for _ in range(3):
            asked = session.next()
            shot(asked.distance_m, asked.setpoint)
        found = trim(session, program)
        program.write_text(program.read_text().replace("TRIM = 1.0", f"TRIM = {found.trim}"))
        trimmed = share([_loaded(program).setpoint(float(d)) for d in hidden.readings])
        say(f"battery change of {JUMP:+.0%}: {jumped:.2f} by the old program, {trimmed:.2f} with trim {found.trim:.3f}")

        chances = []
        for match in range(MATCHES):
            for _ in range(A_MATCH):
                place = int(rng.integers(len(hidden.readings)))
                setpoint = session.aim(float(hidden.readings[place])).setpoint.value
                if setpoint is not None:
                    chances.append(float(hidden.hit_rates([None] * place + [setpoint])[place]))
                    shot(float(hidden.readings[place]), setpoint, match=f"Q{match + 1}")
        groups = {group.name: group for group in session.hits("match").groups}
        played = [groups[f"Q{match + 1}"] for match in range(MATCHES)]
        hits, tried = sum(g.hits for g in played), sum(g.tried for g in played)
        say(f"matches: {hits} of {tried}; the truth expects {sum(chances):.1f}")
        export(session, "sheet", folder / "sheet.html")
    return Day(before, tuned, by_program, jumped, trimmed, moving, standing, hits, tried, sum(chances))


def _loaded(path: Path) -> Any:
    return SimpleNamespace(**runpy.run_path(str(path)))


def _driven(session: Session, hidden: HiddenRobot) -> tuple[float, float]:
    """Misses (m) of the mean shot in motion and standing, from one pose, in the field's frame by the hidden physics."""
    target = replace(session.robot.targets[0], position=(10.0, 0.0))
    seen = Session(replace(session.robot, targets=(target,)), session.log)
    reading = float(hidden.readings[len(hidden.readings) // 2])
    misses = []
    for forward, right in ((0.8, -0.4), (0.0, 0.0)):
        aim = seen.aim(pose=Pose(10.0 - reading, 0.0, 0.0), moving_mps=forward, sideways_mps=right)
        log_v = np.log(hidden.mean_speed(hidden.nominal.allowed(aim.setpoint.value)))
        speed, angle = float(np.exp(log_v)[0]), float(np.atleast_1d(hidden.mean_angle(log_v))[0])
        turn = math.radians(aim.turn_deg or 0.0)
        along, up = speed * math.cos(angle) * math.cos(turn) + forward, speed * math.sin(angle)
        total, steep = np.array([math.hypot(along, up)]), np.array([math.atan2(up, along)])
        miss, _ = hidden.crossing(total, steep, np.ones(1), float(hidden.true_distance(reading)))
        misses.append(abs(float(miss[0])))
    return misses[0], misses[1]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        play(int(sys.argv[1]) if len(sys.argv) > 1 else 0, Path(folder))
