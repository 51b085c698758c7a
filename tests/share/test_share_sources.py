"""Robot-program sources: compiled by the real compilers and run over 10,000 distances."""

from __future__ import annotations

import importlib.util
import math
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from fieldtune import Session, load_robot
from fieldtune.errors import OutOfReachError
from fieldtune.robot.model import SetpointRange
from fieldtune.share.program_source import harmless, source
from fieldtune.share.table_curve import Curve, curve

NASTY = 'Bad "title" */ \\u002a/ ??/ <script>alert(1)</script>\n🎯 \\'


@pytest.fixture(scope="module")
def made() -> Curve:
    with Session(load_robot("heron")) as session:
        return replace(curve(session, 1.6, 3.4), title=NASTY)


@pytest.fixture(scope="module")
def open_loop() -> Curve:
    robot = replace(load_robot("heron"), setpoint=SetpointRange("%", 10, 100, 1))
    with Session(robot) as session:
        return replace(curve(session, 1.6, 3.4, battery_v=9.9), title=NASTY)


def asked() -> np.ndarray:
    return np.concatenate([np.random.default_rng(2).uniform(0.5, 6.0, 9_997), [1.6, 3.4, math.nan]])


def run(command: list[str], cwd: Path, given: str = "") -> str:
    done = subprocess.run(command, cwd=cwd, input=given, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "warning" not in done.stderr.lower(), done.stderr
    return done.stdout


def compare(printed: str, made: Curve, volts: float | None) -> None:
    """Equal to the Python value within a millionth of a step, held at the ends, not a number for not a number.

    At no usable voltage the power is the table's; at a low one it ends at what the robot takes.
    """
    rows = [line.split() for line in printed.split("\n") if line]
    d, values = asked(), np.array([float(row[0]) for row in rows])
    inside = np.array([row[1] == "1" for row in rows])
    table_volts = made.volts or 1.0
    usable = volts if volts is not None and volts >= table_volts / 2 else table_volts
    expected = np.minimum(made.at(d) * table_volts / usable, made.high)
    assert len(values) == 10_000
    assert np.isnan(values[-1])
    assert np.max(np.abs(values[:-1] - expected[:-1])) < 1e-6 * made.step
    assert np.array_equal(inside, (d >= made.distance_m[0]) & (d <= made.distance_m[-1]))


def given() -> str:
    return "\n".join(f"{d!r}" for d in asked().tolist()) + "\n"


CASES = [("made", None), ("open_loop", 11.3), ("open_loop", 6.3), ("open_loop", 0.0), ("open_loop", -12.0)]


@pytest.mark.parametrize(("kind", "volts"), CASES)
def test_cpp(kind: str, volts: float | None, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    if shutil.which("g++") is None:
        pytest.skip("g++ is not installed")
    of: Curve = request.getfixturevalue(kind)
    (tmp_path / "s.hpp").write_text(source(of, "cpp", "2026-01-01"))
    call = "d" if volts is None else f"d, {volts}"
    (tmp_path / "m.cpp").write_text(
        '#include <cstdio>\n#include <cstdlib>\n#include "s.hpp"\nint main() { char b[99];'
        "while (std::fgets(b, 99, stdin)) {"
        'double d = std::atof(b); std::printf("%.17g %d\\n", heron_setpoint::setpoint(' + call + "),"
        " heron_setpoint::in_range(d) ? 1 : 0); } }\n"
    )
    warnings = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Wtrigraphs"]
    run(["g++", "-std=c++11", *warnings, "-O1", "m.cpp", "-o", "m"], tmp_path)
    compare(run(["./m"], tmp_path, given()), of, volts)


@pytest.mark.parametrize(("kind", "volts"), CASES)
def test_java(kind: str, volts: float | None, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    if shutil.which("javac") is None:
        pytest.skip("javac is not installed")
    of: Curve = request.getfixturevalue(kind)
    (tmp_path / "HeronSetpoint.java").write_text(source(of, "java", "2026-01-01"))
    call = "d" if volts is None else f"d, {volts}"
    (tmp_path / "Main.java").write_text(
        "import java.util.Scanner;\nclass Main { public static void main(String[] a) {\n"
        "Scanner in = new Scanner(System.in);\n"
        "StringBuilder out = new StringBuilder(); while (in.hasNextLine()) { String s = in.nextLine();\n"
        'double d = s.equals("nan") ? Double.NaN : Double.parseDouble(s);\n'
        f'out.append(HeronSetpoint.setpoint({call})).append(HeronSetpoint.inRange(d) ? " 1" : " 0").append("\\n"); }}\n'
        "System.out.print(out); } }\n"
    )
    run(["javac", "-Xlint:all", "-Werror", "-encoding", "US-ASCII", "HeronSetpoint.java", "Main.java"], tmp_path)
    compare(run(["java", "-Xshare:auto", "Main"], tmp_path, given()), of, volts)


@pytest.mark.parametrize(("kind", "volts"), CASES)
def test_python(kind: str, volts: float | None, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    of: Curve = request.getfixturevalue(kind)
    path = tmp_path / f"written_{kind}.py"
    path.write_text(source(of, "python", "2026-01-01"))
    ruff = [sys.executable, "-m", "ruff"]  # as it comes: 88 letters a line
    run([*ruff, "check", "--isolated", "--select", "E,F,W,I,B,UP", path.name], tmp_path)
    run([*ruff, "format", "--isolated", "--check", path.name], tmp_path)
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    more = () if volts is None else (volts,)
    compare("".join(f"{module.setpoint(d, *more)!r} {int(module.in_range(d))}\n" for d in asked().tolist()), of, volts)


def test_the_curve_is_the_recommendation_within_half_a_step() -> None:
    """At distances the generator did not check."""
    with Session(load_robot("heron")) as session:
        of = curve(session, 1.6, 3.4)
        d = np.random.default_rng(8).uniform(1.6, 3.4, 60)
        exact = np.array([row.setpoint for row in session.table([float(x) for x in d], rounded=False)], dtype=float)
    assert np.max(np.abs(of.at(d) - exact)) < of.step / 2
    assert of.worst_error < of.step / 2
    assert len(of.distance_m) < 20


def test_interpolation_is_the_published_monotone_one(made: Curve) -> None:
    """scipy's PchipInterpolator (Fritsch & Carlson 1980) through the same nodes; rounding is 1e-9 of the setpoint."""
    d = np.linspace(made.distance_m[0], made.distance_m[-1], 999)
    reference = PchipInterpolator(made.distance_m, made.setpoint)(d)
    assert made.at(d) == pytest.approx(reference, rel=1e-9)


def test_only_the_stretch_that_scores_is_in_the_table() -> None:
    with Session(load_robot("heron")) as session:
        of = curve(session, 0.2, 3.0)
        assert of.distance_m[0] > 0.4
        assert of.distance_m[-1] == pytest.approx(3.0)
        with pytest.raises(OutOfReachError, match="nowhere"):
            curve(session, 60.0, 70.0)


def test_a_title_can_not_leave_its_comment() -> None:
    assert harmless(NASTY) == "Bad title / u002a/ / <script>alert(1)</script>"
    assert harmless("🎯") == "no title"
