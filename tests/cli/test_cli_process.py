"""The command as a process: start-up, broken pipes, interrupts, a kill between confirming and leaving."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fieldtune.store import Store


@pytest.fixture
def env(tmp_path: Path) -> dict[str, str]:
    return {**os.environ, "FIELDTUNE_PROFILES": str(tmp_path / "home"), "PYTHONUNBUFFERED": ""}


def _python(code: str, env: dict[str, str], *argv: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code, *argv], capture_output=True, text=True, env=env, timeout=60)


def test_importing_the_command_imports_nothing_heavy(env: dict[str, str]) -> None:
    heavy = ("textual", "scipy", "numpy", "serial", "sqlite3")
    code = f"import sys, fieldtune.cli; print([name for name in {heavy!r} if name in sys.modules])"
    assert _python(code, env).stdout.strip() == "[]"


def test_aiming_imports_no_screen(env: dict[str, str]) -> None:
    code = (
        "import sys\nfrom fieldtune.cli import main\nmain(['shot', 'heron', '--distance', '2 m', '--setpoint', '1400',"
        " '--result', 'in'])\nmain(['aim', 'heron', '--distance', '2 m'])\n"
        "heavy = 'textual', 'scipy', 'serial', 'numpy.ma', 'msgspec'\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    assert _python(code, env).stdout.splitlines()[-1] == "[]"


def test_version_and_help(env: dict[str, str]) -> None:
    from importlib.metadata import version

    command = [sys.executable, "-m", "fieldtune"]
    said = subprocess.run([*command, "--version"], capture_output=True, text=True, env=env, timeout=60)
    assert said.stdout.strip() == f"fieldtune {version('fieldtune')}"
    said = subprocess.run([*command, "--help"], capture_output=True, text=True, env=env, timeout=60)
    assert said.returncode == 0
    for name in ("console", "robots", "check", "new", "aim", "stand", "shot", "undo", "shots", "swap", "next", "table",
                 "listen", "replay", "size", "sheet", "simulate"):  # fmt: skip
        assert f"\n    {name} " in said.stdout
        helped = subprocess.run([*command, name, "--help"], capture_output=True, text=True, env=env, timeout=60)
        assert helped.returncode == 0
        assert helped.stdout.startswith(f"usage: fieldtune {name}")


def test_a_shot_outlives_a_kill_right_after_it_was_kept(env: dict[str, str], tmp_path: Path) -> None:
    code = (
        "import os, signal\nfrom fieldtune.session import Session\nfrom fieldtune.cli import main\n"
        "Session.aim = lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL)\n"
        "main(['shot', 'heron', '--distance', '1.8 m', '--setpoint', '2450', '--result', 'in'])\n"
    )
    assert _python(code, env).returncode == -signal.SIGKILL
    assert [shot.distance_m for shot in Store(tmp_path / "home" / "heron.db").shots()] == [1.8]


def test_two_commands_at_once_lose_no_shot(env: dict[str, str], tmp_path: Path) -> None:
    code = (
        "from fieldtune.cli import main\nfor i in range(5):\n"
        "    assert main(['swap', 'heron']) == 0\n"
    )  # swap writes as shot does, and needs no learning
    both = [subprocess.Popen([sys.executable, "-c", code], env=env, stdout=subprocess.DEVNULL) for _ in range(2)]
    assert [process.wait(60) for process in both] == [0, 0]
    assert Store(tmp_path / "home" / "heron.db").epoch == 11


def test_a_reader_that_went_away_leaves_no_traceback(env: dict[str, str]) -> None:
    code = (
        "import sys\nfrom fieldtune.commands import aim\nfrom fieldtune.cli import main\n"
        "aim.aim_words = lambda *a: ['x' * 1000] * 1000\n"
        "sys.exit(main(['aim', 'heron', '--distance', '2 m']))\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    complaint = process.stderr.read()
    process.stderr.close()
    assert process.wait(60) == 1
    assert complaint == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_an_answer_that_cannot_be_printed_is_told(env: dict[str, str]) -> None:
    command = [sys.executable, "-m", "fieldtune", "robots", "--json"]
    with open("/dev/full", "w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, env=env, timeout=60)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert done.stderr.startswith("fieldtune: the answer can't be printed")


def test_closed_streams_leave_no_traceback(env: dict[str, str]) -> None:
    command = f"'{sys.executable}' -m fieldtune robots >&-"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, env=env, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    command = f"'{sys.executable}' -m fieldtune aim nobody --distance '2 m' 2>&-"
    assert subprocess.run(["sh", "-c", command], capture_output=True, env=env, timeout=60).returncode == 2


def test_json_keeps_its_letters_where_standard_output_does_not_know_them(env: dict[str, str], tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    profile = (Path(__file__).parents[2] / "profiles" / "heron.toml").read_text()
    (home / "heron.toml").write_text(profile.replace("Heron, practice build", "H\u00e9ron \U0001f985"), "utf-8")
    command = [sys.executable, "-m", "fieldtune", "robots", "--json"]
    done = subprocess.run(command, capture_output=True, env={**env, "PYTHONIOENCODING": "ascii"}, timeout=60)
    assert json.loads(done.stdout)["robots"][0]["title"] == "H\u00e9ron \U0001f985"


def test_an_interrupt_is_quiet(env: dict[str, str]) -> None:
    code = (
        "import os, signal, sys\nfrom fieldtune.session import Session\nfrom fieldtune.cli import main\n"
        "Session.aim = lambda *a, **k: signal.raise_signal(signal.SIGINT)\n"
        "sys.exit(main(['aim', 'heron', '--distance', '2 m']))\n"
    )
    done = _python(code, env)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


def test_a_terminal_without_the_signs_gets_question_marks(env: dict[str, str]) -> None:
    done = _python("from fieldtune.cli import main; main(['learned', 'heron'])", {**env, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stderr == ""


def test_a_fault_of_the_program_is_one_line(env: dict[str, str]) -> None:
    code = (
        "import sys\nfrom fieldtune.session import Session\nfrom fieldtune.cli import main\n"
        "Session.aim = lambda *a, **k: 1 / 0\nsys.exit(main(['aim', 'heron', '--distance', '2 m']))\n"
    )
    done = _python(code, env)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "ZeroDivisionError" in done.stderr
    assert "Traceback" in _python(code, {**env, "FIELDTUNE_TRACE": "1"}).stderr
