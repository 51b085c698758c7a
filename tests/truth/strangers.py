"""Rotation over the spots against the shots that ``next`` names, on robots whose physics the product does not model.

    python tests/truth/strangers.py --robots 80 --seed 2027 --json strangers.json --plot tests/truth/strangers.svg

plays that many hidden robots of each kind (``truth_families``: four families in turn), told in words and with misses
taped to 5 cm, and prints the share of the oracle's hits after 2, 3, 5, 10 and 20 shots with standard errors, beside it
what an ideal learner makes of the same shots that is told the robot's family, and claimed against achieved hit chance.
The same arguments give the same report.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from strangers_report import picture, text
from truth_families import FAMILIES, KINDS, stranger
from truth_ideal import Ideal
from truth_robots import HiddenRobot
from truth_trial import ProductPlayer

COUNTS = (2, 3, 5, 10, 20)
SPOTS = (0, 3, 6, 8, 11)


@dataclass
class Play:
    """One robot played in one manner: shares of the oracle's hits by count, and (claimed, true) mean hit chances."""

    kind: str
    family: str
    number: int
    measured: bool
    manner: str
    product: dict[str, float] = field(default_factory=dict)
    ideal: dict[str, float] = field(default_factory=dict)
    claims: dict[str, tuple[float, float]] = field(default_factory=dict)


def run_robot(kind: str, number: int, seed: int, counts: tuple[int, ...], told: bool = True) -> list[Play]:
    """All plays of one robot; ``told``: an ideal learner looks on."""
    robot = stranger(number, kind, seed)
    family = tuple(FAMILIES)[number % len(FAMILIES)]
    robot.readings = np.round(robot.readings, 2)
    robot.nominal.spots = tuple(float(robot.readings[place]) for place in SPOTS)
    ideal = Ideal(robot.nominal, family, robot.readings) if told else None
    plays = []
    for measured in (False, True):
        for manner in ("rotation", "next"):
            with tempfile.TemporaryDirectory() as folder:
                play = Play(kind, family, number, measured, manner)
                if ideal:
                    ideal.begin()
                _play(robot, ProductPlayer(robot, folder), ideal, play, counts, [seed, number, KINDS.index(kind)])
                plays.append(play)
    return plays


def _play(
    robot: HiddenRobot, player: ProductPlayer, ideal: Ideal | None, play: Play, counts: tuple[int, ...], seed: list[int]
) -> None:
    start, order = robot.battery_v, np.random.default_rng([*seed, 1]).permutation(len(SPOTS))
    for shot in range(max(counts) + 1):
        volts = round(robot.battery_v, 2) if robot.nominal.power else None
        if shot in counts:
            _grade(robot, player, ideal, play, str(shot), volts)
        if shot == max(counts):
            break
        if play.manner == "next":
            asked = player.session.next(battery_v=volts)
            distance, setpoint = asked.distance_m, asked.setpoint
        else:
            distance = robot.nominal.spots[order[shot % len(SPOTS)]]
            setpoint = player.aim(distance, volts)
        setpoint = robot.nominal.allowed(robot.nominal.high if setpoint is None else setpoint)
        seen = robot.shoot(distance, setpoint, np.random.default_rng([*seed, 2, shot]))
        if not play.measured:
            seen["miss_m"] = None
        player.confirm(distance, setpoint, seen, volts)
        if ideal:
            ideal.confirm(distance, setpoint, volts or 12.5, str(seen["result"]), seen["miss_m"])
        robot.battery_v -= 0.01
    robot.battery_v = start


def _grade(
    robot: HiddenRobot, player: ProductPlayer, ideal: Ideal | None, play: Play, key: str, volts: float | None
) -> None:
    rows = player.session.table([float(d) for d in robot.readings], battery_v=volts)
    true, best = robot.hit_rates([row.setpoint for row in rows]), robot.oracle().sum()
    play.product[key] = float(true.sum() / best)
    play.claims[key] = float(np.mean([row.hit_probability or 0.0 for row in rows])), float(true.mean())
    if ideal:
        play.ideal[key] = float(robot.hit_rates(ideal.aims(volts or 12.5)).sum() / best)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--robots", type=int, default=80, help="of each kind")
    parser.add_argument("--first", type=int, default=0, help="number of the first robot")
    parser.add_argument("--seed", type=int, default=2027)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument(
        "--json", type=Path, help="kept as the trial goes on; what it holds already is not played again"
    )
    parser.add_argument("--plot", type=Path)
    options = parser.parse_args()
    plays = (
        [Play(**row) for row in json.loads(options.json.read_text())] if options.json and options.json.exists() else []
    )
    done = {(play.kind, play.number) for play in plays}
    numbers = range(options.first, options.first + options.robots)
    wanted = [(kind, n) for n in numbers for kind in KINDS if (kind, n) not in done]
    began = time.monotonic()
    with ProcessPoolExecutor(options.jobs) as pool:
        for count, ended in enumerate(
            as_completed(pool.submit(run_robot, *one, options.seed, COUNTS) for one in wanted), 1
        ):
            plays += ended.result()
            if options.json:
                options.json.write_text(json.dumps([asdict(play) for play in plays]), encoding="utf-8")
            print(
                f"\r{count}/{len(wanted)} robots, {time.monotonic() - began:.0f} s ",
                end="",
                file=sys.stderr,
                flush=True,
            )
    print(text(plays))
    if options.plot:
        options.plot.write_text(picture(plays), encoding="utf-8")


if __name__ == "__main__":
    main()
