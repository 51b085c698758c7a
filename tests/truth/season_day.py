"""A season's day by one script through the public API, each number beside that of an oracle of the hidden robot.

``python tests/truth/season_day.py [NUMBER] [hood]``: look at the angle, tune, export and compile, drive (pose and
motion), change the battery, trim, play matches, print the sheet; with a hood the exit angle is set too. The hidden
physics is that of ``truth_physics``.
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
from truth_robots import DRAWS, SPEEDS, HiddenRobot, hidden_robot

from fieldtune import Pose, Session, load_robot
from fieldtune.share.export import export
from fieldtune.share.program_source import source
from fieldtune.share.program_table import program_table
from fieldtune.share.trim import trim

SHOTS, JUMP, MATCHES, A_MATCH = 10, -0.04, 3, 12
SWINGS, STEP = 12, 2
"""Degrees that a hood moves to either side of the exit angle, and its step."""
Told = tuple[float | None, float | None]
"""What a robot is told: setpoint and exit angle (degrees); None without a hood."""


@dataclass
class Day:
    """What the day came to: shares of the oracle's hits, and misses in metres of a robot in motion."""

    best_angle_deg: float
    true_best_angle_deg: float
    angle_loss: float
    before: float
    tuned: float
    program: float
    jumped: float
    advised_then: float
    trimmed: float
    trim: float
    best_trim: float
    best_trimmed: float
    moving_miss_m: float
    standing_miss_m: float
    hits: int
    tried: int
    expected: float


class Hooded:
    """A hidden robot whose exit angle can be set: the same launcher at each angle, the error of the angle kept."""

    def __init__(self, base: HiddenRobot, hood: bool) -> None:
        self.base, self.home = base, math.degrees(base.nominal.exit_angle)
        swings = range(-SWINGS, SWINGS + 1, STEP) if hood else (0,)
        self.settings = [round(self.home + swing, 6) for swing in swings]
        self._held: dict[float, HiddenRobot] = {round(self.home, 6): base}

    def at(self, angle: float | None) -> HiddenRobot:
        """The robot with its hood there, its hit rates tabulated anew."""
        key = round(self.home if angle is None else angle, 6)
        if key not in self._held:
            held = replace(self.base, angle=self.base.angle + math.radians(key - self.home))
            held.log_speeds, held.hits = held.tabulate(held.readings, SPEEDS, DRAWS)
            self._held[key] = held
        self._held[key].shift = self.base.shift
        return self._held[key]

    def rate(self, place: int, told: Told) -> float:
        """True hit rate at one tabulated reading."""
        return float(self.at(told[1]).hit_rates([None] * place + [told[0]])[place])

    def oracle(self) -> np.ndarray:
        """Best hit rate at each reading over every setpoint and angle."""
        return np.max([self.at(angle).oracle() for angle in self.settings], axis=0)

    def profile(self) -> str:
        text, ends = self.base.nominal.profile(), (self.settings[0], self.settings[-1])
        if len(self.settings) == 1:
            return text
        return f'{text}\n[hood]\nlow = "{ends[0]:g} deg"\nhigh = "{ends[1]:g} deg"\nstep = "{STEP} deg"\n'


def a_flywheel(number: int) -> HiddenRobot:
    """The first flywheel under speed control with a level opening, from ``number`` on."""
    while True:
        robot = hidden_robot(number)
        if robot.nominal.launcher == "flywheel" and robot.nominal.target == "basket" and not robot.nominal.power:
            return robot
        number += 1


