"""Robot-program sources: compiled by the real compilers and run over 10,000 distances."""

from __future__ import annotations

import math
import re
import runpy
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from thorough import thorough

from fieldtune import Session, load_robot
from fieldtune.aim.motion import Motion, recommend_moving
from fieldtune.errors import InputError, OutOfReachError
from fieldtune.robot.model import SetpointRange
from fieldtune.share.program_source import harmless, source
from fieldtune.share.program_table import ProgramTable, program_table
from fieldtune.share.table_curve import Curve, curve
from fieldtune.share.trim import trim
from fieldtune.share.voltage_grid import voltage_grid

NASTY = 'Bad "title" */ \\u002a/ ??/ <script>alert(1)</script>\n🎯 \\'


@pytest.fixture(scope="module")
def tables() -> dict[str, ProgramTable]:
    """Closed loop in metres and in inches, open loop, and an element that slides."""
    power = replace(load_robot("heron"), setpoint=SetpointRange("%", 10, 100, 1))
    with Session(load_robot("heron")) as heron, Session(power) as open_loop, Session(load_robot("otter")) as otter:
        for _ in range(4):
            heron.confirm(2.0, 1480, "right", miss_m=0.0, side_m=0.2)
        made = program_table(heron, 1.6, 3.4)
        return {
            "metres": nastily(made),
            "inches": replace(made, unit="in"),
            "power": nastily(program_table(open_loop, 1.6, 3.4, battery_v=9.9)),
            "slide": program_table(otter, 1.0, 2.4),
            "hood": program_table(tuned_egret(), 1.4, 4.0),
        }


@cache
def tuned_egret() -> Session:
    """A robot with a hood after some shots that tell its speed, so that the best exit angle changes over the range."""
    session = Session(load_robot("egret"))
    for distance, setpoint in ((1.6, 1460), (2.0, 1590), (2.6, 1750), (3.2, 1910)) * 3:
        session.confirm(distance, setpoint, miss_m=0.02, exit_angle_deg=52.0)
    return session


