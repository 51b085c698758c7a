"""Limits of input: whatever is absurd, endless or not there is one line within two seconds."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from thorough import thorough

from fieldtune.robot.home import demo_home
from fieldtune.robot.profile import is_name

Run = Callable[..., Any]
BIG = "9" * 5000
HERON = (demo_home() / "heron.toml").read_text(encoding="utf-8")
SECONDS = 2.0


def _list(values: list[str]) -> str:
    return "[" + ",\n".join(values) + "]"


PROFILES = {
    "a whole number of 5,000 digits": HERON.replace("wheels = 2", f"wheels = {BIG[:4900]}"),
    "a quantity of 4,900 digits": HERON.replace('wheel_diameter = "', f'wheel_diameter = "{BIG[:4900]}'),
    "30,000 gear pairs": HERON.replace("gears = [", "gears = " + _list(["[12, 24]"] * 30_000) + " #"),
    "20,000 dotted keys": HERON + "\n[x]\n" + "\n".join(f"a{k}.b.c = 1" for k in range(15_000)),
    "nested 200,000 deep": HERON + "\nx" + ".x" * 100_000 + " = 1\n",
    "10,000 spots": HERON + "".join(f'\n[[spots]]\nname = "{k}"' for k in range(10_000)),
    "200 targets": HERON.replace("[target]", "[targets.a]") + "".join(f"\n[targets.t{k}]" for k in range(200)),
    "a key of 900 kB": HERON + "\n" + "k" * 900_000 + " = 1\n",
    "a long key": HERON + "\n" + "k" * 4000 + " = 1\n",
    "infinite share": HERON.replace("[setpoint]", "[floor]\nfriction = 1e400\n[setpoint]"),
    "30,000 columns": HERON + "\n[link.columns]\norder = " + _list(['"-"'] * 30_000),
    "2 MB": HERON + "#" * 2_000_000,
    "NULs": HERON.replace("[drive]", "\0\0[drive]"),
    "not text": "\udcff" * 100,
}


@pytest.mark.parametrize("name", PROFILES)
def test_an_absurd_profile_is_one_line(name: str, run: Run, tmp_path: Path) -> None:
    path = tmp_path / "tern.toml"
    path.write_text(PROFILES[name], encoding="utf-8", errors="surrogateescape")
    begun = time.perf_counter()
    ran = run("aim", path, "--distance", "2 m")
    assert time.perf_counter() - begun < SECONDS
    assert ran.code == 2, ran
    assert ran.err.count("\n") == 1
    assert len(ran.err) < 600
    assert "fault of the program" not in ran.err
    checked = run("check", path)
    assert checked.code == 2
    assert len(checked.out) < 20_000


WORDS: list[tuple[str, ...]] = [
    ("aim", "heron", "--distance", BIG + " m"), ("aim", "heron", "--distance", "1e-200 m"),
    ("aim", "heron", "--distance", "1e300 m"), ("aim", "heron", "--distance", f"{BIG}/{BIG} in"),
    ("aim", "heron", "--distance", "2 m", "--battery", "1e-300 V"), ("aim", "heron", "--distance", "1,400 m"),
    ("shot", "heron", "--distance", "2 m", "--setpoint", BIG, "--result", "in"),
    ("shot", "heron", "--distance", "2 m", "--setpoint", "1e400", "--result", "in"),
    ("shot", "heron", "--distance", "2 m", "--setpoint", "1,400", "--result", "in"),
    ("shot", "heron", "--distance", "2 m", "--setpoint", "1400", "--miss", "9e200 m"),
    ("exclude", "heron", "--shot", BIG, "--reason", "x"), ("exclude", "heron", "--shot", "1", "--reason", BIG),
    ("size", "heron", "--teeth", BIG), ("size", "heron", "--teeth", ",".join("20" * 900)),
    ("compare", "heron", "otter", "--weight", f"reach_m={BIG}"), ("simulate", "heron", "--seed", BIG),
    ("listen", "heron", "--seconds", BIG), ("listen", "heron", "--baud", BIG), ("swap", "heron", "--label", BIG),
    ("table", "heron", "--from", "1 m", "--to", "2 m", "--step", "1e-300 m"), (BIG,), ("aim", BIG, "--distance", "2 m"),
]  # fmt: skip


@pytest.mark.parametrize("words", WORDS, ids=lambda words: " ".join(words)[:60])
def test_an_absurd_argument_is_one_line(words: tuple[str, ...], fails: Callable[..., str]) -> None:
    begun = time.perf_counter()
    line = fails(*words)
    assert time.perf_counter() - begun < SECONDS
    assert len(line) < 700


@pytest.mark.parametrize(
    ("said", "metres"), [("0,250 m", 0.25), ("250,0 cm", 2.5), *thorough(("2,5 m", 2.5), ("2.5 m", 2.5))]
)
def test_a_decimal_comma_is_understood_alike(said: str, metres: float, run: Run) -> None:
    from fieldtune import load_robot
    from fieldtune.console.typed import read_distance

    assert run("stand", "heron", "--setpoint", "1400,5 rpm", "--json").json["setpoint"] == 1400.5
    assert run("aim", "heron", "--distance", said, "--json").json["distance_m"] == metres
    assert read_distance(said, load_robot("heron")).value_m == metres


def test_names_that_windows_keeps_for_devices(fails: Callable[..., str]) -> None:
    for name in ("con", "nul", "aux", "prn", "com1", "lpt9", "com0"):
        assert not is_name(name)
        assert "expected a robot's name" in fails("new", name, "--kind", "arm")
    assert is_name("console")
    assert is_name("com10")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(run: Run, home: Path, tmp_path: Path) -> None:
    home.mkdir()
    for entry in demo_home().glob("*.toml"):
        shutil.copy(entry, home)
    os.mkfifo(home / "heron.db")
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    os.mkfifo(home / "tern.toml")
    for words in (
        ("shots", "heron"), ("shot", "heron", "--distance", "2 m", "--setpoint", "1400", "--result", "in"),
        ("merge", pipe), ("import", "otter", pipe), ("replay", pipe, "otter"), ("check", home / "tern.toml"),
        ("check", pipe),
    ):  # fmt: skip
        ran = run(*words)
        assert ran.code in (1, 2), words
        assert "pipe" in ran.err
        assert ran.err.count("\n") == 1
    listed = run("robots")
    assert listed.code == 0
    assert "pipe" in listed.out


@pytest.fixture
def as_nobody() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Runs the command as a user without rights, home or entry in the user list."""
    if shutil.which("setpriv") is None or os.getuid() != 0:
        pytest.skip("only root can become a user without rights, with setpriv of util-linux")

    def call(folder: Path, *words: str, **env: str) -> subprocess.CompletedProcess[str]:
        kept = {"PATH": os.environ["PATH"], "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1", **env}
        command = ["setpriv", "--reuid=54321", "--clear-groups", sys.executable, "-m", "fieldtune", *words]
        return subprocess.run(command, cwd=folder, env=kept, capture_output=True, text=True, timeout=60, check=False)

    return call


