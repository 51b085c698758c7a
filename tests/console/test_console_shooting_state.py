"""What is being shot: typed distances and misses, shots without a result, what a result key is about."""

from __future__ import annotations

import re
from dataclasses import fields
from types import SimpleNamespace

import pytest
from console_world import live, seen, slider, thrower
from hypothesis import given
from hypothesis import strategies as st

from fieldtune.aim.results import SetpointChoice
from fieldtune.battery.status import BatteryStatus
from fieldtune.console import words
from fieldtune.console.screens import main_words
from fieldtune.console.screens.battery_words import now
from fieldtune.console.shooting_state import Distance, ShootingState, read_distance, read_miss
from fieldtune.errors import InputError
from fieldtune.link.sim.hidden_truth import Outcome
from fieldtune.link.snapshot import WheelFigures

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


def test_a_seen_shot_waits_with_everything_the_line_knew() -> None:
    shooting = ShootingState(ROBOT, live())
    shooting.look(live(distance_m=3.1))
    shooting.look(live(distance_m=3.1, shots=(seen(1, distance_m=3.08),)))
    shot = shooting.to_confirm()
    assert (shot.distance_m, shot.setpoint, shot.speed, shot.battery_v) == (3.08, 2450.0, 2440.0, 9.7)


def test_a_seen_shot_keeps_the_distance_that_held_when_it_was_seen() -> None:
    shooting = ShootingState(ROBOT, live())
    shooting.choose(Distance(2.5, "typed", "typed"))
    shooting.look(live(shots=(seen(1),)))
    shooting.choose(Distance(3.5, "typed", "typed"))
    assert shooting.to_confirm().distance_m == 2.5


def test_each_shot_is_asked_for_once_and_in_order() -> None:
    shooting = ShootingState(ROBOT, live())
    for shots in ((seen(1),), (seen(1), seen(2)), (seen(2), seen(3)), (seen(2), seen(3))):
        shooting.look(live(shots=shots))
    assert [shot.number for shot in shooting.unanswered] == [1, 2, 3]


def test_a_simulated_shot_brings_what_a_spectator_saw_once() -> None:
    shooting = ShootingState(ROBOT, live())
    short = Outcome(1, 10.0, 2.5, 2450.0, 2440.0, "short", -0.12, 0.01)
    shooting.look(live(shots=(seen(1),)), (short,))
    shooting.look(live(shots=(seen(1), seen(2))), (short,))
    assert [shot.hint for shot in shooting.unanswered] == ["short, by 12 cm", None]


def test_after_a_restart_of_the_line_shots_are_seen_again() -> None:
    shooting = ShootingState(ROBOT, live())
    shooting.look(live(shots=(seen(7),)))
    shooting.look(live(shots=(seen(1),)))
    assert [shot.number for shot in shooting.unanswered] == [7, 1]


def test_a_typed_distance_outlives_the_robots_reading_until_handed_back() -> None:
    shooting = ShootingState(ROBOT, live())
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
    shooting = ShootingState(thrower(spots=()), live())
    with pytest.raises(InputError, match="Press d"):
        shooting.to_confirm()


def test_without_any_setpoint_a_result_says_so() -> None:
    with pytest.raises(InputError, match="setpoint"):
        ShootingState(ROBOT, live(setpoint=None)).to_confirm()


def test_steps_keep_to_whole_steps_and_stay_in_front() -> None:
    shooting = ShootingState(ROBOT, live())
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
    shooting = ShootingState(ROBOT, live())
    shooting.choose(Distance(2.5, "typed", "typed"))
    good = SetpointChoice(2450.0, "rpm", 2440.0, 2460.0)
    shooting.aim = SimpleNamespace(distance_m=2.5, setpoint=good, reachable=True, target=None, battery_v=None)  # type: ignore[assignment]
    wheel = live(wheel_rpm=2450.0 + (error or -25.0), wheel=WheelFigures(steady_error_rpm=error, ripple_rpm=ripple))
    ((said, _),) = main_words.todo(wheel, shooting, ROBOT, sim=False, writing=False)
    assert said.startswith(" ▶  Ready at 2450 rpm" if ready else " ▶  Wait: wheel"), said
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


def test_the_battery_view_names_one_ceiling() -> None:
    shooting = ShootingState(ROBOT, live())
    shooting.aim = SimpleNamespace(ceiling=3258.0, setpoint=SetpointChoice(2450.0, "rpm", 2440.0, 2460.0))  # type: ignore[assignment]
    unknown = dict.fromkeys(field.name for field in fields(BatteryStatus))
    for ceiling, said in ((None, "ceiling 3258 rpm"), (3265.0, "holds up to 3265 rpm now")):
        status = BatteryStatus(**{**unknown, "ceiling": ceiling, "missing": ()})  # type: ignore[arg-type]
        parts = now(live(battery_v=10.8), shooting, ROBOT, 1, status, ())
        text = "".join(part if isinstance(part, str) else part[0] for part in parts)
        assert re.findall(r"ceiling \d+ rpm|holds up to \d+ rpm now", text) == [said]
