"""The rules between rooms: each contract fails on an import that it forbids, so none of them passes for no reason."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FORBIDDEN = {
    "physics imports no other room": ("physics/air.py", "import fieldtune.robot.model"),
    "only the console imports Textual": ("battery/charge.py", "import textual"),
    "aim and learn do no input or output": ("learn/evidence.py", "import fieldtune.store.rows"),
    "store imports plain records only": ("store/merge.py", "import fieldtune.aim.results"),
    "link neither learns nor aims, but for its simulated robot": (
        "link/text/framing.py",
        "import fieldtune.learn.posterior",
    ),
    "the link's rooms stand one on the other": ("link/wheel/refresh.py", "import fieldtune.link.shots.drop_fit"),
    "arrows run one way": ("session.py", "import fieldtune.console.words"),
}
"""Contract: a file, and the line that breaks it."""


def test_every_contract_is_tried() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    assert {contract["name"] for contract in settings["tool"]["importlinter"]["contracts"]} == set(FORBIDDEN)


@pytest.mark.parametrize(
    ("contract", "house", "doors"),
    [
        ("arrows run one way", "fieldtune", {"__main__", "LICENSE"}),
        ("the link's rooms stand one on the other", "fieldtune.link", {"senders"}),  # senders are texts for robots
    ],
)
def test_every_room_stands_in_the_layers(contract: str, house: str, doors: set[str]) -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    layers = next(c["layers"] for c in settings["tool"]["importlinter"]["contracts"] if c["name"] == contract)
    named = {name.strip() for layer in layers for name in layer.split("|")}
    folder = ROOT / house.replace(".", "/")
    rooms = {path.stem for path in folder.iterdir() if path.suffix in {"", ".py"}}
    assert {f"{house}.{room}" for room in rooms - doors - {"__init__", "__pycache__"}} <= named


@pytest.mark.parametrize("contract", FORBIDDEN)
def test_a_forbidden_import_fails(contract: str, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "fieldtune", tmp_path / "fieldtune", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    file, line = FORBIDDEN[contract]
    path = tmp_path / "fieldtune" / file
    path.write_text(path.read_text() + f"\n{line}\n")
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command; lint_imports_command()",
            "--no-cache",
        ],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path), "COLUMNS": "200"},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode != 0
    said = " ".join(done.stdout.split())
    assert f"{contract} BROKEN" in said
    module, imported = f"fieldtune.{file[:-3].replace('/', '.')}", line.split()[1]
    assert f"{module} -> {imported}" in said
