"""Trying out a change of a profile's key, and what it buys in words."""

from __future__ import annotations

import pytest
from robots import heron

from fieldtune.errors import InputError
from fieldtune.robot import load_profile, new_profile_text
from fieldtune.sizing.size import size
from fieldtune.sizing.what_if import what_if, what_it_buys


@pytest.fixture
def wheel(tmp_path):
    """A robot read from a profile of the kind that a beginner starts from."""
    path = tmp_path / "gull.toml"
    path.write_text(new_profile_text("gull", "flywheel"), encoding="utf-8")
    return load_profile(path)


@pytest.fixture
def striker(tmp_path):
    path = tmp_path / "seal.toml"
    path.write_text(new_profile_text("seal", "striker"), encoding="utf-8")
    return load_profile(path)


def test_quantities_need_no_quotes(wheel):
    changed = what_if(wheel, {"launcher.wheel_diameter": "4 in", "drive.motors": "3", "launcher.grip": "0.8"})
    assert changed.launcher.mechanism.wheel_diameter == pytest.approx(0.1016)
    assert changed.drive.motors == 3
    assert changed.launcher.mechanism.grip == 0.8
    assert changed.element == wheel.element
    assert changed.name == wheel.name


@pytest.mark.parametrize("text", ["20:30 18:36", "20:30, 18:36", "20/30 18/36", "[[20, 30], [18, 36]]"])
def test_gears_in_several_spellings(wheel, text):
    assert what_if(wheel, {"drive.gears": text}).drive.gears == ((20, 30), (18, 36))


def test_an_empty_text_leaves_the_key_out(wheel):
    assert what_if(wheel, {"battery.resistance": "10 mohm"}).battery.resistance == pytest.approx(0.010)
    assert what_if(wheel, {"battery.resistance": ""}).battery.resistance is None


@pytest.mark.parametrize(
    ("key", "text", "word"),
    [
        ("launcher.wheel_diametre", "4 in", "wheel_diameter"),
        ("launcher.wheel_diameter", "4", "unit"),
        ("launcher.wheel_diameter", "4 kg", "length"),
        ("title.of", "x", "not a table"),
        (".", "x", "path"),
        ("drive.gears", "[[20, 30]", "gears"),
    ],
)
def test_what_cannot_be_taken_names_its_key(wheel, key, text, word):
    with pytest.raises(InputError, match=word) as caught:
        what_if(wheel, {key: text})
    assert "\n" not in str(caught.value)


def test_the_profile_itself_stays_as_it_is(wheel):
    before = wheel.path.read_bytes()
    what_if(wheel, {"launcher.grip": "0.5"})
    assert wheel.path.read_bytes() == before


def test_a_robot_without_a_profile_is_refused():
    with pytest.raises(InputError, match="not read from a profile"):
        what_if(heron(), {"launcher.grip": "0.5"})


def test_more_reduction_costs_ceiling(wheel):
    driving, driven = wheel.drive.gears[0]
    changed = what_if(wheel, {"drive.gears": f"[[{driving}, {2 * driven}]]"})
    lines = what_it_buys(wheel, changed)
    old, new = size(wheel), size(changed)
    ceiling = next(line for line in lines if line.startswith("ceiling, low battery"))
    assert f"{old.ceiling_rpm_low:.0f} rpm to {new.ceiling_rpm_low:.0f} rpm" in ceiling
    assert "-" in ceiling.rsplit("(", 1)[1]


def test_a_stiffer_spring_buys_reach_for_torque(striker):
    rate = striker.launcher.mechanism.spring_rate
    lines = " | ".join(what_it_buys(striker, what_if(striker, {"launcher.spring_rate": f"{1.3 * rate:.0f} N/m"})))
    assert "highest exit speed" in lines
    assert "energy into the stop" in lines


def test_nothing_changed_buys_nothing(wheel):
    assert what_it_buys(wheel, wheel) == ("nothing that sizing can see",)


def test_another_mechanism_is_not_compared_here(wheel, striker):
    assert "compare them" in what_it_buys(wheel, striker)[0]
