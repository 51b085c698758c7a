"""A table of wrong profiles, each with the one line that a person gets to read."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldtune.errors import ProfileError
from fieldtune.robot import check_profile, demo_home, load_profile, load_robot

TEXTS = {name: (demo_home() / f"{name}.toml").read_text("utf-8") for name in ("heron", "otter", "crane")}
MASS = 'expected a mass, such as "40 g"'
GEARS = "expected pairs of teeth [driving, driven], motor first, such as [[20, 30], [18, 36]]"

# robot, key whose line is replaced, what stands there instead, the line of words behind the file's name
WRONG = [
    (
        "heron",
        "exit_angle",
        'exit_angle = "-5 deg"',
        "target.height: found 0.95 m; expected less than exit_height, 0.38 m, since the element leaves at -5 deg",
    ),
    (
        "otter",
        "slope",
        'slope = "-20 deg"',
        "floor.slope: found -20 deg; expected less than 12.4 deg down: with this friction nothing stops",
    ),
    ("heron", "mass", "mass = 40", f"element.mass: found 40 without a unit; {MASS}"),
    ("heron", "mass", 'mass = "40"', f'element.mass: found "40" without a unit; {MASS}'),
    ("heron", "mass", 'mass = "40 mm"', f'element.mass: found "40 mm", a length; {MASS}'),
    ("heron", "mass", "mass = true", f"element.mass: found true; {MASS}"),
    ("heron", "mass", "mass = inf", f"element.mass: found inf without a unit; {MASS}"),
    ("heron", "mass", 'mass = "1e400 g"', f'element.mass: found "1e400 g", which is no finite number; {MASS}'),
    ("heron", "mass", 'mass = "0 g"', 'element.mass: found "0 g"; expected more than zero'),
    ("heron", "mass", 'mass = "-40 g"', 'element.mass: found "-40 g"; expected more than zero'),
    ("heron", "mass", 'mass = "40 kg"', 'element.mass: found "40 kg"; expected at most 20 kg'),
    (
        "heron",
        "mass",
        'mass = "5 kg"',
        'element.mass: found "5 kg", 48.9 g/cm^3 with this size, denser than any metal; expected less, '
        "or a larger size",
    ),
    ("heron", "mass", "", f"element.mass: missing; {MASS}"),
    (
        "heron",
        "mass",
        'mas = "40 g"',
        'element.mas: unknown key (did you mean "mass"?) (+1 more, run: fieldtune check FILE)',
    ),
    (
        "heron",
        "mass",
        "mass = 40 g",
        "10: not TOML: expected newline or end of document after a statement; text and quantities stand in quotes, "
        'such as "58 mm"',
    ),
    ("heron", "format", "format = 2", "format: found 2; expected 1, the format this program reads"),
    ("heron", "title", "title = 5", "title: found 5; expected text in quotes"),
    (
        "heron",
        "shape",
        'shape = "spere"',
        'element.shape: found "spere"; expected sphere, disc or block (did you mean "sphere"?)',
    ),
    (
        "heron",
        "exit_angle",
        'exit_angle = "90 deg"',
        'launcher.exit_angle: found "90 deg"; expected an exit between -89 and 89 deg: straight up, the element falls '
        "back on the robot",
    ),
    (
        "otter",
        "exit_angle",
        'exit_angle = "-90 deg"',
        'launcher.exit_angle: found "-90 deg"; expected an exit between -89 and 89 deg: straight down, it goes nowhere',
    ),
    (
        "otter",
        "slope",
        'slope = "60 deg"',
        'floor.slope: found "60 deg"; expected at most 45 deg',
    ),
    (
        "heron",
        "exit_angle",
        "",
        'launcher.exit_angle: missing; expected an angle, such as "52 deg"',
    ),
    ("heron", "wheels", "wheels = 3", "launcher.wheels: found 3; expected 1 or 2"),
    ("heron", "wheels", "wheels = true", "launcher.wheels: found true; expected 1 or 2"),
    (
        "heron",
        "wheels",
        'wheels = 2\ndraw_max = "5 cm"',
        "launcher.draw_max: does not belong to a launcher of kind flywheel but to a striker or an arm",
    ),
    (
        "heron",
        "grip",
        "grip = 1.3",
        "launcher.grip: found 1.3; expected at most 1.2 (exit speed over ideal rolling speed)",
    ),
    (
        "heron",
        "wheel_inertia",
        'wheel_inertia = "1 kg m^2"',
        'launcher.wheel_inertia: found "1 kg m^2", 492 times a solid steel wheel\'s; expected less, check the unit',
    ),
    (
        "heron",
        "opening",
        'opening = "5 cm"',
        'target.opening: found "5 cm" for an element of 58 mm; expected more than that',
    ),
    (
        "heron",
        "clearance",
        'clearance = "17 cm"',
        'target.opening: found "36 cm", less 170 mm clearance a side, for an element of 58 mm; expected more than that',
    ),
    (
        "heron",
        "height",
        'height = "-1 m"',
        'target.height: found "-1 m"; expected at least zero (height above the floor)',
    ),
    ("heron", "low", 'low = "2700 rpm"', "setpoint.low: found 2700 rpm; expected less than high, 2500 rpm"),
    (
        "heron",
        "low",
        'low = "40 %"',
        'setpoint.low: found "40 %", a share; expected a speed of rotation, such as "2450 rpm"',
    ),
    ("heron", "gears", "gears = [[18, 0]]", f"drive.gears: found [18, 0]; {GEARS}"),
    ("heron", "gears", 'gears = "2:1"', f'drive.gears: found "2:1"; {GEARS}'),
    ("heron", "no_load_current", 'no_load_current = "12 A"',
     'drive.no_load_current: found "12 A"; expected less than stall_current, 9.5 A'),
    ("heron", "no_load_speed", 'free_speed = "6100 rpm"',
     "drive.free_speed: this key is now called no_load_speed; rename it"),
    ("heron", "no_load_current", 'free_current = "0.5 A"',
     "drive.free_current: this key is now called no_load_current; rename it"),
    ("heron", "cells", 'cells = "8"', 'battery.cells: found "8"; expected a whole number, 1 to 100'),
    ("heron", "bits", "bits = 4", "encoder.bits: found 4; expected a whole number, 8 to 64"),
    ("heron", "humidity", 'humidity = "145 %"', 'air.humidity: found "145 %"; expected at most 100 %'),
    (
        "heron",
        "temperature",
        'temperature = "22 deg"',
        'air.temperature: found "22 deg", an angle; expected a temperature, such as "24 degC"',
    ),
    ("heron", "baud", "baud = true", 'link.baud: found true; expected "auto" or a whole number such as 115200'),
    (
        "heron",
        "checksum",
        'checksum = "auto"\n[link.fields]\nwheel_count = "enc"',
        'link.fields.wheel_count: unknown key (did you mean "wheel_counts"?)',
    ),
    (
        "heron",
        "checksum",
        'checksum = "auto"\n[link.columns]\norder = ["t_ms", "wheel_rp"]',
        'link.columns.order: found "wheel_rp"; expected names of fields, "-" for a column to skip, such as '
        '["t_ms", "wheel_counts", "-"] (did you mean "wheel_rpm"?)',
    ),
    (
        "otter",
        "draw_min",
        'draw_min = "60 mm"',
        'launcher.draw_min: found "60 mm"; expected less than draw_max, "52 mm"',
    ),
    (
        "otter",
        "draw_max",
        'draw_max = "95 mm"',
        'launcher.draw_max: found "95 mm"; expected at most 89 mm (the spring is solid there)',
    ),
    (
        "otter",
        "preload",
        'preload = "4 kg"',
        'launcher.preload: found "4 kg", a mass (for a force write kgf); expected a force, such as "6 N"',
    ),
    ("otter", "restitution", "restitution = 1.6", "launcher.restitution: found 1.6; expected at most 1"),
    ("otter", "friction", "friction = 0", "floor.friction: found 0; expected more than zero"),
    (
        "otter",
        "opening",
        'opening = "40 cm"',
        'target.opening: found "40 cm"; expected [depth, width], such as ["40 cm", "50 cm"]',
    ),
    (
        "crane",
        "spring_rate",
        'spring_rate = "20 N/m"\ntorque = "2 N m"',
        "launcher.spring_rate: found spring_rate and torque; expected either spring_rate or torque, "
        "what drives the arm",
    ),
    (
        "crane",
        "draw_max",
        'draw_max = "2.5 m"',
        "launcher.draw_max: found \"2.5 m\"; expected at most 2094 mm (300 deg of swing, along the tip's arc)",
    ),
]  # fmt: skip


def changed(robot: str, key: str, line: str) -> str:
    """The robot's text with the first line of a key replaced."""
    text, count = re.subn(rf"(?m)^{key} = .*$", lambda _: line, TEXTS[robot], count=1)
    assert count == 1
    return text


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(("robot", "key", "line", "words"), WRONG, ids=lambda v: str(v)[:30])
def test_a_wrong_profile_gets_one_exact_line(tmp_path: Path, robot: str, key: str, line: str, words: str) -> None:
    path = written(tmp_path, robot, changed(robot, key, line))
    with pytest.raises(ProfileError) as caught:
        load_robot(path)
    separator = ":" if words[0].isdigit() else ": "
    assert str(caught.value) == f"{path}{separator}{words}".replace("FILE", str(path))


