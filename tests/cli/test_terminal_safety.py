"""Nothing that comes from elsewhere steers the terminal: one door to both streams, and hostile text sent through it.

What a terminal obeys: control functions of ECMA-48 (C0 with escape, C1), and Unicode's bidirectional controls
(UAX #9), which turn the order of what is read.
"""

from __future__ import annotations

import ast
import contextlib
import json
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import fieldtune
from fieldtune.plain_text import columns, pairs, printable, say, say_aside, say_json
from fieldtune.robot.home import demo_home

PACKAGE = Path(fieldtune.__file__).parent
DOOR = "plain_text.py"
ALLOWED = {
    ("cli.py", "sys.stdout"), ("cli.py", "sys.stderr"),  # flushed and set up, never written to
    ("commands/console.py", "sys.stdout"),  # asked whether it is a terminal
    ("commands/size.py", "sys.stderr"),  # a progress bar of our own signs
}  # fmt: skip
HOSTILE = "\x1b]52;c;cm0=\x07\x1b[2J\x9b31m\u202eevil\u2066\x00\x7f\r"
"""Clipboard by OSC 52, clear, colour by C1, right-to-left override, isolate, NUL, DEL, return."""


def writes(path: Path) -> set[tuple[str, str]]:
    """Where a module prints, or names a standard stream."""
    name = path.relative_to(PACKAGE).as_posix()
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("print", "input"):
            found.add((name, node.func.id))
        if isinstance(node, ast.Attribute) and node.attr in ("stdout", "stderr", "__stdout__", "__stderr__"):
            found.add((name, f"sys.{node.attr}"))
    return found


def test_every_print_is_in_the_one_door() -> None:
    found = {place for path in PACKAGE.rglob("*.py") if path.name != DOOR for place in writes(path)}
    assert found == ALLOWED


def test_every_text_of_the_console_goes_through_its_door() -> None:
    """Textual's ``Content`` is made from text in ``assemble`` alone, but for digits and rules of our own."""
    found = {
        path.name
        for path in (PACKAGE / "console").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func).startswith(("Content", "Text(", "Text.", "Static("))
    }
    assert found == {"text_block.py", "readout.py"}