def curve_through(of: Curve, values: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """scipy's monotone curve through values at the nodes, held at the ends: one for each exit angle of a hood."""
    starts = [0, *(np.flatnonzero(np.diff(of.distance_m) == 0) + 1), len(of.distance_m)]
    parts = [slice(*pair) for pair in pairwise(starts)]

    def at(d: np.ndarray) -> np.ndarray:
        held = np.clip(np.atleast_1d(d), of.distance_m[0], of.distance_m[-1])
        found = np.full(len(held), np.nan)
        for part in parts:
            here = (held >= of.distance_m[part][0]) & (held <= of.distance_m[part][-1])
            found[here] = PchipInterpolator(of.distance_m[part], values[part])(held[here])
        return found

    return at


def nastily(table: ProgramTable) -> ProgramTable:
    return replace(table, curve=replace(table.curve, title=NASTY))


def asked(unit: str) -> np.ndarray:
    """Rows of distance, battery voltage, and the robot's speeds towards the target and to the right."""
    rng, per_m = np.random.default_rng(2), {"m": 1.0, "in": 1 / 0.0254}[unit]
    distance = np.concatenate([rng.uniform(0.5, 6.0, 9_997), [1.6, 3.4, math.nan]])
    volts = rng.choice([11.3, 6.3, 4.0, 0.0, -12.0], 10_000)
    return np.column_stack([distance * per_m, volts, rng.uniform(-1, 1, (10_000, 2)) * per_m])


def run(command: list[str], cwd: Path, given: str = "") -> str:
    done = subprocess.run(command, cwd=cwd, input=given, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "warning" not in done.stderr.lower(), done.stderr
    return done.stdout


def compare(printed: str, table: ProgramTable) -> None:
    """Equal to scipy's monotone curve through the nodes within a millionth of a step (in inches: of their rounding).

    Held at the ends, not a number for not a number. At no usable voltage the power is the table's; at a low one it
    ends at what the robot takes. The lead by scipy's root finder.
    """
    of, rows = table.curve, np.array([line.split() for line in printed.split("\n") if line], dtype=float)
    d, volts, forward, right = asked(table.unit).T / table.per_m
    volts = volts * table.per_m
    if of.hood_deg is not None:
        rows, hood = rows[:, :-1], rows[:-1, -1]
        node = np.searchsorted(of.distance_m, np.clip(d[:-1], of.distance_m[0], of.distance_m[-1]), side="right") - 1
        assert np.array_equal(hood, of.hood_deg[np.clip(node, 0, len(of.distance_m) - 2)])
        assert len(set(hood)) > 1
    assert rows.shape == (10_000, 6 if table.speed_mps is not None else 3)
    assert np.all(np.isnan(rows[-1, [0, *range(2, rows.shape[1])]]))
    held = np.clip(d, of.distance_m[0], of.distance_m[-1])
    table_volts = of.volts or 1.0
    usable = np.where(volts >= table_volts / 2, volts, table_volts) if of.volts else table_volts
    expected = np.minimum(curve_through(of, of.setpoint)(held) * table_volts / usable, of.high)
    close = 1e-6 if table.unit == "m" else 2e-3
    assert np.max(np.abs(rows[:-1, 0] - expected[:-1])) < close * of.step
    if table.unit == "m":
        assert np.array_equal(rows[:, 1] == 1, (d >= of.distance_m[0]) & (d <= of.distance_m[-1]))
    assert table.time_s is not None
    times = curve_through(of, table.time_s)(held)
    assert np.max(np.abs(rows[:-1, 2] - times[:-1])) < close
    if table.speed_mps is None:
        return
    speed = curve_through(of, table.speed_mps)
    moves = of.distance_m[1:][np.diff(of.distance_m) == 0]
    for row, x, f, r in list(zip(rows, d, forward, right, strict=True))[:40]:

        def off(v: float, x: float = x, f: float = f, r: float = r) -> float:
            time = v / speed(v)[0]
            return float(np.hypot(x - f * time, r * time) - v)

        lead = brentq(off, 1e-6, 20.0)
        if len(moves) and np.min(np.abs(moves - lead)) < 0.1:  # where the hood moves, either side serves
            continue
        assert row[3] / table.per_m == pytest.approx(lead, abs=1e-4)
        across = r / speed(lead)[0]
        assert row[4] == pytest.approx(table.turn_deg - math.degrees(math.asin(across)), abs=0.02)
    assert np.all(rows[:-1, 5] == table.turn_deg)


def given(unit: str) -> str:
    return "\n".join(" ".join(map(repr, row)) for row in asked(unit).tolist()) + "\n"


KINDS = ["metres", "inches", "power", "slide", "hood"]


@pytest.mark.parametrize("kind", KINDS)
def test_cpp(kind: str, tables: dict[str, ProgramTable], tmp_path: Path) -> None:
    if shutil.which("g++") is None:
        pytest.skip("g++ is not installed")
    table = tables[kind]
    (tmp_path / "s.hpp").write_text(source(table, "cpp", "2026-01-01"))
    calls = ["setpoint(d" + (", v)" if kind == "power" else ")"), "in_range(d) ? 1.0 : 0.0", "time_of_flight(d)"]
    if table.speed_mps is not None:
        calls += ["lead_distance(d, f, r)", "lead_turn_deg(d, f, r)", "turn_deg + 0 * d"]
    calls += ["hood_deg(d)"] if kind == "hood" else []
    (tmp_path / "m.cpp").write_text(
        '#include <cstdio>\n#include <cstdlib>\n#include "s.hpp"\n'
        f"using namespace {table.curve.robot}_setpoint;\nint main() {{ char b[199];\n"
        "while (std::fgets(b, 199, stdin)) { char *e; double d = std::strtod(b, &e), v = std::strtod(e, &e),"
        " f = std::strtod(e, &e), r = std::strtod(e, &e); (void)v; (void)f; (void)r;\n"
        f'std::printf("{" ".join(["%.17g"] * len(calls))}\\n", {", ".join(calls)}); }} }}\n'
    )
    warnings = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Wtrigraphs"]
    run(["g++", "-std=c++11", *warnings, "-O1", "m.cpp", "-o", "m"], tmp_path)
    compare(run(["./m"], tmp_path, given(table.unit)), table)


@pytest.mark.parametrize("kind", ["metres", "slide", "hood", *thorough("inches", "power")])
def test_java(kind: str, tables: dict[str, ProgramTable], tmp_path: Path) -> None:
    if shutil.which("javac") is None:
        pytest.skip("javac is not installed")
    table = tables[kind]
    (tmp_path / "Table.java").write_text(source(table, "java", "2026-01-01", "Table"))
    calls = ["setpoint(d" + (", v)" if kind == "power" else ")"), "inRange(d) ? 1.0 : 0.0", "timeOfFlight(d)"]
    if table.speed_mps is not None:
        calls += ["leadDistance(d, f, r)", "leadTurnDeg(d, f, r)", "TURN_DEG + 0 * d"]
    calls += ["hoodDeg(d)"] if kind == "hood" else []
    printed = "".join(f'.append({"" if "?" in c or c.startswith("TURN") else "Table."}{c}).append(" ")' for c in calls)
    printed = printed.replace("(inRange", "(Table.inRange").replace("(TURN", "(Table.TURN")
    (tmp_path / "Main.java").write_text(
        "import java.util.Scanner;\nclass Main {\n"
        'static double n(String s) { return s.equals("nan") ? Double.NaN : Double.parseDouble(s); }\n'
        "public static void main(String[] a) {\nScanner in = new Scanner(System.in);\n"
        "StringBuilder out = new StringBuilder(); while (in.hasNextLine()) {\n"
        'String[] w = in.nextLine().split(" "); double d = n(w[0]), v = n(w[1]), f = n(w[2]), r = n(w[3]);\n'
        f'out{printed}.append("\\n"); }}\nSystem.out.print(out); }} }}\n'
    )
    run(["javac", "-Xlint:all", "-Werror", "-encoding", "US-ASCII", "Table.java", "Main.java"], tmp_path)
    compare(run(["java", "-Xshare:auto", "Main"], tmp_path, given(table.unit)), table)


@pytest.mark.parametrize("kind", KINDS)
def test_python(kind: str, tables: dict[str, ProgramTable], tmp_path: Path) -> None:
    table = tables[kind]
    path = tmp_path / f"written_{kind}.py"
    path.write_text(source(table, "python", "2026-01-01"))
    ruff = [sys.executable, "-m", "ruff"]  # as it comes: 88 letters a line
    run([*ruff, "check", "--isolated", "--select", "E,F,W,I,B,UP", path.name], tmp_path)
    run([*ruff, "format", "--isolated", "--check", path.name], tmp_path)
    module = loaded(path)
    lines = []
    for k, (d, v, f, r) in enumerate(asked(table.unit).tolist()):
        found = [module.setpoint(d, v) if kind == "power" else module.setpoint(d), int(module.in_range(d))]
        found.append(module.time_of_flight(d))
        if table.speed_mps is not None:
            lead = (module.lead_distance, module.lead_turn_deg) if k < 99 or k == 9999 else ()
            found += [*([of(d, f, r) for of in lead] or (0, 0)), module.TURN_DEG + 0 * d]
        found += [module.hood_deg(d)] if kind == "hood" else []
        lines.append(" ".join(map(repr, found)))
    compare("\n".join(lines), table)


def loaded(path: Path) -> Any:
    return SimpleNamespace(**runpy.run_path(str(path)))


def test_a_slide_has_no_lead_and_headers_say_what_holds(tables: dict[str, ProgramTable]) -> None:
    text = source(tables["slide"], "python", "2026-01-01")
    assert "lead_" not in text
    assert "the element slides; shoot standing" in text
    assert "A draw is the same at any battery voltage." in text
    assert "Open loop: power for 9.9 V" in source(tables["power"], "cpp", "2026-01-01")
    assert "holds these speeds down to" in source(tables["metres"], "java", "2026-01-01", "Table")
    assert "Distance in inches from 62.99 to 133.9" in source(tables["inches"], "cpp", "2026-01-01")


def test_the_open_loop_formula_is_the_grid_over_the_voltage(tables: dict[str, ProgramTable], tmp_path: Path) -> None:
    """Recommendations calculated anew at each voltage and distance, as far as the robot takes them."""
    (tmp_path / "power.py").write_text(source(tables["power"], "python", "2026-01-01"))
    module, robot = loaded(tmp_path / "power.py"), replace(load_robot("heron"), setpoint=SetpointRange("%", 10, 100, 1))
    with Session(robot) as session:
        for volts in (7.5, 9.0, 11.0):
            for row in session.table([1.7, 2.3, 3.2], volts, rounded=False):
                if row.setpoint is not None and row.setpoint < 99.5:
                    assert module.setpoint(row.distance_m, volts) == pytest.approx(row.setpoint, abs=0.5)


def test_the_grid_holds_the_same_drive_at_every_voltage() -> None:
    """Power times voltage is what an unloaded motor's speed follows: alike in a row within half a step (1 %)."""
    robot = replace(load_robot("heron"), setpoint=SetpointRange("%", 10, 100, 1))
    with Session(robot) as session:
        grid = voltage_grid(session, [1.6, 2.4, 3.2])
    assert 3 <= len(grid.volts) <= 7
    assert list(grid.volts) == sorted(grid.volts, reverse=True)
    for row in grid.setpoints:
        watts = [volts * power for volts, power in zip(grid.volts, row, strict=True) if power is not None]
        assert max(watts) - min(watts) < 1.01 * max(grid.volts)
    with Session(load_robot("otter")) as session, pytest.raises(InputError, match="hold at any battery voltage"):
        voltage_grid(session, [2.0])


@pytest.mark.parametrize(("forward", "right"), [(0.9, 0.0), (-0.5, 0.4), (0.3, -0.8)])
def test_the_lead_scores_as_the_recommendation_in_motion_does(
    forward: float, right: float, tables: dict[str, ProgramTable], tmp_path: Path
) -> None:
    """Against ``aim`` in motion, which a Monte Carlo in the field's frame checks: setpoint in its good range."""
    (tmp_path / "lead.py").write_text(source(replace(tables["metres"], turn_deg=0.0), "python", "2026-01-01"))
    module = loaded(tmp_path / "lead.py")
    with Session(load_robot("heron")) as session:
        for _ in range(4):
            session.confirm(2.0, 1480, "right", miss_m=0.0, side_m=0.2)
        aim = recommend_moving(
            session.robot, session.robot.target(None), session.belief, 2.4, Motion(forward, right)
        )  # fmt: skip
    assert aim.setpoint.low is not None
    assert aim.setpoint.low <= module.setpoint(module.lead_distance(2.4, forward, right)) <= aim.setpoint.high
    assert module.lead_turn_deg(2.4, forward, right) == pytest.approx(aim.turn_deg, abs=0.15)


def test_time_of_flight_is_the_recommended_paths(tables: dict[str, ProgramTable]) -> None:
    """Between the nodes within 3 ms: what a robot at 1 m/s drives meanwhile is 3 mm.

    Without air a slide at v over level ground is at rest after v / (friction g); air shortens that a little.
    """
    of = tables["slide"]
    assert of.time_s is not None
    with Session(load_robot("otter")) as session:
        at = of.curve.distance_m
        for k in range(len(at) - 1):
            middle = float(at[k] + at[k + 1]) / 2
            aim = session.aim(middle)
            exact = of.curve.at(middle)
            rounded = abs(float(exact) - (aim.setpoint.value or 0.0)) / float(exact)
            time = PchipInterpolator(at, of.time_s)(middle)
            assert time == pytest.approx(aim.time_s, abs=0.003 + 3 * rounded)
            no_air = aim.exit_speed_mps / (session.robot.floor.friction * 9.80665)
            assert 0.97 * no_air < aim.time_s < no_air


@pytest.mark.parametrize(("language", "name"), [("java", "T.java"), ("cpp", "t.hpp"), ("python", "t.py")])
def test_a_battery_change_asks_for_a_trim(language: str, name: str, tmp_path: Path) -> None:
    """After one that makes every shot 4 % slower, two shots tell, and the old table then has to ask for 4 % more.

    Their misses follow from the aim's own sensitivity; 1 % stays open, as two shots with scatter leave it.
    """
    path = tmp_path / name
    with Session(load_robot("heron")) as session:
        for distance in (1.6, 2.0, 2.6, 3.2) * 2:
            session.confirm(distance, session.aim(distance).setpoint.value, miss_m=0.0)
        table = program_table(session, 1.6, 3.2, unit="in" if language == "cpp" else "m")
        path.write_text(source(table, language, "2026-01-01", "T"))
        same = trim(session, path)
        assert same.trim == pytest.approx(1.0, abs=5e-4)
        aims = [session.aim(distance) for distance in (2.0, 3.2)]
        session.swap("blue")
        for aim in aims:
            steps = 0.04 * aim.setpoint.value / session.robot.setpoint.step
            session.confirm(aim.distance_m, aim.setpoint.value, miss_m=-steps * aim.sensitivity.per_step_m)
        found = trim(session, path)
        assert found.trim == pytest.approx(1.04, abs=0.01)
        assert found.worst_error < found.worst_error_before / 3
        assert found.worst_loss < 0.02 < found.worst_loss_before
        path.write_text(path.read_text().replace("= 1.0", f"= {found.trim}", 1))
        again = trim(session, path)
        assert (again.was, again.trim) == (found.trim, found.trim)
        assert again.worst_error_before == pytest.approx(found.worst_error)


def test_a_trim_leaves_the_hood_where_the_table_has_it(tables: dict[str, ProgramTable], tmp_path: Path) -> None:
    session = tuned_egret()
    for language, name in (("java", "T.java"), ("cpp", "t.hpp"), ("python", "t.py")):
        path = tmp_path / name
        path.write_text(source(tables["hood"], language, "2026-01-01", "T"))
        assert trim(session, path).trim == pytest.approx(1.0, abs=5e-4)
        text = path.read_text()
        path.write_text(re.sub(r"(\bhoods?_deg\S*\s*=\s*[({])", r"\g<1>12.0, ", text, flags=re.I))
        with pytest.raises(InputError, match="its table can't be read"):
            trim(session, path)


def test_distances_at_the_robots_limit_do_not_pull_the_trim(tmp_path: Path) -> None:
    """Far out the setpoint is held at the highest that the robot takes, whatever battery is in: that says nothing."""
    path = tmp_path / "t.py"
    robot = load_robot("heron")
    robot = replace(robot, setpoint=replace(robot.setpoint, high=1860.0))
    with Session(robot) as session:
        for distance in (1.6, 2.0, 2.6, 3.0) * 2:
            session.confirm(distance, session.aim(distance).setpoint.value, miss_m=0.0)
        path.write_text(source(program_table(session, 1.6, 3.25), "python", "2026-01-01", "T"))
        aims = [session.aim(distance) for distance in (1.6, 2.0, 2.4)]
        session.swap("blue")
        for aim in aims * 2:
            steps = 0.04 * aim.setpoint.value / robot.setpoint.step
            session.confirm(aim.distance_m, aim.setpoint.value, miss_m=-steps * aim.sensitivity.per_step_m)
        assert session.aim(3.25).setpoint.value == 1860.0
        ratio = session.aim(2.0).setpoint.value / aims[1].setpoint.value
        assert trim(session, path).trim == pytest.approx(ratio, abs=0.006)


def test_no_trim_for_what_is_no_such_program(tmp_path: Path) -> None:
    path = tmp_path / "T.java"
    with Session(load_robot("otter")) as session:
        for text, words in (
            ("class T {}", "no table that fieldtune made"),
            ("Setpoint over distance for robot heron, made by fieldtune", "made for robot heron, not for otter"),
            ("Setpoint over distance for robot otter, made by fieldtune\nTRIM = 1.0", "its table can't be read"),
            ("Setpoint over distance for robot otter, made by fieldtune\nTRIM = 0", "its trim can't be read"),
        ):
            path.write_text(text)
            with pytest.raises(InputError, match=words):
                trim(session, path)


def test_the_curve_is_the_recommendation_within_half_a_step() -> None:
    """At distances the generator did not check."""
    with Session(load_robot("heron")) as session:
        of = curve(session, 1.6, 3.4)
        d = np.random.default_rng(8).uniform(1.6, 3.4, 60)
        exact = np.array([row.setpoint for row in session.table([float(x) for x in d], rounded=False)], dtype=float)
    assert np.max(np.abs(of.at(d) - exact)) < of.step / 2
    assert of.worst_error < of.step / 2
    assert len(of.distance_m) < 20


def test_interpolation_is_the_published_monotone_one(tables: dict[str, ProgramTable]) -> None:
    """scipy's PchipInterpolator (Fritsch & Carlson 1980) through the same nodes; rounding is 1e-9 of the setpoint."""
    made = tables["metres"].curve
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
