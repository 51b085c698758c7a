"""size, compare and table: the JSON's keys, agreement with the rooms behind them, and mistakes."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fieldtune

Run = Callable[..., Any]
Fails = Callable[..., str]

WHEEL_KEYS = {
    "kind", "reduction", "no_load_rpm", "ceiling_rpm_full", "ceiling_rpm_low", "needed_rpm", "headroom_low",
    "spin_up_s", "drop_rpm", "recovery_s", "shots_per_minute", "peak_current_a", "hold_current_a", "rim_speed_mps",
    "rim_stress_mpa", "element_energy_j", "choices",
}  # fmt: skip
STRIKER_KEYS = {
    "kind", "reduction", "force_max_n", "spring_energy_j", "spring_stress_mpa", "spring_safety",
    "exit_speed_max_mps", "farthest_m", "crank_torque_max_nm", "drive_torque_nm", "torque_margin", "cock_time_s",
    "cycles_per_minute", "stop_energy_j", "choices",
}  # fmt: skip


def test_size_of_a_flywheel_has_its_keys(run: Run) -> None:
    found = run("size", "heron", "--json").json
    assert found.keys() >= WHEEL_KEYS
    assert found["kind"] == "flywheel"
    assert found["needed_rpm"].keys() == {"near", "far"}
    keys = {"gears", "reduction", "ceiling_rpm_low", "spin_up_s", "recovery_s", "farthest_m", "best"}
    assert all(choice.keys() >= keys for choice in found["choices"])
    assert sum(choice["best"] for choice in found["choices"]) == 1
    assert found["ceiling_rpm_low"] < found["ceiling_rpm_full"]
    said = run("size", "heron").out
    assert f"{found['ceiling_rpm_low']:.0f} rpm" in said
    assert "eye protection" in said


@pytest.mark.parametrize(("robot", "kind"), [("otter", "striker"), ("crane", "arm")])
def test_size_of_a_spring_launcher_has_its_keys(run: Run, robot: str, kind: str) -> None:
    found = run("size", robot, "--json").json
    assert found.keys() >= STRIKER_KEYS
    assert found["kind"] == kind
    assert robot in run("size", robot).out.casefold()


def test_size_says_what_another_part_buys(run: Run) -> None:
    before = run("size", "heron", "--json").json
    after = run("size", "heron", "--if", "launcher.wheel_diameter=110 mm", "--json").json
    assert after["rim_speed_mps"] > before["rim_speed_mps"]
    assert any("rim speed" in line for line in after["buys"])
    assert "what the change buys" in run("size", "heron", "--if", "drive.gears=20:30").out


def test_size_sweeps_the_gears_it_is_given(run: Run) -> None:
    found = run("size", "heron", "--teeth", "16,24,30,36", "--json").json
    swept = [choice for choice in found["choices"] if not choice["present"]]
    assert swept
    assert {teeth for choice in swept for stage in choice["gears"] for teeth in stage} <= {16, 24, 30, 36}


def test_what_shots_taught_of_the_speed_moves_the_figures(run: Run) -> None:
    before = run("size", "heron", "--json").json
    assert before["speed_factor"] == 1.0
    for _ in range(4):
        run("shot", "heron", "--distance", "2 m", "--setpoint", "1440", "--miss=-45cm")
    after = run("size", "heron", "--json").json
    assert after["speed_factor"] < 0.99
    assert after["needed_rpm"]["far"] > before["needed_rpm"]["far"]


def test_a_long_search_shows_how_far_it_is_on_a_terminal_only(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    many = ",".join(str(teeth) for teeth in range(12, 28))
    assert run("size", "heron", "--teeth", many).err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    shown = run("size", "heron", "--teeth", many).err
    assert re.search(r"\[#+ +\] 10000 of (\d+) choices", shown)
    assert shown.endswith("\033[K")
    assert run("size", "heron", "--teeth", "18,36").err == ""


def test_comparing_shows_weights_and_how_firm_the_decision_is(run: Run) -> None:
    found = run("compare", "heron", "otter", "--weight", "reach_m=3", "--weight", "parts=0", "--json").json
    assert sum(found["decision"]["weights"].values()) == pytest.approx(1)
    assert found["decision"]["weights"]["parts"] == 0
    said = run("compare", "heron", "otter", "--weight", "reach_m=3").out
    assert "hit chance from" in said
    assert "has a weight of" in said or "no change of a single weight" in said
    for flip in found["decision"]["flips"]:
        assert flip["weight"] != flip["weight_then"]


def test_comparing_names_a_winner_and_what_would_change_it(run: Run) -> None:
    found = run("compare", "heron", "otter", "--json").json
    assert [mechanism["name"] for mechanism in found["mechanisms"]] == ["heron", "otter"]
    assert found["decision"]["winner"] in ("heron", "otter")
    said = run("compare", "heron", "otter", "--weight", "reach_m=1", "--distance", "1.5 m", "--distance", "2 m").out
    assert "wins" in said


def test_a_table_is_the_same_in_every_format(run: Run) -> None:
    argv = ("table", "heron", "--from", "1.5 m", "--to", "2 m", "--step", "25 cm")
    rows = run(*argv, "--format", "json").json["rows"]
    assert [row["distance_m"] for row in rows] == [1.5, 1.75, 2.0]
    assert all(row.keys() >= {"distance_m", "setpoint", "low", "high", "hit_probability"} for row in rows)
    assert run(*argv, "--json").json["rows"] == rows
    listed = list(csv.DictReader(io.StringIO(run(*argv, "--format", "csv").out)))
    assert [float(row["distance_m"]) for row in listed] == [1.5, 1.75, 2.0]
    said = run(*argv).out
    assert all(f"{row['setpoint']:.0f}" in said for row in rows)
    aim = run("aim", "heron", "--distance", "1.75 m", "--json").json
    assert aim["setpoint"]["value"] == rows[1]["setpoint"]


def test_a_table_reaches_past_what_can_be_reached(run: Run) -> None:
    rows = run("table", "heron", "--from", "2 m", "--to", "42 m", "--step", "40 m", "--format", "json").json["rows"]
    assert rows[0]["setpoint"] is not None
    assert rows[1] == {"distance_m": 42.0, "setpoint": None, "low": None, "high": None, "hit_probability": None}


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("size", "heron", "--teeth", "many"), "numbers of teeth"),
        (("size", "heron", "--if", "grip"), "KEY=VALUE"),
        (("size", "heron", "--if", "launcher.wheel_diamter=110 mm"), "wheel_diameter"),
        (("size", "heron", "--if", "launcher.wheel_diameter=110"), "launcher.wheel_diameter"),
        (("compare", "heron"), "at least two"),
        (("compare", "heron", "heron"), "different names"),
        (("compare", "heron", "otter", "--weight", "rech=1"), "reach_m"),
        (("compare", "heron", "otter", "--weight", "reach_m"), "NAME=NUMBER"),
        (("compare", "heron", "otter", "--weight", "reach_m=-1"), "reach_m"),
        (("compare", "heron", "otter", "--distance", "2"), 'write "2 m"'),
        (("table", "heron", "--from", "2", "--to", "3 m", "--step", "1 m"), 'write "2 m"'),
        (("table", "heron", "--from", "3 m", "--to", "2 m", "--step", "1 m"), "from <= to"),
        (("table", "heron", "--from", "1 m", "--to", "2 m", "--step", "1 um"), "rows"),
        (("table", "heron", "--from", "1 m", "--to", "2 m", "--step", "1 m", "--format", "xml"), "text, csv, json"),
    ],
)
def test_wrong_input_is_told(fails: Fails, argv: tuple[str, ...], words: str) -> None:
    assert words in fails(*argv)


def test_source_for_a_robot_program_gives_the_tables_setpoints(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "setpoints.py"
    argv = ("table", "heron", "--from", "1.5 m", "--to", "3 m", "--step", "50 cm")
    assert run(*argv, "--format", "python", "--out", str(file)).code == 0
    program: dict[str, Any] = {}
    exec(compile(file.read_text(), str(file), "exec"), program)
    (setpoint,) = (value for name, value in program.items() if callable(value) and name == "setpoint")
    for row in run(*argv, "--format", "json").json["rows"]:
        assert setpoint(row["distance_m"]) == pytest.approx(row["setpoint"], abs=10.0)  # the step, and half of one


def test_an_output_file_is_kept_unless_forced(run: Run, fails: Fails, tmp_path: Path) -> None:
    file = tmp_path / "table.csv"
    file.write_text("mine")
    argv = (
        "table",
        "heron",
        "--from",
        "1.5 m",
        "--to",
        "2 m",
        "--step",
        "25 cm",
        "--format",
        "csv",
        "--out",
        str(file),
    )
    assert "--force" in fails(*argv)
    assert file.read_text() == "mine"
    assert run(*argv, "--force").code == 0
    assert file.read_text().startswith("distance_m,")
    assert "can't be written" in fails(*argv[:-1], str(tmp_path / "gone" / "table.csv"))


@pytest.mark.parametrize("robot", ["heron", "otter", "crane"])
def test_what_can_hurt_stands_beside_its_number_in_check_and_aim(run: Run, robot: str) -> None:
    checked = run("check", robot, "--json").json
    assert any("eye protection" in line and "m/s" in line for line in checked["cautions"])
    assert "qualified supervision" in run("check", robot).out
    said = run("aim", robot, "--distance", "2 m").out
    assert re.search(r"energy +[\d.]+ J: eye protection on", said)
    energy = run("size", robot, "--json").json["element_energy_j"]
    assert 0 < energy < 50


def test_a_wheel_beyond_what_is_stated_for_it_is_said_where_the_setpoint_is(run: Run, tmp_path: Path) -> None:
    profile = tmp_path / "weak.toml"
    text = (Path(fieldtune.__file__).parents[1] / "profiles" / "heron.toml").read_text(encoding="utf-8")
    profile.write_text(text.replace("wheels = 2", 'wheels = 2\nwheel_top_speed = "1200 rpm"'), encoding="utf-8")
    cautions = run("aim", str(profile), "--distance", "2.6 m", "--json").json["cautions"]
    assert any("beyond what is stated" in line for line in cautions)
    assert "beyond what is stated" in run("size", str(profile)).out


def test_voltages_in_the_log_that_the_chemistry_cannot_rest_at_are_a_warning_of_check(run: Run) -> None:
    run("shot", "otter", "--distance", "1.8 m", "--setpoint", "33 mm", "--result", "in", "--battery", "12.2 V")
    assert "in the log" not in run("check", "otter").out
    run("shot", "otter", "--distance", "1.8 m", "--setpoint", "33 mm", "--result", "in", "--battery", "13.1 V")
    (line,) = [line for line in run("check", "otter").out.splitlines() if "in the log" in line]
    assert line.startswith("warning: battery.chemistry: in the log, 13.1 V is more than 3 li-ion cells")


def test_holding_current_is_learned_from_a_recording(run: Run, fails: Fails, tmp_path: Path) -> None:
    """Bearings that take 0.02 N m, by the motor's equivalent circuit (Fitzgerald, Electric Machinery, section 7.6)."""
    drive = fieldtune.load_robot("heron").drive
    assert drive is not None
    constant = drive.stall_torque / (drive.stall_current - drive.no_load_current)
    ohm = drive.nominal_voltage / drive.stall_current
    amps = drive.no_load_current + 0.02 / (drive.motors * drive.reduction * drive.efficiency * constant)
    back = (drive.nominal_voltage - drive.no_load_current * ohm) / drive.no_load_speed * drive.reduction * 0.10471976
    lines = []
    for k in range(900):
        rpm = (1300, 1500, 1700)[k // 300]
        share = (back * rpm + amps * ohm) / 12.0
        lines.append(f"t_ms={10 * k},wheel_rpm={rpm},setpoint={rpm},power_pct={100 * share:.3f},battery_mv=12000\n")
    file = tmp_path / "wheel.txt"
    file.write_text("".join(lines))
    before = run("size", "heron", "--json").json
    found = run("size", "heron", "--recording", file, "--json").json
    assert found["no_load_torque_nm"] == pytest.approx(0.02, rel=0.02)
    assert found["hold_current_a"] > before["hold_current_a"]
    response = run("response", "heron", "--recording", file, "--json").json
    assert response["hold_current_a"] == pytest.approx(
        drive.motors * amps * (back * 1700 + amps * ohm) / 12.0, rel=0.01
    )
    assert "no_load_torque = " in run("size", "heron", "--recording", file).out
    file.write_text("".join(line.replace("power_pct", "x") for line in lines))
    assert "power_pct" in fails("size", "heron", "--recording", file)