def test_every_problem_of_a_file_is_found_at_once(tmp_path: Path) -> None:
    text = changed("heron", "mass", "mass = 40").replace("grip = 0.76", "grip = 76").replace("cells = 8", "cells = 0")
    problems = check_profile(written(tmp_path, "heron", text))
    assert [p.key for p in problems if p.severity == "error"] == ["battery.cells", "element.mass", "launcher.grip"]


def test_the_first_line_counts_the_others(tmp_path: Path) -> None:
    text = changed("heron", "mass", "mass = 40").replace("grip = 0.76", "grip = 76").replace("cells = 8", "cells = 0")
    path = written(tmp_path, "heron", text)
    with pytest.raises(ProfileError, match=re.escape(f"(+2 more, run: fieldtune check {path})")):
        load_profile(path)


DOUBTFUL = [
    ("otter", "high", 'high = "60 mm"', "setpoint.high"),
    ("heron", "low", 'low = "0 rpm"', "setpoint.low"),
    ("otter", "exit_height", 'exit_height = "20 cm"', "floor.restitution"),
    ("otter", "exit_angle", 'exit_angle = "30 deg"', "floor.restitution"),
    ("otter", "slope", 'slope = "20 deg"', "floor.slope"),
    ("heron", "grip", "grip = 1.1", "launcher.grip"),
    ("heron", "grip", "", "launcher.grip"),
    ("heron", "exit_angle", 'exit_angle = "87 deg"', "launcher.exit_angle"),
    ("heron", "exit_height", 'exit_height = "2 cm"', "launcher.exit_height"),
    ("heron", "wheel_inertia", 'wheel_inertia = "180 g mm^2"', "launcher.wheel_inertia"),
    ("heron", "stall_torque", 'stall_torque = "0.36 N m"', "drive.stall_torque"),
    ("heron", "chemistry", 'chemistry = "unobtainium"', "battery.chemistry"),
    ("heron", "cells", "cells = 3", "battery.cells"),
    ("heron", "high", 'high = "9000 rpm"', "setpoint.high"),
    ("heron", "title", 'title = "a\\u001b[31mb"', "title"),
    ("heron", "format", "", "format"),
    ("heron", "side_scatter", 'side_scatter = "0 deg"', "uncertainty.side_scatter"),
    ("otter", "spring_rate", 'spring_rate = "2 N/mm"', "launcher.spring_rate"),
    ("otter", "friction", "", "floor.friction"),
    ("crane", "release_angle", 'release_angle = "45 deg"\nexit_angle = "70 deg"', "launcher.exit_angle"),
]


