"""What may be entered about a shot, what a miss implies, and what is refused."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from fieldtune import load_robot
from fieldtune.errors import InputError
from fieldtune.robot.model import Robot
from fieldtune.session import Session
from fieldtune.shot_entry import implied_result, setpoint_caution

PROFILES = Path(__file__).parents[2] / "profiles"


@pytest.fixture(scope="module")
def heron() -> Robot:
    return load_robot(PROFILES / "heron.toml")


@pytest.fixture
def session(heron: Robot) -> Session:
    return Session(heron)


def test_a_shot_is_kept_with_all_that_was_given(session: Session) -> None:
    shot = session.confirm(1.8, 1440.0, "short", -0.2, 0.03, speed=1431.0, battery_v=9.9)
    assert session.log.shots() == (shot,)
    assert (shot.result, shot.miss_m, shot.side_m, shot.speed, shot.battery_v) == ("short", -0.2, 0.03, 1431.0, 9.9)


@pytest.mark.parametrize(
    ("miss", "side", "result"),
    [(0.0, None, "in"), (-0.4, None, "short"), (0.4, None, "long"), (0.0, -0.4, "left"), (0.0, 0.4, "right"),
     (None, -0.4, "left"), (-0.4, 0.4, "short")],
)  # fmt: skip
def test_a_measured_miss_says_how_the_shot_ended(
    session: Session, miss: float | None, side: float | None, result: str
) -> None:
    assert session.confirm(1.8, 1440.0, miss_m=miss, side_m=side).result == result


def test_the_edge_between_in_and_long_is_half_the_free_depth(heron: Robot) -> None:
    from fieldtune.aim.required_speed.choice import required_speed_for

    target = heron.target()
    edge = float(required_speed_for(heron, target).free(1.8).high[0])
    assert 0.01 < edge < target.opening[0] / 2
    assert implied_result(heron, target, 1.8, edge - 1e-6, None) == "in"
    assert implied_result(heron, target, 1.8, edge + 1e-6, None) == "long"


def test_a_side_miss_within_the_opening_alone_settles_nothing(session: Session) -> None:
    with pytest.raises(InputError, match="how did the shot end"):
        session.confirm(1.8, 1440.0, side_m=0.01)


def test_result_and_miss_that_contradict_are_both_kept(session: Session) -> None:
    shot = session.confirm(1.8, 1440.0, "in", miss_m=0.6)
    assert (shot.result, shot.miss_m) == ("in", 0.6)


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({"distance_m": -1.0}, "distance"),
        ({"distance_m": 0.0}, "distance"),
        ({"distance_m": math.nan}, "distance"),
        ({"distance_m": 1800.0}, "distance"),
        ({"setpoint": 0.0}, "setpoint"),
        ({"setpoint": math.inf}, "setpoint"),
        ({"setpoint": 245000.0}, "setpoint"),
        ({"result": "high"}, "in, short, long, left, right"),
        ({"result": ""}, "in, short, long, left, right"),
        ({"miss_m": math.nan}, "miss"),
        ({"side_m": 500.0}, "side miss"),
        ({"speed": -5.0}, "rpm"),
        ({"speed": 1e9}, "rpm"),
        ({"battery_v": 0.0}, "battery"),
        ({"battery_v": 12400.0}, "battery"),
        ({"target": "roof"}, "no target 'roof'"),
    ],
)
def test_wrong_entries_are_refused_in_one_line_and_not_kept(
    session: Session, fields: dict[str, object], place: str
) -> None:
    given: dict[str, object] = {"distance_m": 1.8, "setpoint": 1440.0, "result": "in", **fields}
    with pytest.raises(InputError) as caught:
        session.confirm(**given)  # type: ignore[arg-type]
    assert place in str(caught.value)
    assert "\n" not in str(caught.value)
    assert session.log.shots() == ()


def test_a_setpoint_a_little_outside_is_kept_with_a_word(session: Session, heron: Robot) -> None:
    above = heron.setpoint.high * 1.05
    assert session.confirm(3.0, above, "long").setpoint == above
    assert "outside" in (setpoint_caution(heron, above) or "")
    assert setpoint_caution(heron, heron.setpoint.high) is None


@pytest.mark.parametrize("reason", ["", "   ", "two\nlines", "x" * 300, "\x1b[31mred"])
def test_a_reason_is_one_line_of_plain_text(session: Session, reason: str) -> None:
    session.confirm(1.8, 1440.0, "in")
    with pytest.raises(InputError, match="a reason"):
        session.exclude(1, reason)
