"""The encoder's scale found from a wheel of known speed: factors, causes, and that wrong speeds teach nothing."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import Run

from fieldtune import Session, load_robot
from fieldtune.link.line import Line
from fieldtune.link.sim.robot import SimulatedRobot
from fieldtune.link.text.checksums import framed
from fieldtune.robot.model import Encoder, LinkSettings, Robot
from fieldtune.setup.encoder_check import Change, against_setpoint, at_full_power, by_hand, from_shots
from fieldtune.setup.encoder_watch import BelievedShots, EncoderWatch, remember, standing

HERON = load_robot("heron")
REAL = Encoder(48, "motor", 32)
"""Of the robot that plays; heron's train is 22:33 and 20:28, 2.1 motor turns a turn of the wheel."""


def believing(encoder: Encoder | None, **link: object) -> Robot:
    return replace(HERON, encoder=encoder, link=LinkSettings(**link))  # type: ignore[arg-type]


def played(believed: Robot, setpoint: float = 1200.0, seconds: float = 6.0) -> EncoderWatch:
    """What the check finds on four seconds of the simulated robot's line, read with another profile."""
    robot = SimulatedRobot(replace(HERON, encoder=REAL), seed=3)
    robot.setpoint = setpoint
    line, watch = Line(believed), EncoderWatch(believed)
    for number in range(int(seconds * 100)):
        watch.see_all(line.feed(robot.line(), number / 100))
    return watch


@pytest.mark.parametrize(
    ("encoder", "ratio", "cause", "change"),
    [
        (Encoder(96, "motor", 32), 1 / 2, "2 × too large", ("encoder.counts_per_turn", 48)),
        (Encoder(192, "motor", 32), 1 / 4, "4 × too large", ("encoder.counts_per_turn", 48)),
        (Encoder(24, "motor", 32), 2, "2 × too small", ("encoder.counts_per_turn", 48)),
        (Encoder(48, "wheel", 32), 2.1, "at the motor", ("encoder.on", "motor")),
    ],
)
def test_a_wrong_scale_is_named_with_the_value_that_fits(
    encoder: Encoder, ratio: float, cause: str, change: tuple[str, object]
) -> None:
    found = played(believing(encoder), setpoint=700.0).verdict
    assert found is not None
    assert not found.settled
    assert found.ratio == pytest.approx(ratio, rel=0.03)  # the robot's control leaves a steady error
    assert cause in found.causes[0], found.words
    assert found.change is not None
    assert (found.change.key, found.change.value) == change
    assert f"{ratio:.1f}" in found.words


def test_a_right_scale_settles() -> None:
    found = played(believing(REAL)).verdict
    assert found is not None
    assert found.settled
    assert found.causes == ()


def test_rpm_that_are_radians_are_told_and_the_factor_mends_them() -> None:
    def read(scale: dict[str, float]) -> EncoderWatch:
        believed = believing(None, fields={"wheel_rpm": "w"}, scale=scale)
        line, watch = Line(believed), EncoderWatch(believed)
        for t in range(0, 4000, 20):  # 1500 rpm are 157.08 rad/s
            watch.see_all(line.feed(framed(f"t_ms={t},w={157.08 + 0.2 * math.sin(t)},setpoint=1500"), t / 1000))
        return watch

    found = read({}).verdict
    assert found is not None
    assert found.change is not None
    assert found.change.key == "link.scale.wheel_rpm"
    assert "rad/s" in found.causes[0]
    mended = read({"wheel_rpm": float(found.change.value)}).verdict
    assert mended is not None
    assert mended.settled
    assert mended.ratio == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(
    ("encoder", "counts", "settled", "value"),
    [
        (REAL, 48 * 2.1 * 10 + 7, True, None),  # a tenth of a turn by eye
        (Encoder(96, "motor", 32), 48 * 2.1 * 10 - 9, False, ("encoder.counts_per_turn", 48)),
        (Encoder(48, "motor", 32), 60 * 2.1 * 10, False, ("encoder.counts_per_turn", 60)),
        (Encoder(48, "motor", 32), 48 * 10, False, ("encoder.on", "wheel")),
    ],
)
def test_ten_turns_by_hand(encoder: Encoder, counts: float, settled: bool, value: tuple[str, object] | None) -> None:
    for sign in (1, -1):
        found = by_hand(believing(encoder), sign * counts)
        assert found.settled == settled
        assert ("counts down" in found.words) == (sign < 0)
        assert (None if found.change is None else (found.change.key, found.change.value)) == value
    assert "nothing was counted" in by_hand(believing(encoder), 0).words


def test_full_power_against_the_train() -> None:
    free = 6100 / 2.1  # rpm at 9.6 V
    right, half = at_full_power(HERON, 0.9 * free), at_full_power(HERON, 0.45 * free)
    assert right is not None
    assert right.settled
    assert half is not None
    assert not half.settled
    assert "2 × too large" in half.causes[0]
    weak = at_full_power(HERON, 0.9 * free * 8.0 / 9.6, battery_v=8.0)
    assert weak is not None
    assert weak.settled


def test_a_wheel_faster_than_its_motors_can_turn_it_is_none() -> None:
    """The motor's speed in the wheel's place, on a line without a setpoint: 2.1 motor turns are one of the wheel's."""
    free = 6100 / 2.1
    for volts, rpm, told in ((9.6, 0.9, False), (12.4, 1.25, False), (9.6, 1.3, True), (12.4, 1.6, True)):
        watch = EncoderWatch(replace(HERON, encoder=None))
        for t in range(0, 4000, 20):
            watch.see(t / 1000, rpm * free + t % 7, None, battery_v=volts)
        found = watch.verdict
        assert (found is not None) == told
        if found is not None:
            assert not found.settled
            assert "the motor's speed" in found.words
            assert found.change is None  # by which factor, nobody can say


