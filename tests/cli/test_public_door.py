"""What scripts may lean on: the names of the package, its example, and a start that costs little."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import fieldtune
from fieldtune import errors

ROOT = Path(__file__).parents[2]


def test_every_public_name_is_there_and_comes_lazily() -> None:
    loaded = "import fieldtune, sys; print([m for m in ('numpy', 'scipy', 'textual', 'sqlite3') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True).stdout == "[]\n"
    assert all(getattr(fieldtune, name) is not None for name in fieldtune.__all__)
    assert set(fieldtune.__all__) == {"__version__", *fieldtune._WHERE}
    with pytest.raises(AttributeError, match="nothing"):
        _ = fieldtune.nothing


def test_every_error_is_public() -> None:
    tree = {name for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, Exception)}
    assert tree <= set(fieldtune.__all__)


def test_the_example_of_the_developers_page_runs(tmp_path: Path) -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    assert len(example.strip().splitlines()) == 10
    ran = subprocess.run([sys.executable, "-c", example], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stderr
    setpoint, chance = ran.stdout.splitlines()[0].split(" rpm: ")
    assert 600 <= float(setpoint) <= 4200
    assert 0 < float(chance) <= 1
    assert list(tmp_path.iterdir()) == []


QUICK = [
    ["--version"],
    ["--help"],
    ["aimm", "heron"],
    ["aim", "heron", "--distnce", "2 m"],
    ["aim", "heron", "--distance", "2"],
    ["aim", "herron", "--distance", "2 m"],
    ["undo", "herron"],
    ["table", "heron", "--from", "3 m", "--to", "2 m"],
    ["new", "No Name", "--kind", "arm"],
]


@pytest.mark.parametrize("words", QUICK, ids=" ".join)
def test_what_needs_no_numbers_does_not_import_them(words: list[str]) -> None:
    code = (
        "import sys\nfrom fieldtune.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "heavy = ('numpy', 'scipy', 'textual', 'jinja2', 'tomlkit')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60)
    assert said.stdout.splitlines()[-1] == "[]", said.stderr


def test_the_version_comes_before_argparse() -> None:
    code = "import sys\nfrom fieldtune.cli import main\nmain(['--version'])\nprint('argparse' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert said.stdout == f"fieldtune {fieldtune.__version__}\nFalse\n", said.stderr
