"""Any profile that its reader takes: sizing, comparing and the cautions answer, or refuse in one clear line.

Profiles are put together from the keys of the profile format, present or left out, with values from tiny to huge.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from fieldtune.battery.ceiling import ceiling
from fieldtune.robot.model import Robot
from fieldtune.robot.profile import read_values
from fieldtune.session import Session
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.compare import compare
from fieldtune.sizing.hazards import hazards
from fieldtune.sizing.size import size
from fieldtune.sizing.text import compare_text, size_text

Table = dict[str, object]


def quantity(unit: str, low: float, high: float) -> st.SearchStrategy[str]:
    """A text with its unit, of any size between two on a scale of ratios."""
    return st.floats(0.0, 1.0).map(lambda share: f"{low * (high / low) ** share:.4g} {unit}")


def table(needed: dict[str, object], maybe: dict[str, object]) -> st.SearchStrategy[Table]:
    """A table with these keys, and any of those."""
    return st.fixed_dictionaries(needed, optional=maybe)  # type: ignore[arg-type]


elements = st.one_of(
    table({"shape": st.just("sphere"), "diameter": quantity("mm", 10, 300), "mass": quantity("g", 1, 2000)}, {}),
    table({"shape": st.just("disc"), "diameter": quantity("mm", 20, 300), "mass": quantity("g", 5, 2000)}, {}),
    table(
        {"shape": st.just("block"), **{k: quantity("mm", 15, 200) for k in ("length", "width", "height")},
         "mass": quantity("g", 5, 2000)}, {},
    ),
)  # fmt: skip
wheels = table(
    {
        "kind": st.just("flywheel"), "exit_angle": quantity("deg", 5, 85), "exit_height": quantity("cm", 5, 150),
        "wheels": st.integers(1, 2), "wheel_diameter": quantity("mm", 30, 300),
    },
    {
        "wheel_inertia": quantity("kg mm^2", 1, 20000), "speed_ratio": st.floats(0.2, 3.0), "grip": st.floats(0.3, 1.0),
        "wheel_density": quantity("kg/m^3", 100, 8000), "wheel_strength": quantity("MPa", 0.1, 500),
        "wheel_top_speed": quantity("rpm", 500, 30000),
    },
)  # fmt: skip
springs = {"preload": quantity("N", 0.1, 500), "efficiency": st.floats(0.2, 1.0)}
wires = table(
    {
        "wire_diameter": quantity("mm", 0.4, 4),
        "coil_diameter": quantity("mm", 9, 40),
        "active_turns": st.integers(2, 60),
    },
    {"material": st.sampled_from(["A228", "A227", "music wire"])},
)
strikers = table(
    {
        "kind": st.just("striker"), "striker_mass": quantity("g", 5, 2000), "spring_rate": quantity("N/mm", 0.02, 50),
        "draw_min": quantity("mm", 1, 8), "draw_max": quantity("mm", 9, 300),
    },
    {
        "contact": st.sampled_from(["strike", "push"]), "spring_mass": quantity("g", 1, 300),
        "restitution": st.floats(0.0, 1.0), "spring": wires, **springs,
    },
)  # fmt: skip
arm = {
    "kind": st.just("arm"), "arm_length": quantity("cm", 10, 100), "arm_inertia": quantity("kg m^2", 1e-4, 1.0),
    "release_angle": quantity("deg", 20, 80), "exit_height": quantity("cm", 10, 150),
    "draw_min": quantity("deg", 5, 20), "draw_max": quantity("deg", 25, 200),
}  # fmt: skip
arms = st.one_of(
    table({**arm, "spring_rate": quantity("N/m", 1, 5000)}, springs),
    table({**arm, "torque": quantity("N m", 0.1, 500)}, {"efficiency": st.floats(0.2, 1.0)}),
)
stages = st.lists(st.tuples(st.integers(8, 90), st.integers(8, 90)).map(list), max_size=4)
drives = table(
    {
        "nominal_voltage": st.sampled_from(["6 V", "12 V", "24 V"]), "no_load_speed": quantity("rpm", 50, 40000),
        "stall_torque": quantity("N m", 0.002, 50), "stall_current": quantity("A", 0.5, 400),
    },
    {
        "control": st.sampled_from(["speed", "power"]), "motors": st.integers(1, 6), "gears": stages,
        "no_load_current": quantity("mA", 1, 400), "stage_efficiency": st.floats(0.6, 1.0),
        "crank_radius": quantity("mm", 2, 100),
        "teeth_available": st.lists(st.integers(6, 120), max_size=5) | st.just(list(range(12, 73, 4))),
    },
)  # fmt: skip
batteries = table(
    {},
    {
        "chemistry": st.sampled_from(["nimh", "lead-acid", "li-ion", "lifepo4", "sla", "alkaline", "unobtainium"]),
        "cells": st.integers(1, 24), "resistance": quantity("mohm", 1, 5000), "capacity": quantity("A h", 0.2, 100),
        "nominal_voltage": st.sampled_from(["7.2 V", "12 V", "24 V"]),
    },
)  # fmt: skip
targets = st.sampled_from(
    [
        {"kind": "basket", "height": "80 cm", "opening": "45 cm"},
        {"kind": "window", "height": "1.2 m", "opening": ["60 cm", "50 cm"]},
        {"kind": "zone", "opening": ["50 cm", "50 cm"]},
        {"kind": "gate", "opening": "50 cm"},
    ]
)
spots = st.lists(quantity("m", 0.3, 12), max_size=3).map(
    lambda distances: [{"name": f"spot {k}", "distance": d} for k, d in enumerate(distances)]
)
profiles = table(
    {"format": st.just(1), "element": elements, "launcher": st.one_of(wheels, strikers, arms), "target": targets},
    {"drive": drives, "battery": batteries, "spots": spots, "floor": st.just({"friction": 0.3})},
)
patient = settings(deadline=None, suppress_health_check=list(HealthCheck))


def robot_of(values: Table, name: str = "any") -> Robot:
    """The robot, where the profile's reader takes it; others are no matter of sizing."""
    robot, _ = read_values(values, Path(f"{name}.toml"))
    assume(robot is not None)
    assert robot is not None
    return robot


