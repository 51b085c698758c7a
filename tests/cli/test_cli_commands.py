"""The commands on a demonstration robot: keys of the JSON, plain text, and what they leave behind."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]

AIM_KEYS = {
    "robot", "distance_m", "setpoint", "hit_probability", "hit_probability_90", "exit_speed_mps", "exit_angle_deg",
    "entry_angle_deg", "apex_m", "time_s", "reachable", "ceiling", "shots_used", "epoch", "cautions", "sensitivity",
}  # fmt: skip
SHOT_KEYS = {
    "shot", "time", "distance_m", "setpoint", "result", "miss_m", "speed", "battery_v", "epoch", "undone",
}  # fmt: skip
SHOT = ("shot", "heron", "--distance", "1.8 m", "--setpoint", "1440 rpm")


def test_aim_has_its_keys_and_says_the_same_in_words(run: Run) -> None:
    found = run("aim", "heron", "--distance", "1.8 m", "--json").json
    assert found.keys() >= AIM_KEYS
    assert found["setpoint"].keys() == {"value", "unit", "low", "high"}
    assert found["sensitivity"].keys() == {
        "per_step_m", "per_degree_m", "per_volt_m", "per_cm_m", "per_10_degC_m",
    }  # fmt: skip
    assert found["setpoint"]["low"] <= found["setpoint"]["value"] <= found["setpoint"]["high"]
    low, high = found["hit_probability_90"]
    assert 0 <= low <= high <= 1
    assert (found["robot"], found["reachable"], found["shots_used"], found["epoch"]) == ("heron", True, 0, 1)
    said = run("aim", "heron", "--distance", "1.8 m").out
    assert f"{found['setpoint']['value']:.0f} rpm" in said
    assert "{" not in said


def test_aim_takes_feet_and_spots(run: Run) -> None:
    metres = run("aim", "heron", "--distance", "1.8288 m", "--json").json
    feet = run("aim", "heron", "--distance", "6 ft", "--json").json
    assert feet["setpoint"]["value"] == metres["setpoint"]["value"]
    from fieldtune import load_robot

    spot = load_robot("heron").spots[0]
    at = run("aim", "heron", "--spot", spot.name.upper(), "--json").json
    assert at["distance_m"] == pytest.approx(spot.distance)


def test_out_of_reach_is_an_answer_with_nulls(run: Run) -> None:
    ran = run("aim", "heron", "--distance", "60 m", "--json")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert ran.err.startswith("fieldtune: 60.00 m is too far")
    assert ran.json["reachable"] is False
    assert ran.json["setpoint"]["value"] is None
    assert ran.json["hit_probability"] is None
    assert ran.json["cautions"]
    assert "none works from here" in run("aim", "heron", "--distance", "60 m").out


def test_shots_are_confirmed_logged_and_taken_back(run: Run, home: Path) -> None:
    first = run(*SHOT, "--miss", "-25cm", "--speed", "1431 rpm", "--battery", "9.9 V", "--json").json
    assert first["shot"] == 1
    assert first["aim"].keys() >= AIM_KEYS
    assert first["aim"]["shots_used"] == 1
    assert run(*SHOT, "--result", "in", "--miss", "0.5 in", "--side=-2cm", "--json").json["shot"] == 2
    log = run("shots", "heron", "--json").json["shots"]
    assert all(shot.keys() >= SHOT_KEYS for shot in log)
    assert [shot["result"] for shot in log] == ["short", "in"]
    assert [shot["miss_m"] for shot in log] == pytest.approx([-0.25, 0.0127])
    assert (log[0]["speed"], log[0]["battery_v"], log[1]["speed"], log[1]["side_m"]) == (1431.0, 9.9, None, -0.02)
    assert run("undo", "heron", "--json").json == {
        "undone": {"act": "shot", "shot": 2, "epoch": 1}, "shot": 2,
    }  # fmt: skip
    assert [shot["undone"] for shot in run("shots", "heron", "--json").json["shots"]] == [False, True]
    assert {"heron.db", "heron.toml"} <= {path.name for path in home.iterdir()}
    assert "undone" in run("shots", "heron").out
    assert {row["name"]: row["shots"] for row in run("robots", "--json").json["robots"]}["heron"] == 1


def test_undo_with_nothing_to_take_back(run: Run, home: Path) -> None:
    ran = run("undo", "heron")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err == "fieldtune: heron: nothing to undo\n"
    assert not home.exists()


def test_a_shot_needs_no_result_beyond_its_miss_but_keeps_both(run: Run) -> None:
    run(*SHOT, "--result", "in", "--miss", "60 cm")
    shot = run("shots", "heron", "--json").json["shots"][0]
    assert (shot["result"], shot["miss_m"]) == ("in", 0.6)


def test_a_setpoint_may_be_the_bare_number_of_the_log(run: Run) -> None:
    run("shot", "heron", "--distance", "1.8 m", "--setpoint", "1440", "--result", "in", "--speed", "1434")
    shot = run("shots", "heron", "--json").json["shots"][0]
    assert (shot["setpoint"], shot["speed"]) == (1440.0, 1434.0)


def test_swap_numbers_the_epochs(run: Run) -> None:
    run(*SHOT, "--result", "in")
    assert run("swap", "heron", "--label", "pack B", "--json").json["epoch"] == 2
    assert run(*SHOT, "--result", "in", "--json").json["aim"]["epoch"] == 2
    assert [shot["epoch"] for shot in run("shots", "heron", "--json").json["shots"]] == [1, 2]


def test_exclude_and_include(run: Run) -> None:
    run(*SHOT, "--result", "in")
    assert run("exclude", "heron", "--shot", "1", "--reason", "bounced").code == 0
    assert run("aim", "heron", "--distance", "1.8 m", "--json").json["shots_used"] == 0
    assert "left out: bounced" in run("shots", "heron").out
    assert run("include", "heron", "--shot", "1").code == 0
    assert run("aim", "heron", "--distance", "1.8 m", "--json").json["shots_used"] == 1


def test_stand_lists_where_a_setpoint_scores(run: Run) -> None:
    value = run("aim", "heron", "--distance", "1.8 m", "--json").json["setpoint"]["value"]
    spots = run("stand", "heron", "--setpoint", f"{value} rpm", "--json").json["spots"]
    assert all(spot.keys() >= {"distance_m", "low_m", "high_m", "hit_probability"} for spot in spots)
    assert any(spot["low_m"] - 0.2 <= 1.8 <= spot["high_m"] + 0.2 for spot in spots)


def test_next_says_where_and_why(run: Run) -> None:
    found = run("next", "heron", "--json").json
    assert found.keys() >= {"distance_m", "setpoint", "gain"}
    assert run("next", "heron").out.count("\n") == 2


def test_learned_and_batteries_have_words_before_the_first_shot(run: Run) -> None:
    assert run("learned", "heron", "--json").json["shots_used"] == 0
    assert "0 shots used" in run("learned", "heron").out
    assert run("batteries", "heron", "--json").json == {"batteries": []}


def test_robots_lists_a_broken_profile_beside_the_others(run: Run, home: Path) -> None:
    from fieldtune.robot import demo_home

    home.mkdir()
    (home / "heron.toml").write_bytes((demo_home() / "heron.toml").read_bytes())
    (home / "skua.toml").write_text("format = 1\n")
    robots = {row["name"]: row for row in run("robots", "--json").json["robots"]}
    assert robots["heron"].keys() >= {"name", "title", "launcher", "shots"}
    assert (robots["heron"]["launcher"], robots["heron"]["shots"]) == ("flywheel", 0)
    assert robots["skua"]["launcher"] is None
    assert "skua.toml" in robots["skua"]["problem"]
    (home / "Sea Gull.toml").write_text("")
    (home / "heron.db").write_bytes(b"scribble" * 1000)
    ran = run("robots")
    assert "Sea Gull.toml: is left out" in ran.out
    assert "heron.db: not a readable shot log" in ran.out
    assert "demonstration" not in ran.out
    assert "demonstration robots" in run("robots", "--profiles", str(home / "none")).out


def test_check_tells_problems_by_key(run: Run, home: Path) -> None:
    from fieldtune.robot import demo_home

    good = (demo_home() / "heron.toml").read_text()
    home.mkdir()
    bad = home / "heron.toml"
    bad.write_text(good.replace('mass = "40 g"', 'mass = "40 mm"').replace("wheels = 2", "wheels = 3"))
    ran = run("check", str(bad), "--json")
    assert ran.code == 2
    assert ran.json["ok"] is False
    assert {"element.mass", "launcher.wheels"} <= {problem["key"] for problem in ran.json["problems"]}
    assert ran.err.count("\n") == 1
    bad.write_text(good)
    ran = run("check", "heron", "--json")
    assert (ran.code, ran.json["ok"], ran.err) == (0, True, "")
    near, far = ran.json["derived"]["scores_m"]["basket"]
    # the scan behind it has 240 distances, 2.7 cm apart
    for distance, code in ((near - 0.03, 1), (near + 0.02, 0), (far - 0.02, 0), (far + 0.1, 1)):
        assert run("aim", "heron", "--distance", f"{distance} m").code == code
    bad.write_text(good.replace('height = "95 cm"', 'height = "9 m"'))
    ran = run("check", "heron", "--json")
    assert (ran.code, ran.json["derived"]["scores_m"]) == (0, {"basket": None})
    assert [problem["key"] for problem in ran.json["problems"]][-1] == "target"
    bad.write_bytes(good.replace("Heron", "H\u00e9ron").encode("latin-1"))
    ran = run("check", "heron", "--json")
    assert (ran.code, ran.json["ok"], ran.json["problems"][0]["key"]) == (2, False, "line 1")
    assert "UTF-8" in ran.json["problems"][0]["message"]
    bad.write_text(good)
    assert "exit speed" in run("check", str(bad)).out


@pytest.mark.parametrize("kind", ["flywheel", "striker", "arm"])
def test_a_new_profile_passes_its_own_check_and_is_never_written_over(run: Run, home: Path, kind: str) -> None:
    assert run("new", "skua", "--kind", kind).code == 0
    written = (home / "skua.toml").read_text()
    assert run("check", "skua", "--json").json["ok"] is True
    (home / "skua.toml").write_text(written + "# mine\n")
    ran = run("new", "skua", "--kind", kind)
    assert ran.code == 2
    assert "--force" in ran.err
    assert (home / "skua.toml").read_text().endswith("# mine\n")
    assert run("new", "skua", "--kind", kind, "--force").code == 0


def test_text_of_a_profile_cannot_steer_the_terminal(run: Run, home: Path) -> None:
    from fieldtune.robot import demo_home

    home.mkdir()
    text = (demo_home() / "heron.toml").read_text()
    (home / "heron.toml").write_text(text.replace('title = "Heron', r'title = "\u001b[2JHeron'))
    assert "\x1b" not in run("robots").out
    assert "\x1b" not in run("check", "heron").out
