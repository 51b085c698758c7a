"""Balls by the names of their surfaces and their mass: what they are and how they roll and brake."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from robots import BASKET, make_robot

from fieldtune.aim.element_path import flying_body, rolling_inertia
from fieldtune.robot.element import Element
from fieldtune.robot.profile import read_values
from fieldtune.session import Session


@pytest.mark.parametrize(
    ("surface", "grams", "millimetres", "share"),
    [
        ("smooth", 2.7, 40, 2 / 3),  # table tennis, by its rules (from memory)
        ("smooth", 40, 58, 2 / 5),
        ("foam", 20, 100, 2 / 5),
        ("felt", 57, 66, 0.55),
        ("seamed", 430, 218, 2 / 3),
        ("seamed", 145, 73, 2 / 5),
        ("perforated", 25, 73, 2 / 3),
        ("dimpled", 45.9, 42.7, 2 / 5),
    ],
)
def test_a_ball_is_a_shell_or_solid(surface, grams, millimetres, share):
    element = Element("sphere", grams / 1000, diameter=millimetres / 1000, surface=surface)
    assert element.inertia_ratio == pytest.approx(share)
    assert rolling_inertia(element) == pytest.approx(share)


def test_a_table_tennis_ball_falls_as_published():
    """Terminal speed 8 to 9.5 m/s in print (from memory): C_D 0.4 to 0.5 for 2.7 g and 40 mm; the air bears 1.5 %."""
    body = flying_body(make_robot(element=Element("sphere", 0.0027, diameter=0.04)))
    assert 8.0 < body.terminal_speed < 9.5


def test_seams_are_asked_for_where_they_count():
    ball = Element("sphere", 0.145, diameter=0.073, surface="seamed")
    fast = make_robot(element=ball, target=BASKET, setpoint={"high": 12000})
    fast = replace(fast, launcher=replace(fast.launcher, exit_angle=math.radians(30)))
    with Session(fast, store=None) as session:
        far = session.aim(90.0)
        assert far.exit_speed_mps > 37
        assert any("give element.seams" in words for words in far.cautions)
        assert not any("seams" in words for words in session.aim(4.0).cautions)
    told = replace(fast, element=replace(ball, seams="raised"))
    with Session(told, store=None) as session:
        raised = session.aim(90.0)
    assert not any("seams" in words for words in raised.cautions)
    assert raised.setpoint.value > far.setpoint.value


def test_seams_belong_to_a_seamed_ball(tmp_path):
    values = {
        "format": 1,
        "element": {"shape": "sphere", "diameter": "58 mm", "mass": "40 g", "surface": "felt", "seams": "raised"},
        "launcher": {"kind": "flywheel", "exit_angle": "52 deg", "exit_height": "38 cm", "wheel_diameter": "88 mm"},
        "target": {"kind": "basket", "height": "95 cm", "opening": "30 cm"},
    }
    _, problems = read_values(values, tmp_path / "any.toml")
    assert any(p.key == "element.seams" and "belongs to a seamed surface" in p.message for p in problems)
