"""The demonstration profiles in SI, what may be left out, and what stands in for it."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path

import pytest

from fieldtune.robot import check_profile, demo_home, derived_lines, load_robot, new_profile_text
from fieldtune.robot.derived import no_load_wheel_rpm
from fieldtune.robot.model import Robot
from fieldtune.robot.profile import read_values
from fieldtune.robot.table_reader import Problem, Section

DEMOS = ("crane", "egret", "heron", "otter")
FLYWHEEL = """
[element]
shape = "sphere"
diameter = "58 mm"
mass = "40 g"
[launcher]
kind = "flywheel"
exit_angle = "52 deg"
exit_height = "38 cm"
wheels = 2
wheel_diameter = "88 mm"
"""
STRIKER = """
[element]
shape = "disc"
diameter = "90 mm"
mass = "75 g"
[launcher]
kind = "striker"
spring_rate = "0.9 N/mm"
striker_mass = "120 g"
draw_max = "50 mm"
"""
ARM = """
[element]
shape = "block"
length = "60 mm"
width = "44 mm"
height = "36 mm"
mass = "38 g"
[launcher]
kind = "arm"
arm_length = "40 cm"
arm_inertia = "0.012 kg m^2"
release_angle = "40 deg"
exit_height = "70 cm"
torque = "2 N m"
draw_max = "60 cm"
"""
BASKET = '[target]\nkind = "basket"\nheight = "95 cm"\nopening = "36 cm"\n'
ZONE = '[target]\nkind = "zone"\nopening = ["40 cm", "50 cm"]\n'
WINDOW = '[target]\nkind = "window"\nheight = "1.1 m"\nopening = ["60 cm", "50 cm"]\n'


def read(folder: Path, text: str, name: str = "tern") -> Robot:
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return load_robot(path)


def test_heron_in_si() -> None:
    robot = load_robot(demo_home() / "heron.toml")
    assert (robot.name, robot.title) == ("heron", "Heron, practice build")
    assert robot.element.mass == pytest.approx(0.04)
    assert robot.launcher.exit_angle == pytest.approx(math.radians(52))
    wheel, drive, battery = robot.launcher.mechanism, robot.drive, robot.battery
    assert wheel is not None
    assert wheel.wheel_inertia == pytest.approx(1.8e-4)
    assert drive is not None
    assert drive.no_load_speed == pytest.approx(6100 * math.pi / 30)
    assert drive.reduction == pytest.approx(33 / 22 * 28 / 20)
    assert battery is not None
    assert battery.resistance == pytest.approx(0.09)
    assert battery.capacity_ah == pytest.approx(2.6)
    assert robot.air.temperature == pytest.approx(295.15)
    assert (robot.setpoint.unit, robot.setpoint.low, robot.setpoint.high, robot.setpoint.step) == ("rpm", 600, 2500, 10)
    assert robot.uncertainty.side_scatter == pytest.approx(math.radians(1.2))
    assert [spot.name for spot in robot.spots] == ["quay edge", "near line", "mid field", "far line"]


@pytest.mark.parametrize("name", DEMOS)
def test_demonstrations_are_without_a_doubt_and_say_that_they_are_invented(name: str) -> None:
    path = demo_home() / f"{name}.toml"
    assert check_profile(path) == ()
    assert "invented" in path.read_text("utf-8").split("[element]")[0]


@pytest.mark.parametrize("name", DEMOS)
def test_every_optional_table_may_be_left_out(tmp_path: Path, name: str) -> None:
    text = (demo_home() / f"{name}.toml").read_text("utf-8")
    tables = re.split(r"(?m)^(?=\[)", text)
    needed = ("[element]", "[launcher]", "[target")
    for place, table in enumerate(tables[1:], 1):
        if not table.startswith(needed):
            read(tmp_path, "".join(tables[:place] + tables[place + 1 :]))
    read(tmp_path, "".join(table for table in tables if table.startswith(needed)))


@pytest.mark.parametrize("name", DEMOS)
def test_every_line_may_be_left_out_or_is_missed_by_name(tmp_path: Path, name: str) -> None:
    lines = (demo_home() / f"{name}.toml").read_text("utf-8").splitlines()
    path = tmp_path / f"{name}.toml"
    for number, line in enumerate(lines):
        if key := re.match(r"(\w+) = ", line):
            path.write_text("\n".join(lines[:number] + lines[number + 1 :]), encoding="utf-8")
            errors = [problem for problem in check_profile(path) if problem.severity == "error"]
            missed = [problem for problem in errors if problem.key.endswith(f".{key[1]}")]
            assert len(missed) == len(errors)  # nothing else goes wrong with it


def test_the_least_flywheel_profile(tmp_path: Path) -> None:
    robot = read(tmp_path, FLYWHEEL + BASKET)
    assert (robot.title, robot.drive, robot.battery, robot.encoder) == ("Tern", None, None, None)
    assert robot.launcher.mechanism is not None
    assert robot.launcher.mechanism.wheel_inertia is None
    assert (robot.setpoint.unit, robot.setpoint.low, robot.setpoint.high) == ("rpm", 300, 6000)
    assert {key for key, _ in robot.warnings} == {"format", "launcher.grip", "launcher.wheel_inertia", "setpoint"}
    assert (robot.air.temperature, robot.air.pressure, robot.air.humidity) == (288.15, 101325, 0)  # ISO 2533 sea level


def test_the_least_striker_profile(tmp_path: Path) -> None:
    robot = read(tmp_path, "format = 1\n" + STRIKER + ZONE)
    striker = robot.launcher.mechanism
    assert striker is not None
    assert (striker.contact, striker.preload, striker.spring_mass, striker.restitution) == ("strike", 0, 0, 0.6)
    assert robot.element.height == pytest.approx(0.009)
    assert robot.launcher.exit_angle == 0
    assert robot.launcher.exit_height == pytest.approx(0.0045)
    assert striker.draw_min == pytest.approx(0.005)
    assert (robot.setpoint.unit, robot.setpoint.low, robot.setpoint.high) == ("mm", 5, 50)
    assert "floor.friction" in {key for key, _ in robot.warnings}


@pytest.mark.parametrize(
    ("surface", "spread"),
    [('"smooth"', 0.15), ('"felt"', 0.15), ('"dimpled"', 0.15), ('"felt"\ndrag = 0.5', 0.10)],
)
def test_drag_is_as_doubtful_as_its_surface(tmp_path: Path, surface: str, spread: float) -> None:
    """One list of spreads, tried against publications beside the laws; a coefficient that somebody gave is better."""
    text = FLYWHEEL.replace("[launcher]", f"surface = {surface}\n[launcher]")
    assert read(tmp_path, text + BASKET).uncertainty.drag == spread


def test_drag_of_a_disc_is_the_most_doubtful(tmp_path: Path) -> None:
    """Common practice: 30 % for a body that tumbles as it likes."""
    assert read(tmp_path, STRIKER + ZONE).uncertainty.drag == 0.3


def test_the_least_arm_profile(tmp_path: Path) -> None:
    robot = read(tmp_path, "format = 1\n" + ARM + WINDOW)
    arm = robot.launcher.mechanism
    assert arm is not None
    assert (arm.torque, arm.spring_rate) == (2.0, None)
    assert robot.launcher.exit_angle == pytest.approx(math.radians(50))
    assert (robot.setpoint.low, robot.setpoint.high) == (60, 600)


def test_an_arms_release_follows_from_its_exit_angle(tmp_path: Path) -> None:
    arm = read(tmp_path, ARM.replace("release_angle", "exit_angle") + WINDOW).launcher.mechanism
    assert arm is not None
    assert arm.release_angle == pytest.approx(math.radians(50))


def test_an_arms_spring_may_be_given_about_its_pivot_and_its_draw_as_a_swing(tmp_path: Path) -> None:
    text = ARM.replace('torque = "2 N m"', 'spring_rate = "3.2 N m/rad"').replace('"60 cm"', '"90 deg"')
    arm = read(tmp_path, text + WINDOW).launcher.mechanism
    assert arm is not None
    assert arm.spring_rate == pytest.approx(3.2 / 0.4**2)
    assert arm.draw_max == pytest.approx(0.4 * math.pi / 2)


def test_preload_as_a_force_or_as_a_squeezed_length(tmp_path: Path) -> None:
    for written, newtons in (("6 N", 6.0), ("10 mm", 9.0), ("1 lbf", 4.448222)):
        striker = read(tmp_path, f'{STRIKER}preload = "{written}"\n{ZONE}').launcher.mechanism
        assert striker is not None
        assert striker.preload == pytest.approx(newtons)


def test_a_springs_rate_from_its_wire(tmp_path: Path) -> None:
    """Budynas & Nisbett, Shigley's Mechanical Engineering Design, 10th ed., example 10-1: music wire of 0.037 in, mean
    coil 0.400 in (outside 7/16), 10.5 active turns, G 11.85 Mpsi: rate 4.13 lbf/in (from memory)."""
    wire = """[launcher.spring]
