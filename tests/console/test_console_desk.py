"""The rules of the desk: typed distances and misses, shots that wait, what a result key is about."""

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
from fieldtune.console.shooting_state import Desk, Place, read_distance, read_miss
from fieldtune.errors import InputError
from fieldtune.link.sim.hidden_truth import Outcome
from fieldtune.link.snapshot import WheelFigures

ROBOT = thrower()


@pytest.mark.parametrize(
    ("text", "metres"),
    [("3.2 m", 3.2), ("3.2", 3.2), ("3,2", 3.2), ("320 cm", 3.2), ("10 ft", 3.048), ("Far Line", 3.2), (" 2 ", 2.0)],
)
def test_distances_as_people_type_them(text: str, metres: float) -> None:
    assert read_distance(text, ROBOT).distance_m == pytest.approx(metres, abs=1e-9)


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
    desk = Desk(ROBOT)
    desk.look(live(distance_m=3.1))
    desk.look(live(distance_m=3.1, shots=(seen(1, distance_m=3.08),)))
    shot = desk.to_confirm(live())
    assert (shot.distance_m, shot.setpoint, shot.speed, shot.battery_v) == (3.08, 2450.0, 2440.0, 9.7)


def test_a_seen_shot_keeps_the_distance_that_held_when_it_was_seen() -> None:
    desk = Desk(ROBOT)
    desk.go(Place(2.5, "typed", "typed"))
    desk.look(live(shots=(seen(1),)))
    desk.go(Place(3.5, "typed", "typed"))
    assert desk.to_confirm(live()).distance_m == 2.5


def test_each_shot_is_asked_for_once_and_in_order() -> None:
    desk = Desk(ROBOT)
    for shots in ((seen(1),), (seen(1), seen(2)), (seen(2), seen(3)), (seen(2), seen(3))):
        desk.look(live(shots=shots))
    assert [shot.number for shot in desk.waiting] == [1, 2, 3]


def test_a_simulated_shot_brings_what_a_spectator_saw_once() -> None:
    desk = Desk(ROBOT)
    short = Outcome(1, 10.0, 2.5, 2450.0, 2440.0, "short", -0.12, 0.01)
    desk.look(live(shots=(seen(1),)), (short,))
    desk.look(live(shots=(seen(1), seen(2))), (short,))
    assert [shot.hint for shot in desk.waiting] == ["short, by 12 cm", None]


def test_after_a_restart_of_the_line_shots_are_seen_again() -> None:
    desk = Desk(ROBOT)
    desk.look(live(shots=(seen(7),)))
    desk.look(live(shots=(seen(1),)))
    assert [shot.number for shot in desk.waiting] == [7, 1]


def test_a_typed_distance_outlives_the_robots_reading_until_handed_back() -> None:
    desk = Desk(ROBOT)
    desk.look(live(distance_m=3.0))
    assert desk.place is not None
    assert desk.place.source == "robot"
    desk.go(Place(2.0, "typed", "typed"))
    desk.look(live(distance_m=3.0))
    assert desk.place.distance_m == 2.0
    desk.follow(live(distance_m=2.9))
    assert desk.place.distance_m == 2.9
    with pytest.raises(InputError, match="sends no distance"):
        desk.follow(live())


def test_without_a_distance_a_result_asks_for_it() -> None:
    desk = Desk(thrower(spots=()))
    with pytest.raises(InputError, match="Press d"):
        desk.to_confirm(live())


def test_without_any_setpoint_a_result_says_so() -> None:
    with pytest.raises(InputError, match="setpoint"):
        Desk(ROBOT).to_confirm(live(setpoint=None))


def test_steps_keep_to_whole_steps_and_stay_in_front() -> None:
    desk = Desk(ROBOT)
    desk.go(Place(1.83, "typed", "typed"))
    desk.step(0.05)
    assert desk.place is not None
    assert desk.place.distance_m == pytest.approx(1.90)
    for _ in range(100):
        desk.step(-0.05)
    assert desk.place.distance_m > 0


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
    desk = Desk(ROBOT)
    desk.go(Place(2.5, "typed", "typed"))
    good = SetpointChoice(2450.0, "rpm", 2440.0, 2460.0)
    desk.aim = SimpleNamespace(distance_m=2.5, setpoint=good, reachable=True, target=None, battery_v=None)  # type: ignore[assignment]
    wheel = live(wheel_rpm=2450.0 + (error or -25.0), wheel=WheelFigures(steady_error_rpm=error, ripple_rpm=ripple))
    ((said, _),) = main_words.todo(wheel, desk, ROBOT, sim=False, keeping=False)
    assert said.startswith(" ▶  Ready at 2450 rpm" if ready else " ▶  Wait: wheel"), said
    shown = "".join(part if isinstance(part, str) else part[0] for part in main_words.readback(wheel, desk, ROBOT))
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
    desk = Desk(ROBOT)
    desk.aim = SimpleNamespace(ceiling=3258.0, setpoint=SetpointChoice(2450.0, "rpm", 2440.0, 2460.0))  # type: ignore[assignment]
    unknown = dict.fromkeys(field.name for field in fields(BatteryStatus))
    for ceiling, said in ((None, "ceiling 3258 rpm"), (3265.0, "holds up to 3265 rpm now")):
        status = BatteryStatus(**{**unknown, "ceiling": ceiling, "missing": ()})  # type: ignore[arg-type]
        parts = now(live(battery_v=10.8), desk, ROBOT, 1, status, ())
        text = "".join(part if isinstance(part, str) else part[0] for part in parts)
        assert re.findall(r"ceiling \d+ rpm|holds up to \d+ rpm now", text) == [said]
