"""Commands that help before and beyond the setpoint: keys of the JSON, words, and mistakes in one line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


def test_budget_has_its_keys_and_says_what_to_mend_first(run: Run) -> None:
    found = run("budget", "heron", "--spot", "far line", "--json").json
    assert found.keys() >= {"robot", "spots", "mend_first", "advice"}
    (spot,) = found["spots"]
    assert (spot["distance_m"], spot["spot"]) == (3.2, "far line")
    assert spot["hit_probability"] == run("aim", "heron", "--spot", "far line", "--json").json["hit_probability"]
    for cause in spot["causes"]:
        assert cause.keys() == {"cause", "miss_m", "share", "without", "halved"}
    assert sum(cause["share"] or 0 for cause in spot["causes"]) == pytest.approx(1, abs=0.01)
    assert [c["miss_m"] for c in spot["causes"] if c["cause"] == "hold error"] == [None]
    said = run("budget", "heron").out
    assert found["mend_first"] in said
    assert all(name in said for name in ("quay edge", "near line", "mid field", "far line", "hold error not measured"))


def test_budget_where_nothing_scores(run: Run) -> None:
    ran = run("budget", "heron", "--distance", "9 m", "--json")
    assert ran.code == 1
    assert ran.err.startswith("fieldtune: 9.00 m is too far")
    assert ran.json["spots"][0]["hit_probability"] is None
    assert ran.json["spots"][0]["causes"] == []


def test_budget_refuses_in_one_line(fails: Callable[..., str]) -> None:
    assert "no spot of that name" in fails("budget", "heron", "--spot", "moon")
    assert "share of the setpoint" in fails("budget", "heron", "--hold", "90 %")


def test_angle_has_its_keys_and_names_the_best(run: Run) -> None:
    found = run("angle", "heron", "--from", "48 deg", "--to", "56 deg", "--step", "4 deg", "--json").json
    assert found.keys() >= {"robot", "angles", "best", "best_worst", "flat", "now"}
    assert [row["exit_angle_deg"] for row in found["angles"]] == [48, 52, 56]
    for row in found["angles"]:
        assert row.keys() == {"exit_angle_deg", "mean", "worst", "spots"}
        assert [spot["spot"] for spot in row["spots"]] == ["quay edge", "near line", "mid field", "far line"]
    said = run("angle", "heron", "--from", "48 deg", "--to", "56 deg", "--step", "4 deg").out
    assert f"best at {found['best']:g} deg" in said
    assert "the best may lie beyond" in said


def test_angle_refuses_in_one_line(fails: Callable[..., str]) -> None:
    assert "larger one" in fails("angle", "heron", "--from", "60 deg", "--to", "40 deg")
    assert "needs its unit" in fails("angle", "heron", "--from", "40", "--to", "60 deg")
    assert "--to" in fails("angle", "heron", "--from", "40 deg")


def test_hits_has_its_keys(run: Run, fails: Callable[..., str]) -> None:
    assert run("hits", "heron").out == "heron: no shots yet\n"
    for result in ("in", "in", "short"):
        run("shot", "heron", "--spot", "near line", "--setpoint", "1460", "--result", result)
    found = run("hits", "heron", "--json").json
    (group,) = found["groups"]
    assert group.keys() == {"name", "tried", "hits", "share", "low", "high"}
    assert (group["name"], group["tried"], group["hits"]) == ("near line", 3, 2)
    assert group["share"] == pytest.approx(2 / 3)
    said = run("hits", "heron", "--by", "battery").out
    assert "95 % interval" in said
    assert "67 %" in said
    assert "battery" in fails("hits", "heron", "--by", "moon")


def test_response_has_its_keys(run: Run, fails: Callable[..., str], tmp_path: Path) -> None:
    file, rpm, lines = tmp_path / "wheel.txt", 0.0, []
    for k in range(900):
        wanted = 0 if k < 50 else (1300, 1500, 1700)[(k - 50) // 284]
        rpm += (wanted - rpm) * 0.01 / 0.15
        lines.append(f"t_ms={10 * k},wheel_rpm={rpm:.1f},setpoint={wanted},power_pct={rpm / 30:.2f},battery_mv=9600\n")
    file.write_text("".join(lines))
    found = run("response", "heron", "--recording", file, "--json").json
    assert found.keys() >= {
        "static_offset_pct", "speed_slope_pct_per_rpm", "time_constant_s", "overshoot_rpm", "settling_s",
        "steady_error_rpm", "ripple_rpm", "no_load_torque_nm", "spread", "verdict",
    }  # fmt: skip
    assert found["verdict"]["good_enough"] is True
    assert found["spread"]["time_constant_s"] > 0
    said = run("response", "heron", "--recording", file).out
    assert said.startswith("good enough")
    assert "time constant" in said
    assert "no such file" in fails("response", "heron", "--recording", tmp_path / "none")
    assert "no wheel" in fails("response", "otter", "--recording", file)


def test_aim_on_the_move_and_from_a_pose(run: Run, fails: Callable[..., str], tmp_path: Path) -> None:
    still = run("aim", "heron", "--distance", "2 m", "--json").json
    assert still["turn_deg"] is None
    moving = run("aim", "heron", "--distance", "2 m", "--moving", "0.6 m/s", "--sideways", "-0.3 m/s", "--json").json
    assert moving["turn_deg"] > 2
    assert moving["setpoint"]["value"] < still["setpoint"]["value"]
    assert "to the right" in run("aim", "heron", "--distance", "2 m", "--sideways", "-0.3 m/s").out
    assert "position" in fails("aim", "heron", "--at", "1.2 m, 0 m", "--facing", "10 deg")
    assert "with a comma" in fails("aim", "heron", "--at", "1.2 m")
    assert "--at" in fails("aim", "heron", "--at", "1.2, 3 m")
    assert "--at" in fails("aim", "heron", "--distance", "2 m", "--facing", "10 deg")
    assert "no turn can lead" in fails("aim", "heron", "--distance", "2 m", "--sideways", "5 m/s")
