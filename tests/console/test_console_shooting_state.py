"""What is being shot: typed distances and misses, shots without a result, what a result key is about."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from console_world import live, seen, slider, thrower
from hypothesis import given
from hypothesis import strategies as st

from fieldtune.aim.results import SetpointChoice
from fieldtune.battery.status import BatteryStatus
from fieldtune.console import main_words, words
from fieldtune.console.screens.battery_words import now
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.typed import Distance, read_distance, read_miss
from fieldtune.errors import InputError
from fieldtune.link.samples import Live, WheelFigures
from fieldtune.link.sim.robot import Outcome
from fieldtune.robot.model import Robot

ROBOT = thrower()


@pytest.mark.parametrize(
    ("text", "metres"),
    [("3.2 m", 3.2), ("3.2", 3.2), ("3,2", 3.2), ("320 cm", 3.2), ("10 ft", 3.048), ("Far Line", 3.2), (" 2 ", 2.0)],
)
def test_distances_as_people_type_them(text: str, metres: float) -> None:
    assert read_distance(text, ROBOT).value_m == pytest.approx(metres, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "three", "3.2 kg", "-1", "0", "0 m", "1e9 m", "nan", "[bold]", "\x1b[31m3", "1 2"]
)
def test_unreadable_distances_say_what_to_write(text: str) -> None:
    with pytest.raises(InputError) as caught:
        read_distance(text, ROBOT)
    assert "3.2 m" in str(caught.value)
    assert "10 ft" in str(caught.value)
    assert "\x1b" not in str(caught.value)


@given(st.text(max_size=30))
def test_no_typed_text_does_anything_but_read_or_explain(text: str) -> None:
    for read in (lambda t: read_distance(t, ROBOT), read_miss):
        try:
            said = str(read(text))
        except InputError as error:
            said = str(error)
        assert said.isprintable()


@pytest.mark.parametrize(
    ("text", "along", "side"),
    [
        ("12", 0.12, None),
        ("-8 cm", -0.08, None),
        ("short 8", -0.08, None),
        ("-8 right 5", -0.08, 0.05),
        ("left 10", None, -0.10),
        ("+3,5", 0.035, None),
    ],
)
def test_misses_in_centimetres(text: str, along: float | None, side: float | None) -> None:
    assert read_miss(text) == (pytest.approx(along), pytest.approx(side))


@pytest.mark.parametrize("text", ["", "far", "short", "12 12", "99999", "right"])
def test_unreadable_misses_say_what_to_write(text: str) -> None:
    with pytest.raises(InputError, match="cm"):
        read_miss(text)


class Clock:
    """Seconds that a test sets."""

    def __init__(self) -> None:
        self.seconds = 100.0

    def __call__(self) -> float:
        return self.seconds

    def now(self) -> datetime:
        return datetime(2026, 3, 1, tzinfo=UTC) + timedelta(seconds=self.seconds)


def shooting_state(robot: Robot, now: Live, clock: Clock | None = None) -> ShootingState:
    clock = clock or Clock()
    return ShootingState(robot, now, clock, clock.now)


def test_a_seen_shot_waits_with_everything_the_line_knew() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.look(live(distance_m=3.1))
    (shot,) = shooting.look(live(distance_m=3.1, shots=(seen(1, distance_m=3.08),)))
    assert shooting.asked_about() == (shot,)
    assert (shot.distance_m, shot.setpoint, shot.speed, shot.battery_v) == (3.08, 2450.0, 2440.0, 9.7)
    assert (shot.distance_from, shot.robot_distance_m) == ("robot", 3.08)


def test_a_shot_told_later_than_a_newer_one_waits_before_it() -> None:
    state, history = shooting_state(ROBOT, live()), np.array([8.0, 10.2])
    (newer,) = state.look(live(history_s=history, shots=(seen(1, time_s=10.0),)))
    both = live(history_s=history, shots=(seen(2, time_s=9.4), seen(1, time_s=10.0)))
    (older,) = state.look(both)
    assert state.unanswered == [older, newer]
    assert state.asked_about() == (newer,)
    assert state.look(both) == []


@pytest.mark.parametrize("shot", [True, False])
def test_a_dip_that_the_line_cannot_settle_is_asked_about_once(shot: bool) -> None:
    state = shooting_state(ROBOT, live())
    dip = seen(1)
    assert state.look(replace(live(), unsure=dip)) == []
    assert state.asks_about_dip
    asked = main_words.next_step(state.live, state, ROBOT, False, False)
    assert asked.startswith("Was that a shot")
    assert "y yes, or its result   x no shot" in asked
    settled = state.settle_unsure(shot=shot)
    assert len(settled) == len(state.unanswered) == int(shot)
    state.look(replace(live(), unsure=dip))
    assert not state.asks_about_dip


@pytest.mark.parametrize("shot", [True, False])
def test_yes_and_no_are_for_the_dip_when_a_shot_has_just_taken_its_place(shot: bool) -> None:
    clock = Clock()
    state = shooting_state(ROBOT, live(), clock)
    state.look(replace(live(), unsure=seen(1)))
    assert state.asks_about_dip
    state.look(replace(live(), unsure=seen(1), shots=(seen(1),)))
    assert not state.asks_about_dip  # the shot is asked about
    assert state.asked_just_now
    launched = state.asked_about()
    state.settle_unsure(shot=shot)
    assert launched[0] in state.unanswered
    assert len(state.unanswered) == 1 + shot
    state.look(replace(live(), unsure=seen(2), shots=(seen(1), seen(2))))
    assert not state.asked_just_now  # shots without a result came first all the time
    state.unanswered.clear()
    state.look(replace(live(), unsure=seen(3), shots=(seen(1), seen(2))))
    assert state.asks_about_dip
    state.look(replace(live(), unsure=seen(3), shots=(seen(1), seen(2), seen(3))))
    state.unanswered.clear()
    assert not state.asks_about_dip  # answered at once: the dip isn't asked about for the rest of that time
    assert state.asked_just_now
    clock.seconds += 1.0
    state.look(replace(live(), unsure=seen(3), shots=(seen(1), seen(2), seen(3))))
    assert not state.asked_just_now


def test_a_shot_keeps_what_was_true_when_it_left() -> None:
    """1.2 s before the last sample, which is 0.02 s old: target, spot and battery were changed since, and are again."""
    low, high = replace(ROBOT.target(), name="low"), replace(ROBOT.target(), name="high")
    clock = Clock()
    shooting = shooting_state(replace(ROBOT, targets=(low, high)), live(), clock)
    shooting.epoch = 1
    shooting.choose(Distance(2.5, "typed", "typed"))
    shooting.look(live(battery_v=9.8))
    clock.seconds += 1.0
    shooting.choose(Distance(3.5, "spot", "far line"))
    shooting.target_number, shooting.epoch = 1, 2
    shooting.look(live(battery_v=9.9))
    clock.seconds += 0.7
    (shot,) = shooting.look(live(history_s=np.array([10.0, 11.2]), shots=(seen(1, time_s=10.0, battery_v=9.7),)))
    assert (shot.distance_m, shot.distance_from, shot.target, shot.epoch) == (2.5, "typed", "low", 1)
    assert shot.battery_v == 9.7
    assert shooting.age_s(shot) == pytest.approx(1.22, abs=0.001)
    clock.seconds += 60
    shooting.choose(Distance(1.0, "typed", "typed"))
    assert shooting.asked_about()[0] is shot


def test_a_shot_right_behind_a_typed_distance_was_from_there() -> None:
    """Both between two looks at the line, as quick hands do, of a line that tells no time."""
    clock = Clock()
    shooting = shooting_state(ROBOT, live(), clock)
    shooting.look(live(distance_m=2.6))
    clock.seconds += 0.1
    shooting.choose(Distance(1.5, "typed", "typed"))
    clock.seconds += 0.05
    (shot,) = shooting.look(live(distance_m=2.6, shots=(seen(1),)))
    assert (shot.distance_m, shot.distance_from, shot.robot_distance_m) == (1.5, "typed", 2.6)


def test_the_newest_shot_is_asked_about_first_and_each_once() -> None:
    shooting = shooting_state(ROBOT, live())
    for shots in ((seen(1),), (seen(1), seen(2)), (seen(2), seen(3)), (seen(2), seen(3))):
        shooting.look(live(shots=shots))
    assert len(shooting.unanswered) == 3
    assert shooting.asked_about() == (shooting.unanswered[-1],)
    shooting.chosen = (shooting.unanswered[0],)
    assert shooting.asked_about() == (shooting.unanswered[0],)


def test_a_simulated_shot_brings_what_a_spectator_saw_once() -> None:
    shooting = shooting_state(ROBOT, live())
    short = Outcome(1, 10.0, 2.5, 2450.0, 2440.0, "short", -0.12, 0.01)
    shooting.look(live(shots=(seen(1),)), (short,))
    shooting.look(live(shots=(seen(1), seen(2))), (short,))
    assert [shot.hint for shot in shooting.unanswered] == ["short, by 12 cm", None]


def test_after_a_restart_of_the_line_shots_are_seen_again() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.look(live(shots=(seen(7),)))
    assert len(shooting.look(live(shots=(seen(1),)))) == 1


def test_a_setpoint_that_the_line_does_not_send_is_the_wheels_speed_not_the_recommendation() -> None:
    shooting = shooting_state(ROBOT, live(setpoint=None))
    shooting.aim = SimpleNamespace(distance_m=1.8, setpoint=SetpointChoice(2000.0, "rpm", 1990.0, 2010.0), target=None)  # type: ignore[assignment]
    (shot,) = shooting.look(live(setpoint=None, shots=(seen(1, setpoint=None),)))
    assert shot.setpoint == 2440.0
    assert shooting.shot_now().setpoint == 2410.0  # one that wasn't seen: what the wheel does now
    shooting.look(live(setpoint=None, wheel_rpm=None))
    assert shooting.shot_now().setpoint == 2000.0


@pytest.mark.parametrize(
    ("shot", "line", "says"),
    [
        ({"speed_rpm": 2100.0}, {}, "it left at 2100 rpm, but the setpoint was 2450 rpm"),
        ({"speed_rpm": 2400.0}, {}, ""),
        ({}, {"distance_m": 2.6}, "typed 1.50 m, the robot read 2.60 m"),
        ({}, {"distance_m": 1.55}, ""),
    ],
)
def test_contradictions_are_named_before_they_teach(shot: dict[str, float], line: dict[str, float], says: str) -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.choose(Distance(1.5, "typed", "typed"))
    shooting.look(live(**line))
    (found,) = shooting.look(live(shots=(seen(1, **shot),), **line))
    doubts, _ = shooting.doubts(found, "in", None, None)
    assert "; ".join(doubts) == says
    said, _ = shooting.doubts(found, "in", 0.6, None)
    assert said[-1] == "the measured miss says long, the result says in"


def test_a_shot_that_was_not_seen_is_doubted_where_the_line_reports_shots() -> None:
    shooting = shooting_state(ROBOT, live())
    assert shooting.doubts(shooting.shot_now(), "in", None, None)[0] == []
    shooting.look(live(shots=(seen(1),)))
    assert shooting.doubts(shooting.shot_now(), "in", None, None)[0] == ["no shot was seen"]
    shooting.look(live(state="lost", shots=(seen(1),)))
    assert shooting.doubts(shooting.shot_now(), "in", None, None)[0] == []
    slow = shooting_state(ROBOT, live(wheel_rpm=1500.0))
    assert slow.doubts(slow.shot_now(), "in", None, None)[0] == ["wheel at 1500 rpm, setpoint 2450 rpm"]


def test_a_suggestion_is_not_a_distance_where_the_robot_reads_its_own() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.choose(Distance(2.0, "typed", "typed"))
    shooting.look(live(distance_m=2.6))
    assert shooting.reading_apart_m == 2.6
    shooting.suggest(Distance(1.78, "asked", "worth taking"))
    assert shooting.distance is not None
    assert shooting.suggestion is not None
    assert (shooting.distance.value_m, shooting.suggestion.value_m) == (2.6, 1.78)
    shooting.look(live(distance_m=1.8))
    assert shooting.distance.value_m == 1.8
    shooting.end_suggestion()
    assert shooting.distance.value_m == 1.8


def test_without_a_reading_a_suggestion_is_where_one_stands_until_it_is_over() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.choose(Distance(2.0, "typed", "typed"))
    shooting.suggest(Distance(1.78, "asked", "worth taking"))
    assert shooting.distance == Distance(1.78, "asked", "worth taking")
    shooting.end_suggestion()
    assert shooting.distance == Distance(2.0, "typed", "typed")


def test_an_old_reading_tells_its_age() -> None:
    clock = Clock()
    shooting = shooting_state(ROBOT, live(), clock)
    shooting.look(live(distance_m=2.6))
    clock.seconds += 12
    shooting.look(live(state="lost", distance_m=None))
    assert shooting.reading_age_s == 12.0
    assert shooting.distance is not None
    assert shooting.distance.value_m == 2.6


def test_a_typed_distance_outlives_the_robots_reading_until_handed_back() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.look(live(distance_m=3.0))
    assert shooting.distance is not None
    assert shooting.distance.source == "robot"
    shooting.choose(Distance(2.0, "typed", "typed"))
    shooting.look(live(distance_m=3.0))
    assert shooting.distance.value_m == 2.0
    shooting.look(live(distance_m=2.9))
    shooting.follow()
    assert shooting.distance.value_m == 2.9
    shooting.look(live())
    with pytest.raises(InputError, match="sends no distance"):
        shooting.follow()


def test_without_a_distance_a_result_asks_for_it() -> None:
    shooting = shooting_state(thrower(spots=()), live())
    with pytest.raises(InputError, match="Press d"):
        shooting.complete(shooting.shot_now())


def test_without_any_setpoint_a_result_says_so() -> None:
    shooting = shooting_state(ROBOT, live(setpoint=None, wheel_rpm=None))
    with pytest.raises(InputError, match="setpoint"):
        shooting.complete(shooting.shot_now())


def test_steps_keep_to_whole_steps_and_stay_in_front() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.choose(Distance(1.83, "typed", "typed"))
    shooting.step(0.05)
    assert shooting.distance is not None
    assert shooting.distance.value_m == pytest.approx(1.90)
    for _ in range(100):
        shooting.step(-0.05)
    assert shooting.distance.value_m > 0


def test_readback_is_said_in_words() -> None:
    assert words.against(2410.0, 2450.0, ROBOT) == "below by 40 rpm"
    assert words.against(2449.0, 2450.0, ROBOT) == "on setpoint"
    assert words.against(2500.0, 2450.0, ROBOT) == "above by 50 rpm"
    assert words.against(None, 2450.0, ROBOT) == "no readback"
    assert words.against(31.5, 30.0, slider()) == "above by 1.5 mm"
    assert words.against(2430.0, 2450.0, ROBOT) == "on setpoint"
    good = SimpleNamespace(setpoint=SetpointChoice(2450.0, "rpm", 2440.0, 2460.0))
    # Within one per cent, but where setpoints are no longer good.
    assert words.against(2430.0, 2450.0, ROBOT, good) == "below by 20 rpm"
    assert words.against(2441.0, 2450.0, ROBOT, good) == "on setpoint"
    assert words.against(2620.0, 2640.0, ROBOT, good) == "on setpoint"  # told something else: held all the same


@pytest.mark.parametrize(
    ("error", "ripple", "ready"),
    [(15.0, 4.0, True), (-40.0, 4.0, True), (15.0, 90.0, False), (-60.0, 4.0, False), (None, None, False)],
)
def test_a_wheel_that_settles_a_little_off_is_not_waited_for(
    error: float | None, ripple: float | None, ready: bool
) -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.choose(Distance(2.5, "typed", "typed"))
    good = SetpointChoice(2450.0, "rpm", 2440.0, 2460.0)
    shooting.aim = SimpleNamespace(  # type: ignore[assignment]
        distance_m=2.5, setpoint=good, reachable=True, target=None, battery_v=None, exit_angle_setpoint_deg=None
    )
    wheel = live(wheel_rpm=2450.0 + (error or -25.0), wheel=WheelFigures(steady_error_rpm=error, ripple_rpm=ripple))
    said = main_words.next_step(wheel, shooting, ROBOT, sim=False, writing=False)
    assert said.startswith("Ready at 2450 rpm" if ready else "Wait: wheel"), said
    shown = "".join(part if isinstance(part, str) else part[0] for part in main_words.readback(wheel, shooting, ROBOT))
    assert ("● steady, " in shown) == ready, shown


def test_no_probability_is_rounded_to_a_certainty() -> None:
    assert words.percent(0.999) == "over 99 %"
    assert words.percent(0.001) == "under 1 %"
    assert words.percent(None) == "unknown"
    assert words.percent(0.5) == "50 %"


def test_a_line_about_a_file_keeps_its_remedy_in_a_small_window() -> None:
    remedy = "the disk is full, so this was not kept; make room and do it again"
    said = words.fitted(f"/home/team/a/very/long/way/down/to/profiles/heron.db: {remedy}", 76)
    assert "not kept; make room" in said
    assert words.fitted("heron.db: short", 76) == "heron.db: short"
    assert words.fitted("a long line that names no file and has to end somewhere", 20) == "a long line that na…"


@pytest.mark.parametrize("scheme", ["", "file://"])
def test_a_port_in_a_deep_folder_leaves_room_for_the_remedy(scheme: str) -> None:
    port = f"{scheme}/home/team/a/very/long/way/down/to/run of the last match.log"
    said = words.link_line(replace(live(), port=port, words=f"listening on {port}, but silent for 4 s"))
    assert said.startswith(f"listening on {scheme}…/run of the last match.log, but silent")
    short = f"{scheme}/dev/tty0"
    assert words.link_line(replace(live(), port=short, words=f"reading {short}")).startswith(f"reading {short}")


def test_the_battery_view_names_one_ceiling() -> None:
    shooting = shooting_state(ROBOT, live())
    shooting.aim = SimpleNamespace(ceiling=3258.0, setpoint=SetpointChoice(2450.0, "rpm", 2440.0, 2460.0))  # type: ignore[assignment]
    unknown = dict.fromkeys(field.name for field in fields(BatteryStatus))
    for ceiling, said in ((None, "ceiling 3258 rpm"), (3265.0, "holds up to 3265 rpm now")):
        status = BatteryStatus(**{**unknown, "ceiling": ceiling, "missing": ()})  # type: ignore[arg-type]
        parts = now(live(battery_v=10.8), shooting, ROBOT, 1, status, ())
        text = "".join(part if isinstance(part, str) else part[0] for part in parts)
        assert re.findall(r"ceiling \d+ rpm|holds up to \d+ rpm now", text) == [said]