def test_no_usual_cause_is_said_and_nothing_offered() -> None:
    found = by_hand(believing(REAL), 0)
    assert found.change is None
    odd = played(believing(Encoder(48 * 3.17, "motor", 32)), setpoint=700.0).verdict
    assert odd is not None
    assert not odd.settled
    assert odd.change is None
    assert "ten turns" in odd.words


def test_half_speeds_teach_nothing_and_the_advice_says_why(tmp_path: object) -> None:
    """The same five shots, with measured speeds off by two and without any, lead to the same setpoint."""
    robot = believing(Encoder(96, "motor", 32))
    aims = []
    for factor in (0.5, None):
        with Session(robot) as session:
            for shot in range(5):
                setpoint = 1500 + 20 * shot
                speed = None if factor is None else factor * setpoint * (1 + 0.01 * (shot - 2))
                session.confirm(2.0, setpoint, miss_m=-0.2 + 0.04 * shot, speed=speed)
            aims.append(session.aim(2.0))
            assert all((shot.speed is None) == (factor is None) for shot in session.log.shots())  # the log keeps them
    assert aims[0].setpoint.value == aims[1].setpoint.value
    assert any("0.50 ×" in caution and "counts_per_turn = 48 would fit" in caution for caution in aims[0].cautions)
    assert not any("measured speeds" in caution for caution in aims[1].cautions)


def test_shots_are_judged_anew_only_when_the_log_has_changed() -> None:
    robot = believing(Encoder(96, "motor", 32))
    with Session(robot) as session:
        session.confirm(2.0, 1500, "short", speed=1500)
        believed = BelievedShots(robot, session.log)
        shots, found = believed.now()
        assert [shot.speed for shot in shots] == [1500]
        assert found is None
        session.confirm(2.0, 1500, "short", speed=745)
        shots, found = believed.now()
        assert [shot.speed for shot in shots] == [1500, None]
        assert believed.now()[0] is shots
        remember(robot, session.log, by_hand(robot, 1008))
        shots, found = believed.now()
        assert [shot.speed for shot in shots] == [None, None]
        assert found == by_hand(robot, 1008)


def test_one_wheel_that_was_slow_is_no_wrong_scale() -> None:
    with Session(believing(REAL)) as session:
        for share in (1.0, 0.99, 0.8, 1.0, 1.01):
            session.confirm(2.0, 1500, "short", speed=share * 1500)
        assert from_shots(session.robot, session.log.shots()) is None
        shots = session.posterior  # all five are used as measured
        assert shots is not None


def test_a_verdict_is_kept_until_the_profile_changes() -> None:
    robot = believing(Encoder(96, "motor", 32))
    with Session(robot) as session:
        remember(robot, session.log, by_hand(robot, 1008))
        found = standing(robot, session.log)
        assert found is not None
        assert found.words == by_hand(robot, 1008).words
        assert standing(believing(REAL), session.log) is None
        session.log.remember("encoder check", json.dumps({"of": 1}))
        assert standing(robot, session.log) is None


def test_shot_and_replay_say_it_too(run: Run, home: Path, tmp_path: Path) -> None:
    home.mkdir()
    text = Path(str(HERON.path)).read_text().replace("counts_per_turn = 48 ", "counts_per_turn = 96 ")
    (home / "kite.toml").write_text(text)
    robot = SimulatedRobot(HERON, seed=3)
    robot.setpoint = 900.0
    capture = tmp_path / "line.txt"
    capture.write_bytes(b"".join(robot.line() for _ in range(600)))
    read = run("replay", capture, "kite", "--json").json
    assert read["encoder"]["settled"] is False
    assert "counts_per_turn = 48 would fit" in read["encoder"]["words"]
    said = ["shot", "kite", "--distance", "2 m", "--setpoint", "1400 rpm", "--result", "short", "--speed", "700 rpm"]
    told = run(*said, "--json").json
    assert any("measured speeds are not learned from" in caution for caution in told["aim"]["cautions"])
    assert told["confirmed"]["speed"] == 700


@pytest.mark.parametrize("counts", [12, 6, 3])
def test_counts_so_wrong_that_lines_are_dropped_are_found_in_what_came(counts: int) -> None:
    believed, robot = believing(Encoder(counts, "motor", 32)), SimulatedRobot(replace(HERON, encoder=REAL), seed=3)
    robot.setpoint = 1800.0
    lines, watch = [robot.line().decode().strip() for _ in range(600)], EncoderWatch(believed)
    assert watch.see_raw(lines[-400:]) is watch.verdict
    assert watch.verdict is not None
    assert watch.verdict.ratio == pytest.approx(48 / counts, rel=0.03)
    assert watch.verdict.change == Change("encoder.counts_per_turn", 48)


def test_a_setpoint_in_counts_a_second_is_named() -> None:
    """48 counts a wheel turn: 1,600 counts a second are 2,000 rpm."""
    robot = replace(HERON, encoder=Encoder(48, "wheel", 32))
    found = against_setpoint(robot, 2010.0, 1600.0)
    assert not found.settled
    assert any("setpoint is in counts a second" in cause for cause in found.causes)
    assert found.change == Change("link.scale.setpoint", 1.25)