def obeyed(text: str) -> list[str]:
    """Characters that a terminal obeys, but for the ends of lines."""
    return [c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")]


@given(st.text())
def test_printable_text_is_one_line_without_controls(text: str) -> None:
    shown = printable(text)
    assert shown.isprintable()
    assert printable(shown) == shown
    if text.isprintable():
        assert shown == text


def test_the_door_escapes_on_both_streams(capsys: pytest.CaptureFixture[str]) -> None:
    say(HOSTILE)
    say_aside(HOSTILE)
    say_json({HOSTILE: HOSTILE})
    out, err = capsys.readouterr()
    assert not obeyed(out + err)
    assert "\\x1b]52" in out
    assert json.loads(out.splitlines()[-1]) == {HOSTILE: HOSTILE}
    assert err.startswith("fieldtune: \\x1b")
    assert not obeyed("".join([*columns((HOSTILE,), [(HOSTILE,)]), *pairs([(HOSTILE, HOSTILE)])]))


@pytest.fixture
def hostile_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A robot whose title, spots, fields and keys are hostile, as far as TOML lets them (in escapes)."""
    home = tmp_path / "home"
    home.mkdir()
    sign = json.dumps(HOSTILE).replace("\\u007f", "\\u007F").replace("\x9b", "\\u009b").replace("\x7f", "\\u007f")
    text = (demo_home() / "heron.toml").read_text(encoding="utf-8")
    title = next(line for line in text.splitlines() if line.startswith("title"))
    text = text.replace(title, f"title = {sign}").replace('name = "near line"', f"name = {sign}")
    (home / "heron.toml").write_text(text, encoding="utf-8")
    (home / "gull.toml").write_text(text + f"\n[launcher2]\n{sign} = 1\n", encoding="utf-8")
    (home / "tern.toml").write_text(text.replace('mass = "', f"mass = {sign} #"), encoding="utf-8")
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(home))
    return home


def commands(folder: Path) -> list[list[str]]:
    """Each command with hostile text wherever it takes any."""
    x, csv, line = HOSTILE.replace("\x00", ""), folder / "log.csv", folder / "line.txt"
    odd = str(folder / x.replace("/", ""))
    csv.write_text(f"{HOSTILE},distance (m),setpoint,result\nx,2,1400,{HOSTILE}\n", encoding="utf-8")
    line.write_text(f"{HOSTILE}=12,wheel_rpm=1400\n" * 30, encoding="utf-8")
    near = ["--distance", "2 m"]
    found = [
        [x], ["--" + x], ["robots"], ["check", "heron"], ["check", "gull"], ["check", "tern"], ["check", odd],
        ["aim", x, *near], ["aim", "gull", *near], ["aim", "heron", "--distance", x], ["aim", "heron", "--spot", x],
        ["aim", "heron", *near, "--battery", x], ["aim", "heron", *near, "--target", x],
        ["aim", "heron", "--spot", "q"],
        ["stand", "heron", "--setpoint", x], ["next", "heron", "--target", x], ["shots", "heron"], ["learned", "heron"],
        ["shot", "heron", *near, "--setpoint", "1400", "--result", x], ["swap", "heron", "--label", x],
        ["shot", "heron", *near, "--setpoint", x, "--result", "in"], ["batteries", "heron"], ["undo", x],
        ["exclude", "heron", "--shot", "1", "--reason", x], ["include", "heron", "--shot", x],
        ["pack", "heron", odd], ["pack", "heron", odd], ["merge", odd], ["merge", odd + "none"], ["merge", str(csv)],
        ["import", "heron", str(csv)], ["import", "heron", str(csv), "--columns", f"result={x}"],
        ["import", "heron", str(csv), "--skip-bad"], ["import", "heron", odd + "none"],
        ["table", "heron", "--from", "2 m", "--to", "3 m", "--out", odd, "--force"],
        ["table", "heron", "--from", x, "--to", "3 m"], ["table", "heron", "--from", "2 m", "--to", "3 m"],
        ["table", "heron", "--from", "2 m", "--to", "3 m", "--format", "java"],
        ["table", "heron", "--from", "2 m", "--to", "3 m", "--format", x],
        ["sheet", "heron", "--out", odd], ["sheet", "heron", "--out", odd + "/x/y"],
        ["size", "heron"], ["size", "heron", "--if", f"{x}={x}"], ["size", "heron", "--teeth", x],
        ["compare", "heron", "otter"], ["compare", "heron", "heron", "--weight", f"{x}=1"],
        ["replay", str(line), "heron"], ["replay", odd + "none"], ["replay", odd],
        ["listen", "heron", "--port", odd], ["listen", "heron", "--port", f"replay://{line}", "--seconds", "1"],
        ["listen", "heron", "--port", x, "--seconds", "1"], ["simulate", "heron", "--seed", x], ["sender", "--lang", x],
        ["new", x, "--kind", "arm"], ["new", "skua", "--kind", x], ["console", x], ["--profiles", odd, "robots"],
    ]  # fmt: skip
    return found + [[*words, "--json"] for words in found]


def test_no_command_prints_what_a_terminal_obeys(
    hostile_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from fieldtune.cli import main

    seen = 0
    for words in commands(tmp_path):
        with contextlib.suppress(SystemExit):
            main(words)
        out, err = capsys.readouterr()
        seen += "x1b" in out + err or "u001b" in out + err
        assert not obeyed(out + err), words
        assert "Traceback" not in err
        assert "fault of the program" not in err, (words, err)
    assert seen > 40  # most of them do say what they were given


def test_a_name_that_is_no_unicode_is_shown_escaped(tmp_path: Path) -> None:
    """A file's name may be any bytes on Linux."""
    if sys.platform != "linux":
        pytest.skip("names are Unicode here")
    name = os.fsencode(tmp_path) + b"/\xff\xfe\x1b[2J.toml"
    said = subprocess.run(
        [sys.executable.encode(), b"-m", b"fieldtune", b"check", name], capture_output=True, timeout=60, check=False
    )
    assert said.returncode == 2
    assert b"\x1b" not in said.stderr
    assert said.stderr.startswith(b"fieldtune: ")