def without_nonsense(text: str) -> None:
    words = text.replace(",", " ").replace(":", " ").split()
    assert not {"nan", "inf", "-inf", "None"} & set(words), text


BALL: Table = {"shape": "sphere", "diameter": "58 mm", "mass": "40 g"}
WHEEL: Table = {
    "kind": "flywheel", "exit_angle": "52 deg", "exit_height": "38 cm", "wheels": 2, "wheel_diameter": "88 mm",
    "wheel_inertia": "180 kg mm^2",
}  # fmt: skip
MOTOR: Table = {
    "nominal_voltage": "9.6 V", "no_load_speed": "6100 rpm", "stall_torque": "0.125 N m", "stall_current": "9.5 A"
}  # fmt: skip
BASKET: Table = {"kind": "basket", "height": "95 cm", "opening": "40 cm"}
PLAIN: Table = {"format": 1, "element": BALL, "launcher": WHEEL, "target": BASKET}


def sizing_answers(values: Table) -> None:
    """Sizing, hazards and cautions of a profile: figures that JSON takes, words without nonsense, one line each."""
    robot = robot_of(values)
    top = ceiling(robot)
    assert top is None or top >= 0
    json.dumps(hazards(robot).as_json(), allow_nan=False)
    for line in cautions(robot):
        without_nonsense(line)
        assert "\n" not in line
        assert "safe" not in line.casefold().replace("no number here means that it is safe", "")
    found = size(robot)
    json.dumps(found.as_json(), allow_nan=False)
    without_nonsense(size_text(robot, found))
    if robot.drive is not None and found.choices:
        assert [c.gears for c in found.choices if c.present] == [robot.drive.gears]
    if robot.drive is None or robot.battery is None or robot.battery.chemistry is None:
        assert found.choices == ()


def comparing_answers(first: Table, second: Table) -> None:
    """Two profiles side by side, whatever they lack."""
    robots = [robot_of(first, "first"), robot_of(second, "second")]
    found = compare(robots, {robot.name: Session(robot).belief for robot in robots})
    json.dumps(found.as_json(), allow_nan=False)
    without_nonsense(compare_text(found))


@settings(patient, max_examples=5)
@given(profiles)
@example(PLAIN)
@example({**PLAIN, "drive": {**MOTOR, "gears": []}, "battery": {}})
@example({**PLAIN, "drive": {**MOTOR, "control": "power"}, "battery": {"chemistry": "alkaline", "cells": 8}})
@example({**PLAIN, "drive": {**MOTOR, "teeth_available": []}, "battery": {"chemistry": "sla", "resistance": "9 mohm"}})
def test_sizing_and_cautions_answer(values):
    sizing_answers(values)


@settings(patient, max_examples=3)
@given(profiles, profiles)
@example(PLAIN, {**PLAIN, "target": {"kind": "zone", "opening": ["50 cm", "50 cm"]}})
def test_any_two_profiles_compare(first, second):
    comparing_answers(first, second)


@pytest.mark.slow
@settings(patient, max_examples=250)
@given(profiles)
def test_sizing_and_cautions_answer_for_many(values):
    sizing_answers(values)


@pytest.mark.slow
@settings(patient, max_examples=40)
@given(profiles, profiles)
def test_many_pairs_of_profiles_compare(first, second):
    comparing_answers(first, second)