@pytest.mark.parametrize(("robot", "key", "line", "place"), DOUBTFUL, ids=lambda v: str(v)[:30])
def test_a_doubtful_profile_is_used_with_a_warning(tmp_path: Path, robot: str, key: str, line: str, place: str) -> None:
    path = written(tmp_path, robot, changed(robot, key, line))
    assert place in [where for where, _ in load_robot(path).warnings]
    assert [p.key for p in check_profile(path)] == [where for where, _ in load_robot(path).warnings]


def test_text_that_is_no_toml_names_file_and_line(tmp_path: Path) -> None:
    path = written(tmp_path, "heron", "format = 1\n[element\n")
    with pytest.raises(ProfileError, match=re.escape(f"{path}:2: not TOML: ")):
        load_profile(path)
    (problem,) = check_profile(path)
    assert (problem.key, problem.severity) == ("line 2", "error")


def test_a_file_that_is_no_text_or_not_there(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    with pytest.raises(ProfileError, match=re.escape(f"{path}: no such file")):
        load_robot(path)
    path.write_bytes(b"format = 1\ntitle = '\xff\xfe'\n")
    with pytest.raises(ProfileError, match=re.escape(f"{path}:2: is not UTF-8 text")):
        load_robot(path)
    with pytest.raises(ProfileError, match="is a folder"):
        load_robot(tmp_path)
    with pytest.raises(ProfileError, match="can't be read"):
        load_robot(f"{tmp_path}/a\0b.toml")


@pytest.mark.parametrize("name", ["Heron", "my_robot", "-heron", "x" * 33, "héron"])
def test_a_file_whose_name_is_no_robots_name(tmp_path: Path, name: str) -> None:
    with pytest.raises(ProfileError, match=r"file name: found .* expected a robot's name"):
        load_robot(written(tmp_path, name, TEXTS["heron"]))


SCRAPS = st.one_of(
    st.text(max_size=12).map(lambda text: '"' + text.replace("\\", "").replace('"', "") + '"'),
    st.sampled_from(['"5 mm"', '"-1 kg"', '"0 m"', "true", "[]", "[[]]", "{}", "1e300", "-0.0", "nan", "2020-01-01"]),
    st.integers().map(str),
    st.floats().map(repr),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=150)
@given(st.data(), st.sampled_from(sorted(TEXTS)), SCRAPS)
def test_no_value_anywhere_ends_in_anything_but_a_line_of_words(
    tmp_path: Path, data: st.DataObject, robot: str, scrap: str
) -> None:
    lines = TEXTS[robot].splitlines()
    settable = [number for number, line in enumerate(lines) if re.match(r"\w+ = ", line)]
    number = data.draw(st.sampled_from(settable))
    key = lines[number].split(" = ")[0]
    lines[number] = f"{key} = {scrap}"
    path = written(tmp_path, robot, "\n".join(lines))
    words = complaint(path)
    assert words == "" or (words.startswith(str(path)) and words.isprintable())


def complaint(path: Path) -> str:
    try:
        load_robot(path)
    except ProfileError as fault:
        return str(fault)
    return ""


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
@given(st.data(), st.sampled_from(sorted(TEXTS)))
def test_a_misspelt_key_is_named_with_the_right_one(tmp_path: Path, data: st.DataObject, robot: str) -> None:
    lines = TEXTS[robot].splitlines()
    settable = [number for number, line in enumerate(lines) if re.match(r"\w{4,} = ", line)]
    number = data.draw(st.sampled_from(settable))
    key = lines[number].split(" = ")[0]
    place = data.draw(st.integers(1, len(key) - 1))
    lines[number] = key[:place] + key[place + 1 :] + lines[number][len(key) :]
    problems = check_profile(written(tmp_path, robot, "\n".join(lines)))
    unknown = [problem for problem in problems if problem.message.startswith("unknown key")]
    assert len(unknown) == 1
    assert f'"{key}"' in unknown[0].message