def play(number: int, folder: Path, hood: bool = False, say: Any = print) -> Day:
    """The whole day on one hidden robot; prints as it goes."""
    base, rng = a_flywheel(number), np.random.default_rng([20, number])
    hidden = Hooded(base, hood)
    path = folder / f"{base.name}.toml"
    path.write_text(hidden.profile(), encoding="utf-8")
    with Session(load_robot(str(path)), store=None) as session:

        def share(told: list[Told]) -> float:
            return sum(hidden.rate(j, one) for j, one in enumerate(told)) / float(hidden.oracle().sum())

        def told(distance: float) -> Told:
            aim = session.aim(distance)
            return aim.setpoint.value, aim.exit_angle_setpoint_deg

        def shot(distance: float, setpoint: float, angle: float | None, **more: Any) -> None:
            allowed = base.nominal.allowed(setpoint)
            seen = hidden.at(angle).shoot(distance, allowed, rng)
            session.confirm(distance, allowed, **seen, exit_angle_deg=angle, **more)

        def tune(shots: int) -> None:
            for _ in range(shots):
                asked = session.next()
                shot(asked.distance_m, asked.setpoint, asked.exit_angle_setpoint_deg)

        readings = [float(d) for d in base.readings]
        before = share([told(d) for d in readings])
        tune(SHOTS)
        tuned = share([told(d) for d in readings])
        say(f"{base.name}: share of the oracle's hits: {before:.2f} from the profile, {tuned:.2f} after {SHOTS} shots")
        design = _angle(session, hidden)
        say(f"best fixed angle {design[0]:.0f} deg, the truth's {design[1]:.0f}: {100 * design[2]:.1f} points lost")

        table = program_table(session, readings[0], readings[-1])
        (program := folder / "table.py").write_text(source(table, "python", "2026-03-14"))
        if shutil.which("javac"):
            (folder / "Table.java").write_text(source(table, "java", "2026-03-14", "Table"))
            subprocess.run(["javac", "-d", str(folder), str(folder / "Table.java")], check=True)

        def programmed(trimmed: float = 1.0) -> list[Told]:
            made = _loaded(program)
            angle = made.hood_deg if hood else (lambda d: None)
            return [(trimmed * made.setpoint(d), angle(d)) for d in readings]

        by_program = share(programmed())
        moves = "" if not hood else f", hood at {', '.join(f'{a:g}' for a in dict.fromkeys(table.curve.hood_deg))} deg"
        say(f"by the exported program: {by_program:.2f}{moves}")
        moving, standing = _driven(session, hidden)
        say(f"at 0.8 and -0.4 m/s the mean shot misses by {100 * moving:.1f} cm, standing by {100 * standing:.1f} cm")

        session.swap("another")
        base.shift = JUMP
        jumped = share(programmed())
        tune(3)
        then = share([told(d) for d in readings])
        found = trim(session, program)
        trimmed = share(programmed(found.trim))
        trims = np.arange(1.0, 1.08, 0.004)
        shares = [share(programmed(float(one))) for one in trims]
        best = int(np.argmax(shares))
        program.write_text(program.read_text().replace("TRIM = 1.0", f"TRIM = {found.trim}"))
        say(
            f"battery change of {JUMP:+.0%}: {jumped:.2f} by the old program; after 3 shots {then:.2f} as advised,"
            f" {trimmed:.2f} with trim {found.trim:.3f}; the best trim is {trims[best]:.3f} with {shares[best]:.2f}"
        )

        chances = []
        for match in range(MATCHES):
            for _ in range(A_MATCH):
                place = int(rng.integers(len(readings)))
                setpoint, angle = told(readings[place])
                if setpoint is not None:
                    chances.append(hidden.rate(place, (setpoint, angle)))
                    shot(readings[place], setpoint, angle, match=f"Q{match + 1}")
        groups = {group.name: group for group in session.hits("match").groups}
        played = [groups[f"Q{match + 1}"] for match in range(MATCHES)]
        hits, tried = sum(g.hits for g in played), sum(g.tried for g in played)
        say(f"matches: {hits} of {tried}; the truth expects {sum(chances):.1f}")
        export(session, "sheet", folder / "sheet.html")
    return Day(
        *design, before, tuned, by_program, jumped, then, trimmed, found.trim, float(trims[best]), shares[best], moving,
        standing, hits, tried, sum(chances),
    )  # fmt: skip


def _angle(session: Session, hidden: Hooded) -> tuple[float, float, float]:
    """Best fixed exit angle as the tuned session sees it, and in truth, and the true mean chance lost by the former."""
    lowest, highest = (round(hidden.home + swing) for swing in (-10, 10))
    sweep = session.angle(lowest, highest, 5)
    places = np.array([spot.distance_m for spot in sweep.angles[0].spots])
    truth = []
    for row in sweep.angles:
        held = hidden.at(row.exit_angle_deg)
        reached = np.log(held.mean_speed(held.nominal.all_setpoints()))
        speeds, rates = held.tabulate(places, SPEEDS, DRAWS)
        truth.append(float(np.mean([np.interp(reached, speeds, rate, left=0.0).max() for rate in rates])))
    angles = [row.exit_angle_deg for row in sweep.angles]
    return sweep.best, angles[int(np.argmax(truth))], max(truth) - truth[angles.index(sweep.best)]


def _loaded(path: Path) -> Any:
    return SimpleNamespace(**runpy.run_path(str(path)))


def _driven(session: Session, hidden: Hooded) -> tuple[float, float]:
    """Misses (m) of the mean shot in motion and standing, from one pose, in the field's frame by the hidden physics."""
    target = replace(session.robot.targets[0], position=(10.0, 0.0))
    seen = Session(replace(session.robot, targets=(target,)), session.log)
    reading = float(hidden.base.readings[len(hidden.base.readings) // 2])
    misses = []
    for forward, right in ((0.8, -0.4), (0.0, 0.0)):
        aim = seen.aim(pose=Pose(10.0 - reading, 0.0, 0.0), moving_mps=forward, sideways_mps=right)
        held = hidden.at(aim.exit_angle_setpoint_deg)
        log_v = np.log(held.mean_speed(held.nominal.allowed(aim.setpoint.value)))
        speed, angle = float(np.exp(log_v)[0]), float(np.atleast_1d(held.mean_angle(log_v))[0])
        turn = math.radians(aim.turn_deg or 0.0)
        along, up = speed * math.cos(angle) * math.cos(turn) + forward, speed * math.sin(angle)
        total, steep = np.array([math.hypot(along, up)]), np.array([math.atan2(up, along)])
        miss, _ = held.crossing(total, steep, np.ones(1), float(held.true_distance(reading)))
        misses.append(abs(float(miss[0])))
    return misses[0], misses[1]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        numbers = [int(word) for word in sys.argv[1:] if word.isdecimal()]
        play(numbers[0] if numbers else 0, Path(folder), "hood" in sys.argv[1:])
