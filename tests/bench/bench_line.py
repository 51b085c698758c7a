"""How well the line is read as student robots really send it: shots found, made up and missed; speeds shown wrongly.

    python tests/bench/bench_line.py [--cells quick|all] [--jobs 2] [--seed 1]

Wheels and robot programs are the tests' own (``wheel_controllers``, ``student_firmware``), apart from the product. All
of it is deterministic; another ``--seed`` draws other shots, other noise and, in ``quick``, other cells: thresholds are
judged by seeds that were not looked at while they were chosen. ``quick`` takes a balanced draw of the cells and some
minutes, ``all`` every combination and hours. A cell of recall has 72 shots. "Spread" is what the readings alone leave
open of the speed over 50 ms.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache
from multiprocessing import Pool
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "link"))

import numpy as np
from bench_line_report import print_conclusions, print_table
from decode_lines import Look, decode_lines, matched, robot_for, slack_s, wrong_and_blank
from student_firmware import DISTANCE_M, Firmware, sent, spread_rpm, two_robots
from student_variants import TWO_ROBOTS, VARIANTS
from wheel_controllers import CONTROLS, WheelRun, changing, session, shooting

SHARES = (0.03, 0.05, 0.08, 0.12, 0.15)
RATES = (20.0, 50.0, 100.0, 1000.0)
COUNTS = (12.0, 48.0, 56.0, 2048.0, 4096.0)
SPEEDS = ("counts", "rpm")
FAULTS = (0.002, 0.01, 0.02, 0.05)
_SHOTS = 72


@dataclass(frozen=True)
class Cell:
    """One run: a wheel, a program and what is asked of it (``recall``, ``phantoms``, ``wire`` or ``shown``)."""

    part: str
    control: str
    share: float
    firmware: Firmware
    name: str = ""
    seconds: float = 0.0
    lowerings: int = 0
    robots: int = 1
    seed: int = 0


@dataclass(frozen=True)
class Result:
    """What came of a cell; nan where it does not apply. ``errors``: speed at release, relative, of each shot found."""

    cell: Cell
    shots: int
    caught: int
    phantoms: int
    ratio: float
    errors: tuple[float, ...]
    wrong_s: float
    blank_s: float
    wrong_other_s: float
    seconds: float
    good_hz: float
    dropped: dict[str, int]
    clock: str


@cache
def _practice(control: str, share: float, seed: int) -> WheelRun:
    return shooting(control, share, _SHOTS, seed)


def _wheel(cell: Cell) -> WheelRun:
    if cell.part == "phantoms":
        return changing(cell.control, cell.lowerings, cell.seconds, seed=cell.seed)
    if cell.part == "shown":
        return session(cell.control, cell.share, cell.seed)
    return _practice(cell.control, cell.share, cell.seed)


def measured(cell: Cell) -> Result:
    """Runs one cell."""
    wheel, firmware = _wheel(cell), cell.firmware
    rpms = [wheel.rpm]
    if cell.robots == 2:
        other = session("PI soft", cell.share, seed=cell.seed + 5)
        shifted = replace(other, rpm=other.rpm * 0.7, turns=other.turns * 0.7)
        chunks, rpms = two_robots(firmware, wheel, shifted, cell.seed), [wheel.rpm, shifted.rpm]
    else:
        chunks = sent(firmware, wheel, cell.seed)
    until = float(wheel.t[-1]) - 0.2 if cell.part == "shown" else None
    robot = robot_for(firmware.counts_per_turn, cell.share, firmware.names, firmware.columns)
    decoding = decode_lines(chunks, robot, until)
    pairs, phantoms = matched(decoding.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware))
    errors, ratio, wrong, blank, other_s = [], float("nan"), 0.0, 0.0, 0.0
    for i, j in pairs:
        speed, truth = decoding.shots[i].speed_rpm, wheel.shots[j].before_rpm
        if speed is not None:
            errors.append(speed / truth - 1)
    if cell.part in ("recall", "wire") and not firmware.clump_s[1]:
        ratio = float(np.median([shot.depth_rpm for shot in wheel.shots])) / max(spread_rpm(firmware, wheel), 1e-9)
    if until is not None:
        wrong, blank = wrong_and_blank(decoding.looks, wheel.t, rpms, firmware.late_s)
        other_s = _wrong_others(decoding.looks, wheel)
    return Result(
        cell,
        len(wheel.shots),
        len(pairs),
        phantoms,
        ratio,
        tuple(errors),
        wrong,
        blank,
        other_s,
        float(wheel.t[-1]),
        decoding.good / float(wheel.t[-1]),
        dict(decoding.dropped),
        decoding.clock,
    )


def _wrong_others(looks: Iterable[Look], wheel: WheelRun) -> float:
    """Seconds in which battery (by more than 0.5 V) or distance (5 cm) is shown that was not so within the last 1 s."""
    bad = 0
    for look in looks:
        lately = wheel.volts[wheel.index(look.time_s - 1.0) : wheel.index(look.time_s) + 1]
        volts, metres = look.battery_v, look.distance_m
        off_v = volts is not None and not lately.min() - 0.5 <= volts <= lately.max() + 0.5
        bad += off_v or (metres is not None and abs(metres - DISTANCE_M) > 0.05)
    return bad * 0.02


def recall_cells(everything: bool, seed: int) -> list[Cell]:
    """All combinations, or three draws per wheel and drop in which each level comes about equally often."""
    rest = list(itertools.product(RATES, COUNTS, SPEEDS, (False, True)))
    pairs = list(itertools.product(CONTROLS, SHARES))
    if not everything:
        rng = np.random.default_rng(1 + seed)
        drawn = itertools.cycle([rest[i] for i in rng.permutation(len(rest))])
        chosen = [(pair, next(drawn)) for pair in pairs for _ in range(3)]
    else:
        chosen = list(itertools.product(pairs, rest))
    cells = []
    for (control, share), (rate, counts, speed, told) in chosen:
        bridge = 0.016 if rate == 1000.0 else 0.0
        firmware = Firmware(rate_hz=rate, counts_per_turn=counts, speed=speed, setpoint=told, bridge_s=bridge)
        cells.append(Cell("recall", control, share, firmware))
    return cells


def phantom_cells(everything: bool, _: int) -> list[Cell]:
    """2,000 s without a shot and 150 quick lowerings for each way of sending, spread over the kinds of control."""
    ways = [(100.0, 56.0, "counts"), (100.0, 56.0, "rpm"), (50.0, 2048.0, "counts"), (50.0, 12.0, "rpm")]
    if everything:
        ways = list(itertools.product(RATES, COUNTS, SPEEDS))
    return [
        Cell("phantoms", control, 0.12, Firmware(rate_hz=r, counts_per_turn=c, speed=s), "", 2000 / 6, 25)
        for (r, c, s), control in itertools.product(ways, CONTROLS)
    ]


def wire_cells(everything: bool, _: int) -> list[Cell]:
    """Drops of 12 % through wires that spoil bytes."""
    kinds = CONTROLS if everything else ("PI stiff", "PI soft")
    rates = (50.0, 100.0, 1000.0) if everything else (100.0, 1000.0)
    chosen = itertools.product(kinds, rates, FAULTS, (True, False), SPEEDS)
    return [
        Cell("wire", control, 0.12, Firmware(rate_hz=rate, speed=speed, faults=faults, checked=checked))
        for control, rate, faults, checked, speed in chosen
    ]


def shown_cells(everything: bool, _: int) -> list[Cell]:
    """Every variant of the programs, watched for what is shown."""
    kinds = CONTROLS if everything else ("PI stiff", "feed-forward")
    return [
        Cell("shown", control, 0.12, firmware, name, robots=2 if name == TWO_ROBOTS else 1)
        for name, firmware in VARIANTS.items()
        for control in kinds
    ]


PARTS: dict[str, Callable[[bool, int], list[Cell]]] = {
    "recall": recall_cells,
    "phantoms": phantom_cells,
    "wire": wire_cells,
    "shown": shown_cells,
}


def main(arguments: list[str] | None = None) -> list[Any]:
    """Runs what was asked for and prints tables and conclusions; gives the results."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", choices=("quick", "all"), default="quick")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--part", choices=tuple(PARTS), action="append", help="only these parts")
    asked = parser.parse_args(arguments)
    parts = asked.part or list(PARTS)
    cells = [cell for part in parts for cell in PARTS[part](asked.cells == "all", asked.seed)]
    cells = [replace(cell, seed=asked.seed) for cell in cells]
    with Pool(asked.jobs) as pool:
        results = list(pool.imap(measured, cells, chunksize=4))
    for part in parts:
        print_table(part, [r for r in results if r.cell.part == part])
    print_conclusions(results)
    return results


if __name__ == "__main__":
    main()