wire_diameter = "0.037 in"
coil_diameter = "0.400 in"
active_turns = 10.5
total_turns = 12.5
free_length = "5 in"
material = "music wire"
"""
    striker = read(tmp_path, STRIKER.replace('spring_rate = "0.9 N/mm"', "") + wire + ZONE).launcher.mechanism
    assert striker is not None
    assert striker.spring_rate / 175.1268 == pytest.approx(4.13, abs=0.03)  # shear modulus within 0.5 %


def test_open_loop_setpoints_are_shares_of_battery_voltage(tmp_path: Path) -> None:
    drive = """[drive]
control = "power"
nominal_voltage = "9.6 V"
no_load_speed = "6100 rpm"
stall_torque = "0.125 N m"
stall_current = "9.5 A"
"""
    setpoint = '[setpoint]\nlow = "20 %"\nhigh = "0.9"\n'
    robot = read(tmp_path, FLYWHEEL + BASKET + drive)
    assert (robot.setpoint.unit, robot.setpoint.low, robot.setpoint.high, robot.setpoint.step) == ("%", 10, 100, 1)
    assert read(tmp_path, FLYWHEEL + BASKET + drive + setpoint).setpoint.high == 90
    speed = read(tmp_path, FLYWHEEL + BASKET + drive.replace("power", "speed"))
    assert (speed.setpoint.low, speed.setpoint.high) == (610, 6100)


def test_setpoints_stay_within_the_draw_and_above_zero(tmp_path: Path) -> None:
    wide = read(tmp_path, f'{STRIKER}draw_min = "5 mm"\n{ZONE}[setpoint]\nlow = "1 mm"\nhigh = "80 mm"\n')
    assert (wide.setpoint.low, wide.setpoint.high) == (5, 50)
    zero = read(tmp_path, f'{FLYWHEEL}{BASKET}[setpoint]\nlow = "0 rpm"\nhigh = "3000 rpm"\nstep = "25 rpm"\n')
    assert zero.setpoint.low == 25


def test_nothing_is_known_exactly(tmp_path: Path) -> None:
    robot = read(tmp_path, f'{FLYWHEEL}{BASKET}[uncertainty]\ngrip = 0\ndistance = "0.0 cm"\nexit_angle = "0°"\n')
    unsure = robot.uncertainty
    assert unsure.grip == pytest.approx(0.001)
    assert unsure.distance == pytest.approx(1e-4)
    assert unsure.exit_angle == pytest.approx(math.radians(0.01))


def test_several_targets_keep_their_order_and_names(tmp_path: Path) -> None:
    text = FLYWHEEL + BASKET.replace("[target]", "[targets.zebra]") + BASKET.replace("[target]", '[targets."a b"]')
    robot = read(tmp_path, text)
    assert [target.name for target in robot.targets] == ["zebra", "a b"]


def test_chemistry_by_its_other_names_and_cells_from_the_voltage(tmp_path: Path) -> None:
    for word, chemistry, cells in (("NiMH", "nimh", 10), ("SLA", "lead-acid", 6), ("LiFePO4", "lifepo4", 4)):
        battery = read(
            tmp_path, f'{FLYWHEEL}{BASKET}[battery]\nchemistry = "{word}"\nnominal_voltage = "12 V"\n'
        ).battery
        assert battery is not None
        assert (battery.chemistry, battery.cells) == (chemistry, cells)


def test_titles_keep_quotes_signs_and_markup_as_text(tmp_path: Path) -> None:
    for title in ('say "hi"', "<script>alert(1)</script>", "🦦 [bold]otter[/]", "Kraken — Größe"):
        escaped = title.replace('"', '\\"')
        assert read(tmp_path, f'title = "{escaped}"\n{FLYWHEEL}{BASKET}').title == title


def test_both_systems_of_units_give_the_same_robot(tmp_path: Path) -> None:
    customary = FLYWHEEL.replace("58 mm", "2.283465 in").replace("40 g", "1.410958 oz").replace("38 cm", "1.246719 ft")
    one, other = read(tmp_path, FLYWHEEL + BASKET), read(tmp_path, customary + BASKET)
    assert one.element.mass == pytest.approx(other.element.mass)
    assert one.element.diameter == pytest.approx(other.element.diameter)
    assert one.launcher.exit_height == pytest.approx(other.launcher.exit_height)


@pytest.mark.parametrize("newline", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", ["\ufeff", ""])
def test_files_of_any_editor_are_read(tmp_path: Path, newline: str, mark: str) -> None:
    path = tmp_path / "tern.toml"
    path.write_bytes((mark + FLYWHEEL + BASKET).replace("\n", newline).encode())
    assert load_robot(path).name == "tern"


@pytest.mark.parametrize("kind", ["flywheel", "striker", "arm"])
def test_a_profile_to_start_from_is_without_a_doubt(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "my-robot.toml"
    path.write_text(new_profile_text("my-robot", kind), encoding="utf-8")
    assert check_profile(path) == ()
    robot = load_robot(path)
    assert (robot.launcher.kind, robot.title) == (kind, "My robot")
    settable = [line for line in path.read_text("utf-8").splitlines() if re.match(r"(mass|diameter|\w+_rate) = ", line)]
    assert all("#" in line for line in settable)


def test_derived_figures_of_heron() -> None:
    robot = load_robot(demo_home() / "heron.toml")
    assert no_load_wheel_rpm(robot) == pytest.approx(6100 / 2.1)
    lines = derived_lines(robot)
    assert "wheel: 2905 rpm without load at 9.6 V" in lines
    assert "encoder: 100.8 counts per wheel turn" in lines
    assert "target: entered at 45 deg: 197 mm free" in lines  # 360 sin 45 - 58
    assert all(derived_lines(load_robot(demo_home() / f"{name}.toml")) for name in DEMOS)


def problems_of(folder: Path, text: str) -> tuple[Problem, ...]:
    path = folder / "tern.toml"
    path.write_text(text, encoding="utf-8")
    return check_profile(path)


def test_a_ball_rests_on_no_slope_steeper_than_its_rolling_resistance(tmp_path: Path) -> None:
    """Downhill it never stops, uphill it rolls back; a gate only has to be passed."""
    ball = STRIKER.replace('shape = "disc"', 'shape = "sphere"')
    for slope, words in (("2 deg", "rolls back"), ("-2 deg", "nothing stops"), ("1 deg", None)):
        floor = f'[floor]\nfriction = 0.3\nrolling = 0.02\nslope = "{slope}"\n'
        problems = problems_of(tmp_path, ball + ZONE + floor)
        said = [p.message for p in problems if p.key == "floor.slope" and p.severity == "error"]
        assert (words is None) == (not said)
        assert words is None or words in said[0]
        gate = ZONE.replace("zone", "gate").replace('["40 cm", "50 cm"]', '"50 cm"')
        assert not [p for p in problems_of(tmp_path, ball + gate + floor) if p.key == "floor.slope"]


@pytest.mark.parametrize("kind", ["flywheel", "striker", "arm"])
def test_the_file_to_start_from_mentions_every_key(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The keys that the reader knows, with all tables there, are the keys of the file with its comments taken off."""
    text = re.sub(r"^# (?=\[|\w+ = )", "", new_profile_text("tern", kind), flags=re.MULTILINE)
    values = tomllib.loads(text)
    known: set[str] = set()
    close = Section.close

    def noting(section: Section, *elsewhere: str) -> None:
        place = re.sub(r"\[\d+\]", "", section.path)
        known.update(f"{place}.{key}".lstrip(".") for key in section._known)
        close(section, *elsewhere)

    monkeypatch.setattr(Section, "close", noting)
    problems = read_values(values, Path("tern.toml"))[1]
    assert not [problem for problem in problems if "unknown" in problem.message]
    tables = {key for key in known if isinstance(_at(values, key), dict | list)} | {"targets"}
    scales = {key for key in known if key.startswith("link.scale.")}  # the names of link.fields once more
    assert not known - tables - scales - _keys(values)
    assert (
        not _keys(values)
        - known
        - {"link.scale.wheel_rpm", "link.columns.order"}
        - {key for key in _keys(values) if key.startswith("spots.")}
    )


def _at(values: object, key: str) -> object:
    for name in key.split("."):
        values = values.get(name) if isinstance(values, dict) else None
    return values


def _keys(values: dict[str, object], path: str = "") -> set[str]:
    found: set[str] = set()
    for name, value in values.items():
        if isinstance(value, dict):
            found |= _keys(value, f"{path}{name}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            found |= _keys(value[0], f"{path}{name}.")
        else:
            found.add(f"{path}{name}")
    return found
