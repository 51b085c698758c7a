"""Shots that were learned under a value that the profile says otherwise now."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldtune.robot import load_robot
from fieldtune.robot.starter import new_profile_text
from fieldtune.session import Session
from fieldtune.setup.old_values import old_values


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "kite.toml"
    path.write_text(new_profile_text("kite", "flywheel"))
    return path


def shoot(profile: Path, times: int) -> None:
    with Session.beside_profile(load_robot(profile), None) as session:
        old_values(profile, session.log)  # as the console does when it opens
        for _ in range(times):
            session.confirm(1.8, 1400.0, "in")


def told(profile: Path) -> list[str]:
    with Session.beside_profile(load_robot(profile), None) as session:
        return [one.words for one in old_values(profile, session.log)]


def change(profile: Path, old: str, new: str) -> None:
    text = profile.read_text()
    assert old in text
    profile.write_text(text.replace(old, new, 1))


def test_a_changed_value_is_named_with_the_shots_that_rest_on_it(profile: Path) -> None:
    assert told(profile) == []
    shoot(profile, 3)
    assert told(profile) == []
    change(profile, 'wheel_diameter = "88 mm"', 'wheel_diameter = "96 mm"')
    assert [said.split(":")[0] for said in told(profile)] == [
        "3 shots were learned with launcher.wheel_diameter = 88 mm, now 96 mm"
    ]
    shoot(profile, 2)
    assert len(told(profile)) == 1
    shoot(profile, 2)  # more with the new value than with the old one
    assert told(profile) == []


def test_the_same_in_other_units_and_what_nothing_rests_on_are_no_change(profile: Path) -> None:
    told(profile)
    shoot(profile, 2)
    change(profile, 'wheel_diameter = "88 mm"', 'wheel_diameter = "8.8 cm"')
    change(profile, 'title = "Kite"', 'title = "Red kite"')
    change(profile, 'grip = "8 %"', 'grip = "9 %"')
    assert told(profile) == []


def test_a_value_changed_back_is_none_and_two_changes_are_told_apart(profile: Path) -> None:
    told(profile)
    shoot(profile, 4)
    change(profile, "grip = 0.76", "grip = 0.8")
    told(profile)
    shoot(profile, 1)
    change(profile, "grip = 0.8", "grip = 0.76")
    assert told(profile) == ["1 shot was learned with launcher.grip = 0.8, now 0.76: if the robot itself was changed, "
                             "leave them out (h)"]  # fmt: skip
    change(profile, "counts_per_turn = 48", "counts_per_turn = 96")
    assert any(said.startswith("5 shots were learned with encoder.counts_per_turn = 48") for said in told(profile))


def test_a_record_of_a_later_version_or_a_file_that_is_gone_is_no_matter(profile: Path) -> None:
    with Session.beside_profile(load_robot(profile), None) as session:
        session.log.remember("profile values", '{"new": 1}')
        assert old_values(profile, session.log) == ()
        assert old_values(profile.with_name("gone.toml"), session.log) == ()
