"""Every crash point of every act: each write, sync, truncation, rename, link and removal killed or failing."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.torture
HERE = Path(__file__).parent


def test_no_crash_point_loses_a_shot_or_leaves_anything_stuck(tmp_path: Path) -> None:
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        pytest.skip("needs Linux and a C compiler")
    shim = tmp_path / "faults.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", shim, HERE / "faults.c", "-ldl"], check=True)
    env = {**os.environ, "LD_PRELOAD": str(shim), "OPENBLAS_NUM_THREADS": "1"}
    said = subprocess.run(
        [sys.executable, HERE / "crash_driver.py", tmp_path], env=env, capture_output=True, text=True, check=False
    )
    assert said.returncode == 0, said.stderr[-2000:]
    found = json.loads(said.stdout)
    for name, result in found.items():
        print(f"{name:20} {result['points']:5} crash points, {len(result['failures'])} failures")
    assert sum(result["points"] for result in found.values()) > 100
    assert not any(result["failures"] for result in found.values()), found
