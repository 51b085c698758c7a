"""How good is the advice? Hidden robots, shot by shot, against two hand methods and an oracle that knows everything.

    python tests/truth --robots 60 --jobs 2 --json trial.json --plot trial.svg

prints the share of the oracle's hits after 0, 1, 2, 3, 5, 10, 20 and 40 shots (mean over robots with a 95 % interval),
what a battery change costs, and how often the claimed 90 % interval of the hit probability holds the true hit rate.
``--family beyond`` draws robots further from their profiles than those admit. The same seed gives the same report.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

from truth_report import picture, text
from truth_trial import COUNTS, PLAYERS, Score, run_robot


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--robots", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="number of the first robot")
    parser.add_argument("--family", choices=("stated", "beyond"), default="stated")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--players", default=",".join(PLAYERS))
    parser.add_argument("--mode", choices=("words", "measured", "both"), default="both")
    parser.add_argument("--counts", default=",".join(map(str, COUNTS)), help="shot counts to grade at")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--plot", type=Path)
    options = parser.parse_args()
    modes = {"words": (False,), "measured": (True,), "both": (False, True)}[options.mode]
    players = tuple(options.players.split(","))
    counts = tuple(int(c) for c in options.counts.split(","))
    began = time.monotonic()
    found: dict[int, list[Score]] = {}
    with ProcessPoolExecutor(options.jobs) as pool:
        numbers = range(options.first, options.first + options.robots)
        jobs = {pool.submit(run_robot, n, options.family, options.seed, players, modes, counts): n for n in numbers}
        for done in as_completed(jobs):
            found[jobs[done]] = done.result()
            _keep(found, options.json)
            spent = time.monotonic() - began
            print(f"\r{len(found)}/{options.robots} robots, {spent:.0f} s ", end="", file=sys.stderr, flush=True)
    scores = [score for number in sorted(found) for score in found[number]]
    print(f"\n{options.robots} robots, family {options.family!r}, seed {options.seed}")
    print(text(scores))
    if options.plot:
        options.plot.write_text(picture(scores), encoding="utf-8")


def _keep(found: dict[int, list[Score]], path: Path | None) -> None:
    """What there is so far, so that a long run can be looked at and lost without harm."""
    if path:
        scores = [asdict(score) for number in sorted(found) for score in found[number]]
        path.write_text(json.dumps(scores), encoding="utf-8")


if __name__ == "__main__":
    main()
