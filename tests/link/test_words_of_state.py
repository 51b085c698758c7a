"""A word on each line says what the robot does, and changes as the wheel drops: the lines of a shot look unlike others.

All lines are made up here.
"""

from __future__ import annotations

import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank
from test_student_habits import arriving, loop
from wheel_controllers import session

from fieldtune.link import Line

FORMS = {
    "name, colon, word": "rpm:{rpm:06.1f}|goal:{goal:.0f}|state:{word}|\n",
    "between": "rpm: {rpm:.1f}, state: {word}, goal: {goal:.0f}\n",
    "two words": "rpm: {rpm:.1f} mode: {word} goal: {goal:.0f}\n",
    "behind the last number": "goal: {goal:.0f} rpm: {rpm:.1f} {word}\n",
    "as marks": "goal: {goal:.0f} rpm: {rpm:.1f} {mark}\n",
}


@pytest.fixture(scope="module")
def wheel():
    return session("PI soft")


def said(form, rpm, goal):
    """A line as such programs print it."""
    ready = abs(rpm - goal) < 30
    word = "READY" if ready else "SPINNING UP" if rpm < goal else "coasting"
    return form.format(rpm=rpm, goal=goal, word=word, mark="\u2705" if ready else "\u23f3")


@pytest.mark.parametrize("kind", FORMS)
def test_shots_are_found_where_a_word_changes_with_them(wheel, kind):
    times = loop(0.02)
    texts = [said(FORMS[kind], wheel.rpm[wheel.index(at)], wheel.setpoint[wheel.index(at)]) for at in times]
    robot = robot_for(names={"wheel_rpm": "rpm", "setpoint": "goal"})
    decoding = decode_lines(arriving(times, texts), robot, 23.0)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.6)
    assert (len(pairs), made_up) == (len(wheel.shots), 0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006, from_s=1.0)
    assert (wrong_s, blank_s) == (0.0, 0.0)
    assert decoding.lines - decoding.good < 5


@pytest.mark.parametrize(
    "form", ["pwr {0:3.0f}% spd {1:4.0f} tgt {2:4.0f}\n", "pwr:{0:6.1f} spd:{1:7.1f} tgt:{2:7.1f}\n"]
)
def test_shots_are_found_where_numbers_are_brought_to_one_width(wheel, form):
    """At a shot the drive goes to 100 %: a digit more, and a blank less. Its share of the pull is made up here."""
    times, texts = loop(0.02), []
    for at in times:
        rpm, goal = wheel.rpm[wheel.index(at)], wheel.setpoint[wheel.index(at)]
        texts.append(form.format(min(max(45 + 0.5 * (goal - rpm), 0), 100), rpm, goal))
    robot = robot_for(names={"wheel_rpm": "spd", "setpoint": "tgt", "power_pct": "pwr"})
    decoding = decode_lines(arriving(times, texts), robot, 23.0)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.6)
    assert (len(pairs), made_up) == (len(wheel.shots), 0)
    assert decoding.lines - decoding.good < 5


@pytest.mark.parametrize("word", ["READY", "-> READY", "at speed", "Spinning up!", "not ready", "OFF"])
def test_what_the_robot_does_is_no_unit(word):
    line = Line(robot_for(names={"wheel_rpm": "rpm"}))
    for i in range(60):
        line.feed(f"rpm: {1500 + i % 3} {word}\n".encode(), 0.02 * (i + 1))
    assert line.live("live", "", None, 1.2).wheel_rpm == pytest.approx(1501, abs=1)


def test_a_word_that_may_be_a_unit_stays_one():
    """Electrical turns a minute are some times the wheel's."""
    line = Line(robot_for(names={"wheel_rpm": "rpm"}))
    for i in range(60):
        line.feed(f"rpm: {9000 + i % 3} erpm\n".encode(), 0.02 * (i + 1))
    live = line.live("live", "", None, 1.2)
    assert live.wheel_rpm is None
    assert "unknown unit erpm" in live.words


def test_no_number_now_and_then_costs_no_shot(wheel):
    """One reading in twenty is nan or ovf, as some programs print what they can't calculate; other lines between."""
    times = loop(0.03)
    texts = []
    for i, at in enumerate(times):
        rpm = "nan" if i % 37 == 0 else "ovf" if i % 53 == 0 else f"{wheel.rpm[wheel.index(at)]:.2f}"
        texts.append(f"here{i % 3}\nWheel speed (RPM) = {rpm}\tBattery (V) = 10.31\n")
    robot = robot_for(names={"wheel_rpm": "Wheel speed", "battery_v": "Battery"})
    decoding = decode_lines(arriving(times, texts), robot, 23.0)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.6)
    assert made_up == 0
    assert len(pairs) >= len(wheel.shots) - 1
    assert "Wheel speed is nan" in decoding.notices
