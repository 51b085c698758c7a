"""The oldest packages that the stated ranges allow and the newest Python at hand, each in an environment of its own."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
TESTS = ("pytest", "pytest-xdist", "hypothesis", "pyte", "html5lib", "pypdf", "fluids", "import-linter", "ruff")
ROOMS = (
    *(f"tests/aim/test_{name}.py" for name in ("aim_need", "aim_openings", "angle")),
    *(f"tests/cli/test_cli_{name}.py" for name in ("commands", "mistakes")),
    *("tests/share", "tests/store", "tests/learn/test_learn_many.py", "tests/console/test_console_keys.py"),
)


def oldest() -> list[str]:
    """Each dependency at the lower end of its range."""
    return [re.sub(r">=([^,]*).*", r"==\1", wanted) for wanted in PROJECT["dependencies"]]


def newest_python() -> str:
    found = [name for minor in range(30, 10, -1) if (name := shutil.which(f"python3.{minor}")) and works(name)]
    return found[0] if found else sys.executable


def works(name: str) -> bool:
    return subprocess.run([name, "-c", "import venv, ensurepip"], capture_output=True).returncode == 0


@pytest.mark.parametrize("packages", ["oldest", "newest Python"])
def test_the_suite_passes_with(packages: str, tmp_path: Path) -> None:
    python = sys.executable if packages == "oldest" else newest_python()
    subprocess.run([python, "-m", "venv", tmp_path / "venv"], check=True)
    inside = tmp_path / "venv" / ("Scripts" if os.name == "nt" else "bin") / "python"
    pip = [inside, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    subprocess.run([*pip, *(oldest() if packages == "oldest" else PROJECT["dependencies"]), *TESTS], check=True)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [inside, "-m", "pytest", "-q", "-n", "auto", "-p", "no:cacheprovider", *ROOMS],
        cwd=ROOT, env=environment, capture_output=True, text=True,
    )  # fmt: skip
    versions = subprocess.run([inside, "-m", "pip", "list", "--format=freeze"], capture_output=True, text=True).stdout
    told = [line for line in versions.split() if line.split("==")[0].lower() in str(oldest()).lower()]
    print(
        f"\n{packages}: {subprocess.run([inside, '--version'], capture_output=True, text=True).stdout.strip()}, {told}"
    )
    print(done.stdout.splitlines()[-1])
    assert done.returncode == 0, done.stdout[-3000:]
