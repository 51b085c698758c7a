"""Every crash point of every act (each write, sync, truncation, rename, link and removal), and kills at any moment."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.torture
HERE = Path(__file__).parent
KILLS = int(os.environ.get("FIELDTUNE_KILLS", "1000"))
SEED = int(os.environ.get("FIELDTUNE_SEED", "20261128"))


def driven(*arguments: object, **more: str) -> dict[str, Any]:
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1", **more}
    command = [sys.executable, HERE / "crash_driver.py", *map(str, arguments)]
    said = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    assert said.returncode == 0, said.stderr[-2000:]
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def test_no_crash_point_loses_a_shot_or_leaves_anything_stuck(tmp_path: Path) -> None:
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        pytest.skip("needs Linux and a C compiler")
    shim = tmp_path / "faults.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", shim, HERE / "faults.c", "-ldl"], check=True)
    found = driven(tmp_path, LD_PRELOAD=str(shim))
    print()
    for name, result in found.items():
        print(f"{name:20} {result['points']:5} crash points, {len(result['failures'])} failures")
    assert sum(result["points"] for result in found.values()) > 100
    assert not any(result["failures"] for result in found.values()), found


def test_kills_at_random_moments_lose_and_double_nothing(tmp_path: Path) -> None:
    found = driven(tmp_path, KILLS, SEED)
    print(f"\nseed {SEED}: {sum(result['killed'] for result in found.values())} processes killed at random moments")
    for name, result in found.items():
        print(f"{name:20} {result['killed']:5} killed, {len(result['failures'])} stuck, lost, doubled or half")
    assert not any(result["failures"] for result in found.values()), found
