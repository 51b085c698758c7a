"""What a command costs against a bare interpreter and against importing numpy and scipy, measured in one run.

CPU seconds of the child process, the least of several taken in turns, so that a busy machine changes the ratio little.
"""

from __future__ import annotations

import compileall
import os
import shutil
import sys
from pathlib import Path

import pytest
from bench_table import Table

import fieldtune
from fieldtune.records import RESULTS
from fieldtune.robot import find_profile, load_robot
from fieldtune.session import Session

pytestmark = pytest.mark.bench
ROUNDS = 5


def _cpu_seconds(argv: list[str], env: dict[str, str]) -> float:
    quiet = os.open(os.devnull, os.O_RDWR)
    actions = [(os.POSIX_SPAWN_DUP2, quiet, 1), (os.POSIX_SPAWN_DUP2, quiet, 2)]
    child = os.posix_spawn(argv[0], argv, env, file_actions=actions)
    _, status, used = os.wait4(child, 0)
    os.close(quiet)
    assert os.waitstatus_to_exitcode(status) == (2 if argv[-1] == "aimm" else 0)
    return used.ru_utime + used.ru_stime


def _taught(home: Path) -> Path:
    """A home whose robot has a log of twenty shots."""
    home.mkdir()
    shutil.copy(find_profile("heron"), home)
    with Session.beside_profile(load_robot(home / "heron.toml"), home) as session:
        for number in range(20):
            session.log.add(1.5 + 0.1 * (number % 12), 1350.0 + 40 * (number % 12), RESULTS[number % 3])
    return home


def test_aim_as_a_process(waiting_table: Table, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    compileall.compile_dir(Path(fieldtune.__file__).parent, quiet=1)  # as installing does
    env = {**os.environ, "FIELDTUNE_PROFILES": str(tmp_path), "OPENBLAS_NUM_THREADS": "1"}
    python = sys.executable
    cases = {
        "pass": [python, "-c", "pass"],
        "import numpy": [python, "-c", "import numpy"],
        "import scipy.special": [python, "-c", "import scipy.special"],
        "fieldtune --version": [python, "-m", "fieldtune", "--version"],
        "fieldtune --help": [python, "-m", "fieldtune", "--help"],
        "fieldtune aimm": [python, "-m", "fieldtune", "aimm"],
        "fieldtune shots": [python, "-m", "fieldtune", "shots", "heron"],
        "fieldtune aim": [python, "-m", "fieldtune", "aim", "heron", "--distance", "2 m"],
        "aim with 20 shots": [python, "-m", "fieldtune", "aim", "heron", "--distance", "2 m"],
    }
    taught = {**env, "FIELDTUNE_PROFILES": str(_taught(tmp_path / "taught"))}
    rounds = [
        {name: _cpu_seconds(argv, taught if "20 shots" in name else env) for name, argv in cases.items()}
        for _ in range(ROUNDS)
    ]
    took = {name: min(one[name] for one in rounds) for name in cases}
    with capsys.disabled():
        print()
        for name, seconds in took.items():
            ratios = f"{seconds / took['pass']:6.1f} x pass  {seconds / took['import numpy']:5.2f} x import numpy"
            print(f"  {name:<22} {1000 * seconds:6.0f} ms CPU  {ratios}")
    for name in ("fieldtune --version", "fieldtune --help", "fieldtune aimm"):
        waiting_table.note(f"{name}, against Python's start (CPU)", took[name] / took["pass"], 3, "x")
    waiting_table.note(
        "fieldtune aim, against numpy's import (CPU)", took["fieldtune aim"] / took["import numpy"], 2.5, "x"
    )
    waiting_table.note(
        "fieldtune aim with 20 shots, likewise", took["aim with 20 shots"] / took["import numpy"], 2.5, "x"
    )
    assert took["fieldtune --version"] < 1.5 * took["pass"]
    assert took["fieldtune --help"] < 3 * took["pass"]
    assert took["fieldtune aimm"] < 3 * took["pass"]
    assert took["fieldtune shots"] < 1.2 * took["import numpy"]
    assert took["fieldtune aim"] < 2.5 * took["import numpy"]
    assert took["aim with 20 shots"] < 2.9 * took["import numpy"]
