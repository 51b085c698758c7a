"""Confirming, undoing, leaving out, swapping: the log is the truth and what is believed follows it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from fieldtune import Session, load_robot
from fieldtune.aim.recommend import speed_factor
from fieldtune.errors import InputError, StoreError
from fieldtune.robot.model import Robot

PROFILES = Path(__file__).parents[2] / "profiles"


@pytest.fixture(scope="module")
def heron() -> Robot:
    return load_robot(PROFILES / "heron.toml")


def _clock() -> Iterator[datetime]:
    moment = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    while True:
        yield moment
        moment += timedelta(seconds=30)


def test_times_come_from_the_clock_it_was_given(heron: Robot) -> None:
    ticks = _clock()
    session = Session(heron, clock=lambda: next(ticks))
    next(ticks)
    session.confirm(1.8, 1440.0, "in")
    session.confirm(1.8, 1440.0, "in")
    first, second = (datetime.fromisoformat(shot.time) for shot in session.log.shots())
    assert first >= datetime(2026, 3, 1, 9, 0, 30, tzinfo=UTC)
    assert second > first


def test_shots_counted_and_epochs_follow_the_log(heron: Robot) -> None:
    session = Session(heron)
    assert (session.aim(2.0).shots_used, session.aim(2.0).epoch) == (0, 1)
    session.confirm(2.0, 1440.0, "short")
    session.confirm(2.0, 1300.0, "in")
    assert session.aim(2.0).shots_used == 2
    session.exclude(1, "bounced off the rail")
    assert session.aim(2.0).shots_used == 1
    session.include(1)
    assert session.swap("pack B") == 2
    aim = session.aim(2.0)
    assert (aim.shots_used, aim.epoch) == (2, 2)
    assert session.log.battery_label == "pack B"
    acts = [session.undo() for _ in range(4)]
    assert [(act.act, act.shot) for act in acts if act] == [("swap", None), ("include", 1), ("exclude", 1), ("shot", 2)]
    assert session.aim(2.0).shots_used == 1
    redone = session.redo()
    assert redone is not None
    assert session.aim(2.0).shots_used == 2


def test_a_correction_teaches_instead_of_what_was_confirmed_first(heron: Robot) -> None:
    session, right = Session(heron), Session(heron)
    right.confirm(2.0, 1440.0, "short", speed=1430.0)
    session.confirm(2.0, 1440.0, "in", 0.02, speed=1430.0)
    corrected = session.correct(1, "short")
    assert (corrected.result, corrected.miss_m, corrected.speed) == ("short", None, 1430.0)
    assert session.aim(2.0).setpoint == right.aim(2.0).setpoint
    assert session.correct(1, miss_m=0.4).result == "long"
    session.undo()
    session.undo()
    assert session.log.shot(1).result == "in"
    session.undo()
    with pytest.raises(InputError, match="was undone"):
        session.correct(1, "in")
    with pytest.raises(InputError, match="no shot 7"):
        session.correct(7, "in")


def test_a_battery_that_was_in_before_starts_at_its_own_level(heron: Robot) -> None:
    session = Session(heron)
    session.swap("blue 3")
    for _ in range(3):
        session.confirm(2.0, 1440.0, miss_m=-0.3)
    weak = session.aim(2.0).setpoint.value
    session.swap("red 1")
    for _ in range(3):
        session.confirm(2.0, 1440.0, miss_m=0.2)
    other = session.aim(2.0).setpoint.value
    session.swap("blue 3")
    again, session_epoch = session.aim(2.0).setpoint.value, session.aim(2.0).epoch
    assert session_epoch == session.log.epoch == 4
    assert weak is not None
    assert other is not None
    assert again is not None
    assert abs(again - weak) < 0.3 * abs(other - weak)


def test_a_short_shot_raises_the_recommendation_and_undo_restores_it_exactly(heron: Robot) -> None:
    session = Session(heron)
    before = session.aim(2.0)
    assert before.setpoint.value is not None
    session.confirm(2.0, before.setpoint.value, miss_m=-0.25)
    after = session.aim(2.0)
    assert after.setpoint.value is not None
    assert after.setpoint.value > before.setpoint.value + 2 * heron.setpoint.step
    session.undo()
    assert session.aim(2.0) == before


def test_undo_without_shots_is_none_and_makes_no_log(heron: Robot, tmp_path: Path) -> None:
    assert Session(heron, tmp_path / "heron.db").undo() is None
    assert list(tmp_path.iterdir()) == []


def test_what_another_process_kept_is_learned_from(heron: Robot, tmp_path: Path) -> None:
    here, there = Session(heron, tmp_path / "heron.db"), Session(heron, tmp_path / "heron.db")
    assert here.aim(2.0).shots_used == 0
    there.confirm(2.0, 1440.0, "short")
    assert here.aim(2.0).shots_used == 1


def test_learning_is_done_once_for_the_same_log(heron: Robot) -> None:
    session = Session(heron)
    session.confirm(2.0, 1440.0, "short")
    assert session.posterior is session.posterior


def test_a_new_session_on_the_same_log_answers_the_same(heron: Robot, tmp_path: Path) -> None:
    with Session(heron, tmp_path / "heron.db") as session:
        session.confirm(2.0, 1440.0, miss_m=-0.1, speed=1434.0)
        session.swap()
        said = session.aim(2.0)
    assert Session(heron, tmp_path / "heron.db").aim(2.0) == said


def test_leaving_out_a_shot_that_is_not_there_is_refused(heron: Robot, tmp_path: Path) -> None:
    session = Session(heron, tmp_path / "heron.db")
    with pytest.raises(InputError, match="no shot 3"):
        session.exclude(3, "typo")
    with pytest.raises(InputError, match="no shot 3"):
        session.include(3)
    assert list(tmp_path.iterdir()) == []


def test_an_undone_shot_is_neither_left_out_nor_let_in(heron: Robot) -> None:
    session = Session(heron)
    session.confirm(2.0, 1440.0, "short")
    session.undo()
    with pytest.raises(InputError, match="shot 1 was undone"):
        session.exclude(1, "typo")
    with pytest.raises(InputError, match="shot 1 was undone"):
        session.include(1)
    with pytest.raises(InputError, match="no shot"):
        session.include(10**30)


def test_the_live_battery_is_used_where_none_is_given(heron: Robot) -> None:
    session = Session(heron)
    session.line = SimpleNamespace(snapshot=lambda: SimpleNamespace(battery_v=9.4))
    assert session.aim(2.0).battery_v == 9.4
    assert session.aim(2.0, battery_v=10.4).battery_v == 10.4
    assert session.confirm(2.0, 1440.0, "in").battery_v == 9.4
    session.line = SimpleNamespace(snapshot=lambda: SimpleNamespace(battery_v=None))
    assert session.confirm(2.0, 1440.0, "in").battery_v is None


def test_a_weak_battery_lowers_the_ceiling_and_is_said(heron: Robot) -> None:
    assert heron.drive is not None
    session = Session(replace(heron, drive=replace(heron.drive, no_load_speed=0.6 * heron.drive.no_load_speed)))
    fresh, weak = session.aim(3.0, battery_v=10.8), session.aim(3.0, battery_v=6.0)
    assert fresh.ceiling is not None
    assert weak.ceiling is not None
    assert weak.setpoint.value is not None
    assert weak.ceiling < weak.setpoint.value < fresh.ceiling
    assert any("6.0 V" in words and "charge or change" in words for words in weak.cautions)
    assert not any("charge or change" in words for words in fresh.cautions)


def test_a_voltage_that_is_no_battery_of_this_robot_is_said(heron: Robot) -> None:
    aim = Session(heron).aim(3.0, battery_v=48.0)
    assert aim.ceiling is None
    assert any("48 V" in words for words in aim.cautions)


def test_a_measured_resistance_moves_the_ceiling(heron: Robot) -> None:
    session = Session(heron)
    session.swap("old pack")
    before = session.aim(2.0, battery_v=9.6).ceiling
    session.log.add_battery(session.log.battery_label, 1.5, 10.2)
    after = session.aim(2.0, battery_v=9.6).ceiling
    assert before is not None
    assert after is not None
    assert after < before
    session.swap("new pack")
    assert session.aim(2.0, battery_v=9.6).ceiling == before


def test_a_demonstration_robot_is_copied_home_with_the_first_thing_kept(tmp_path: Path) -> None:
    from fieldtune.robot import demo_home

    robot = load_robot(demo_home() / "heron.toml")
    home = tmp_path / "home"
    session = Session.beside_profile(robot, home)
    session.aim(2.0)
    assert not home.exists()
    session.confirm(2.0, 1440.0, "in")
    assert {"heron.db", "heron.toml"} <= {path.name for path in home.iterdir()}
    assert (home / "heron.toml").read_text() == (demo_home() / "heron.toml").read_text()
    copied = load_robot("heron", home)
    assert copied.path == home / "heron.toml"
    assert len(Session.beside_profile(copied, home).log.shots()) == 1


def test_a_caution_seen_is_remembered_but_makes_no_copy_of_a_demonstration(tmp_path: Path) -> None:
    from fieldtune.robot import demo_home

    session = Session.beside_profile(load_robot(demo_home() / "heron.toml"), tmp_path / "home")
    session.log.remember("caution", "seen")
    assert session.log.recall("caution") == "seen"
    assert not (tmp_path / "home").exists()


def test_small_things_last_beside_a_robots_own_profile(tmp_path: Path) -> None:
    profile = tmp_path / "heron.toml"
    profile.write_bytes((PROFILES / "heron.toml").read_bytes())
    Session.beside_profile(load_robot(profile), tmp_path).log.remember("port", "/dev/ttyACM0")
    assert Session.beside_profile(load_robot(profile), tmp_path).log.recall("port") == "/dev/ttyACM0"


def test_a_log_in_a_folder_that_is_not_there_names_it(heron: Robot, tmp_path: Path) -> None:
    session = Session(heron, tmp_path / "gone" / "heron.db")
    with pytest.raises(StoreError, match="gone"):
        session.confirm(2.0, 1440.0, "in")


def test_several_targets_are_told_apart_and_remembered(heron: Robot) -> None:
    low = replace(heron.target(), name="low basket")
    high = replace(heron.target(), name="high basket", height=heron.target().height + 0.3)
    session = Session(replace(heron, targets=(low, high)))
    assert session.confirm(2.0, 1440.0, "in", target="high basket").target == "high basket"
    assert session.confirm(2.0, 1440.0, "in").target == "low basket"
    lower, higher = session.aim(2.0, target="low basket"), session.aim(2.0, target="high basket")
    assert lower.setpoint.value is not None
    assert higher.setpoint.value is not None
    assert higher.setpoint.value > lower.setpoint.value
    assert higher.target == "high basket"
    with pytest.raises(InputError, match="low basket, high basket"):
        session.aim(2.0, target="roof")


def test_all_answers_agree_with_each_other(heron: Robot) -> None:
    session = Session(heron)
    for miss in (-0.12, -0.08, -0.1):
        session.confirm(2.0, 1440.0, miss_m=miss)
    aim = session.aim(2.0)
    assert aim.setpoint.value is not None
    assert aim.hit_probability is not None
    assert session.hit_chance(2.0, aim.setpoint.value) == pytest.approx(aim.hit_probability, abs=0.02)
    (row,) = session.table([2.0])
    assert (row.setpoint, row.hit_probability) == (aim.setpoint.value, aim.hit_probability)
    assert any(spot.low_m - 0.1 <= 2.0 <= spot.high_m + 0.1 for spot in session.stand(aim.setpoint.value))
    assert session.learned().shots_used == 3
    assert session.picture(2.0, aim.setpoint.value).x[0] == 0.0
    assert heron.setpoint.low <= session.next().setpoint <= heron.setpoint.high


def little(session: Session) -> list[str]:
    """What a recommendation says of the shots it rests on."""
    return [words for words in session.aim(2.0).cautions if "shot yet" in words]


def test_how_little_a_recommendation_rests_on_is_said(heron: Robot) -> None:
    session = Session(heron)
    assert "no confirmed shot yet" in little(session)[0]
    session.confirm(2.0, 1440.0, "in")
    assert little(session) == []
    session.swap()
    assert "this battery period" in little(session)[0]
    session.confirm(2.0, 1440.0, "in")
    assert little(session) == []


def test_a_spring_near_its_limit_is_said() -> None:
    otter = load_robot(PROFILES / "otter.toml")
    wire = otter.launcher.mechanism.wire
    assert wire is not None
    assert not any("wire" in words for words in Session(otter).aim(1.5).cautions)
    thin = replace(
        otter.launcher,
        mechanism=replace(otter.launcher.mechanism, wire=replace(wire, wire_diameter=0.7 * wire.wire_diameter)),
    )
    assert any("set or break" in words for words in Session(replace(otter, launcher=thin)).aim(1.5).cautions)


def test_several_threads_share_one_session(heron: Robot, tmp_path: Path) -> None:
    from concurrent.futures import ThreadPoolExecutor

    session = Session(heron, tmp_path / "heron.db")

    def work(number: int) -> int:
        shot = session.confirm(2.0, 1440.0 + number, "in")
        return shot.shot if session.aim(2.0).shots_used >= 1 else 0

    with ThreadPoolExecutor(4) as pool:
        numbers = list(pool.map(work, range(8)))
    assert sorted(numbers) == list(range(1, 9))
    assert session.aim(2.0).shots_used == 8


def test_the_speed_factor_is_one_before_shots_and_follows_them(heron: Robot) -> None:
    session = Session(heron)
    assert speed_factor(session.robot, session.belief) == 1.0
    for _ in range(5):
        session.confirm(2.0, 1440.0, miss_m=-0.4)
    slow = speed_factor(session.robot, session.belief, 1440.0)
    assert 0.8 < slow < 0.99
    session.confirm(2.0, 1440.0, miss_m=-0.4)
    assert speed_factor(session.robot, session.belief, 1440.0) == pytest.approx(slow, abs=0.02)
