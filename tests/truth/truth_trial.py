"""One trial: a player shoots at a hidden robot's target and is graded after so many shots against the oracle.

Distances are drawn uniformly over the robot's working range; every player meets the same distances and scatter.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np
from truth_hands import Feedback, LookupTable, PaperOnly, QuadraticFit
from truth_robots import HiddenRobot, hidden_robot

Claim = tuple[float, float, float]
COUNTS = (0, 1, 2, 3, 5, 10, 20, 40)
# By how much the level jumps at a battery change, as a share: to a pack like the last, and to a very different one.
JUMPS = {"alike": (0.0, 0.02), "swap": (0.03, 0.08)}
PLAYERS = ("fieldtune", "table", "quadratic", "paper")


class Player(Protocol):
    def aim(self, distance: float, battery_v: float | None) -> float | None: ...
    def confirm(self, distance: float, setpoint: float, seen: Feedback, battery_v: float | None) -> None: ...
    def swap(self) -> None: ...


class ProductPlayer:
    """The package under test, through its public door: a profile file and a session in memory."""

    def __init__(self, robot: HiddenRobot, folder: str) -> None:
        from fieldtune import Session, load_robot

        path = Path(folder) / f"{robot.name}.toml"
        path.write_text(robot.nominal.profile(), encoding="utf-8")
        self.session = Session(load_robot(str(path)), store=None)

    def aim(self, distance: float, battery_v: float | None) -> float | None:
        return self.session.aim(distance, battery_v=battery_v).setpoint.value

    def claims(self, distance: float, battery_v: float | None) -> tuple[float | None, Claim | None]:
        """Setpoint, and (probability, low, high) that it claims."""
        aim = self.session.aim(distance, battery_v=battery_v)
        if aim.hit_probability is None or aim.hit_probability_90 is None:
            return aim.setpoint.value, None
        return aim.setpoint.value, (aim.hit_probability, *aim.hit_probability_90)

    def confirm(self, distance: float, setpoint: float, seen: Feedback, battery_v: float | None) -> None:
        self.session.confirm(
            distance, setpoint, result=seen["result"], miss_m=seen["miss_m"], speed=seen["speed"], battery_v=battery_v
        )

    def swap(self) -> None:
        self.session.swap()

    def next(self) -> tuple[float, float]:
        """Distance and setpoint of the shot that the session asks for."""
        asked = self.session.next()
        return asked.distance_m, asked.setpoint


@dataclass
class Score:
    """Share of the oracle's hits by shot count, and (claimed, low, high, true) at each graded distance."""

    robot: int
    kind: str
    player: str
    measured: bool
    shares: dict[str, float] = field(default_factory=dict)
    claims: dict[str, list[tuple[float, float, float, float]]] = field(default_factory=dict)


def make_player(name: str, robot: HiddenRobot, folder: str) -> Player:
    if name == "fieldtune":
        return ProductPlayer(robot, folder)
    return {"table": LookupTable, "quadratic": QuadraticFit, "paper": PaperOnly}[name](robot.nominal)


def _battery(robot: HiddenRobot) -> float | None:
    return round(robot.battery_v, 2) if robot.nominal.power else None


def _grade(player: Player, robot: HiddenRobot, score: Score, key: str) -> None:
    volts = _battery(robot)
    claims = None
    if isinstance(player, ProductPlayer):
        answers = [player.claims(float(d), volts) for d in robot.readings]
        setpoints, claims = [a[0] for a in answers], [a[1] for a in answers]
    else:
        setpoints = [player.aim(float(d), volts) for d in robot.readings]
    true = robot.hit_rates(setpoints)
    score.shares[key] = float(true.sum() / robot.oracle().sum())
    if claims is not None:
        score.claims[key] = [(*c, float(t)) for c, t in zip(claims, true, strict=True) if c is not None]


Seen = tuple[float, float, Feedback, float | None]


def _anywhere(player: Player, robot: HiddenRobot, rng: np.random.Generator) -> tuple[float, float | None]:
    """A distance drawn from the working range and the player's setpoint for it; None if it would shoot from nowhere."""
    for _ in range(10):
        distance = round(float(rng.uniform(robot.readings[0], robot.readings[-1])), 2)
        setpoint = player.aim(distance, _battery(robot))
        if setpoint is not None:
            break
    return distance, setpoint


def _one_shot(
    player: Player, robot: HiddenRobot, rng: np.random.Generator, measured: bool, asked: bool = False
) -> Seen | None:
    """Shoot once and tell the player; what it was told, or None if there was no shot.

    ``asked``: where and how a player that names its next shot wants it, instead of anywhere.
    """
    volts = _battery(robot)
    distance, setpoint = _anywhere(player, robot, rng)
    if asked and isinstance(player, ProductPlayer):
        distance, setpoint = player.next()
    shot_rng = np.random.default_rng(rng.integers(2**63))
    robot.battery_v -= 0.01
    if setpoint is None:
        return None
    setpoint = robot.nominal.allowed(setpoint)
    feedback = robot.shoot(distance, setpoint, shot_rng)
    if not measured:
        feedback = {**feedback, "miss_m": None}
    player.confirm(distance, setpoint, feedback, volts)
    return distance, setpoint, feedback, volts


def run_robot(
    number: int,
    family: str,
    seed: int,
    players: tuple[str, ...],
    modes: tuple[bool, ...],
    counts: tuple[int, ...] = COUNTS,
) -> list[Score]:
    """All players on one robot; ``modes``: False only in/short/long, True misses measured to 5 cm.

    In a run of 20 shots or more, others that were told the same 20 shots go through a battery change, one for each
    of ``JUMPS``: keys like swap0 to swap3, by shots after it.
    """
    robot = hidden_robot(number, family, seed)
    scores = []
    with tempfile.TemporaryDirectory() as folder:
        for measured in modes:
            for name in players:
                score = Score(number, robot.kind, name, measured)
                start = robot.battery_v
                told = _play(robot, make_player(name, robot, folder), score, counts, [seed, number, 9])
                robot.battery_v = start
                for jump in JUMPS if max(counts) >= 20 else ():
                    _change_battery(robot, make_player(name, robot, folder), score, told[:20], [seed, number, 10], jump)
                    robot.battery_v = start
                scores.append(score)
    return scores


def _play(
    robot: HiddenRobot, player: Player, score: Score, counts: tuple[int, ...], seed: list[int]
) -> list[Seen | None]:
    rng = np.random.default_rng(seed)
    told = []
    for shot in range(max(counts) + 1):
        if shot in counts:
            _grade(player, robot, score, str(shot))
        if shot < max(counts):
            told.append(_one_shot(player, robot, rng, score.measured))
    return told


def _change_battery(
    robot: HiddenRobot, player: Player, score: Score, told: list[Seen | None], seed: list[int], jump: str
) -> None:
    """The level jumps either way after the shots told so far; who can name the next shot takes that one."""
    rng = np.random.default_rng(seed)
    for seen in told:
        if seen is not None:
            player.confirm(*seen)
    player.swap()
    robot.shift = float(rng.choice([-1, 1]) * rng.uniform(*JUMPS[jump]))
    for after in range(4):
        _grade(player, robot, score, f"{jump}{after}")
        _one_shot(player, robot, rng, score.measured, asked=True)
    robot.shift = 0.0