def test_no_home_and_no_right_to_look_are_one_line(
    as_nobody: Callable[..., subprocess.CompletedProcess[str]],
) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        folder.chmod(0o755)
        said = as_nobody(folder, "robots")
        assert (said.returncode, said.stderr.count("\n")) == (2, 1), said.stderr
        assert "--profiles" in said.stderr
        (folder / "locked" / "profiles").mkdir(parents=True)
        (folder / "locked").chmod(0o700)
        for home in ("locked", "locked/profiles"):
            for words in (("aim", "heron", "--distance", "2 m"), ("robots",)):
                said = as_nobody(folder, *words, FIELDTUNE_PROFILES=str(folder / home))
                assert (said.returncode, said.stderr.count("\n")) == (2, 1), said.stderr
                assert "fault of the program" not in said.stderr
    finally:
        shutil.rmtree(folder)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("words", ["robots", "aim heron --distance 2m", "--help", "--version"])
def test_a_full_or_closed_stream_is_one_line(words: str, home: Path) -> None:
    command = f"{sys.executable} -m fieldtune {words}"
    full = subprocess.run(f"{command} >/dev/full", shell=True, capture_output=True, text=True, timeout=60)
    assert (full.returncode, full.stderr) == (1, "fieldtune: the answer can't be printed (No space left on device)\n")
    closed = subprocess.run(f"{command} <&- >&- 2>&-", shell=True, timeout=60)
    assert closed.returncode == 0
    assert subprocess.run(f"{command} 2>/dev/full >/dev/null", shell=True, timeout=60).returncode == 0
