"""The map says what the recommendation and the hit chance say, follows the robot, and sets the distance."""

from __future__ import annotations

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, until
from console_world import live, thrower
from textual.events import Click
from textual.pilot import Pilot

from fieldtune import Session
from fieldtune.aim.chance_field import ChanceField, chance_field, map_range
from fieldtune.charts.chart import Chart, Line, Marks
from fieldtune.charts.robot_map import MapPoints, reading_at, robot_map
from fieldtune.console import ConsoleApp
from fieldtune.console.screens.map import MapScreen, read_point
from fieldtune.console.screens.next import read_setpoint
from fieldtune.console.typed import read_miss
from fieldtune.console.widgets.chart_view import draw_chart
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.tints import CHANCE
from fieldtune.errors import InputError
from fieldtune.learn.next_shot import gain_field

ROBOT = thrower()


SHOTS = [(1.5, 1380.0, "in"), (2.0, 1500.0, "short"), (2.6, 1720.0, "in"), (1.5, 1390.0, "in")]


def with_shots(more: int = 0) -> Session:
    session = Session(ROBOT)
    for distance, setpoint, result in SHOTS + SHOTS[:1] * more:
        session.confirm(distance, setpoint, result)
    session.log.remember("caution understood", "yes")
    return session


@pytest.fixture(scope="module")
def session() -> Session:
    return with_shots()


@pytest.fixture(scope="module")
def field(session: Session) -> ChanceField:
    shown = map_range(ROBOT, ROBOT.target(), session.belief)
    assert shown is not None
    return chance_field(ROBOT, ROBOT.target(), session.belief, *shown)


def marks(chart: Chart, shape: str) -> list[tuple[float, float]]:
    found = [part for part in chart.shapes if isinstance(part, Marks) and shape in part.shapes]
    return [at for part in found for at in zip(part.x.tolist(), part.y.tolist(), strict=True)]


def test_any_point_reads_the_hit_chance_that_is_worked_out_there(session: Session, field: ChanceField) -> None:
    rng = np.random.default_rng(3)
    for _ in range(25):
        distance = rng.uniform(field.distance_m[0], field.distance_m[-1])
        setpoint = np.interp(distance, field.distance_m, field.middle) + rng.uniform(-0.7, 0.7) * field.off[-1]
        read = reading_at(field, distance, setpoint)
        assert read == pytest.approx(session.hit_chance(distance, setpoint), abs=0.01)
    assert reading_at(field, 40.0, 1500.0) is None


def test_the_line_is_the_recommendation(session: Session, field: ChanceField) -> None:
    aim = session.aim(2.0)
    assert aim.setpoint.value is not None
    line = next(part for part in robot_map(ROBOT, field, MapPoints()).shapes if isinstance(part, Line) and part.thick)
    assert np.interp(2.0, line.x, line.y) == pytest.approx(aim.setpoint.value, abs=ROBOT.setpoint.step)
    assert np.interp(2.0, field.distance_m, field.best_chance) == pytest.approx(aim.hit_probability, abs=0.01)


def test_shots_and_the_cross_stand_where_they_are(session: Session, field: ChanceField) -> None:
    chart = robot_map(ROBOT, field, MapPoints(2.0, 1540.0, (2.5, 1700.0), 1900.0, 1), session.log.shots())
    assert marks(chart, "●") == [(1.5, 1380.0), (2.6, 1720.0), (1.5, 1390.0)]
    assert marks(chart, "▼") == [(2.0, 1500.0)]
    assert marks(chart, "╋") == [(2.0, 1540.0)]
    assert marks(chart, "┼") == [(2.5, 1700.0)]
    off_the_map = robot_map(ROBOT, field, MapPoints(2.0, 0.0))
    assert marks(off_the_map, "▼") == [(2.0, pytest.approx(field.bottom))]


def test_tint_lies_along_the_line(session: Session, field: ChanceField) -> None:
    canvas, frame = draw_chart(robot_map(ROBOT, field, MapPoints()), 40, 120)
    for distance in (1.6, 2.0, 2.6, 3.0):
        best = float(np.interp(distance, field.distance_m, field.best))
        on = frame.cell(distance, best)
        assert on is not None
        assert canvas.tint[2 * on[0], on[1]] >= CHANCE
        above = frame.cell(distance, min(best + 2 * field.off[-1], field.top))
        if above is not None and best + 2 * field.off[-1] < field.top:
            assert canvas.tint[2 * above[0], above[1]] == 0


def test_what_a_shot_teaches_is_most_where_next_says(session: Session) -> None:
    gain = gain_field(session.posterior.fit, ROBOT.target())
    planned = session.next()
    assert gain.gain.max() >= planned.gain - 1e-9
    at = int(np.argmin(np.abs(gain.distance_m - planned.distance_m)))
    near = np.interp(planned.setpoint, gain.setpoint[at], gain.gain[at])
    assert near == pytest.approx(planned.gain, abs=0.01)


def test_keys_read_a_point_and_shoot_from_there() -> None:
    session = with_shots(more=3)  # so many shots have fewer draws, and the map is there sooner
    line = ScriptedLine(wheel_rpm=1500.0, setpoint=1500.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("j")
        text = await until(app, pilot, lambda: app.controller.robot_map.field is not None) and ""
        await until(app, pilot, lambda: app.controller.shooting.aim_holds)
        await pilot.press("p", *"2.5 m, 1700", "enter")
        text = await until(app, pilot, "2.50 m, 1700 rpm: ")
        said = text.split("2.50 m, 1700 rpm: ")[1].split("%")[0].replace("under", "").strip()
        assert int(said) == pytest.approx(100 * session.hit_chance(2.5, 1700.0), abs=1.5)
        await pilot.press("full_stop", "up")
        await until(app, pilot, "2.55 m, 17")
        await pilot.press("enter")
        await until(app, pilot, "From 2.55 m")
        screen = app.screen
        assert isinstance(screen, MapScreen)
        pictures = screen.query_one("#map", Pictures)
        frame = pictures._slots[0].frame
        assert frame is not None
        cell = frame.cell(1.5, 1450.0)
        assert cell is not None
        pictures.post_message(Click(pictures, cell[1], cell[0], 0, 0, 1, False, False, False))
        await until(app, pilot, lambda: abs(app.controller.shooting.distance.value_m - 1.5) < 0.04)
        before = pictures.pictures[0]
        line.now = live(wheel_rpm=1450.0, setpoint=1500.0)
        await until(app, pilot, lambda: pictures.pictures[0] is not before)
        cross = next(at for at in marks(pictures.pictures[0], "╋"))
        assert cross[1] == pytest.approx(1450.0, abs=15.0)

    drive(ConsoleApp(ROBOT, session, line), script, (120, 40))


def test_a_point_is_typed_as_it_is_said() -> None:
    assert read_point("2.85 m, 1470 rpm", ROBOT) == (2.85, 1470.0)
    assert read_point("10 ft, 1470", ROBOT) == (pytest.approx(3.048), 1470.0)
    assert read_point("2,85 m, 1470,5", ROBOT) == (2.85, 1470.5)
    for wrong in ("2.85 m", "1470", "", "2.85 m, fast", "far, 1470"):
        with pytest.raises(InputError):
            read_point(wrong, ROBOT)


def test_a_comma_between_thousands_is_refused_and_never_a_thousandth() -> None:
    for read in (lambda: read_setpoint("1,400", ROBOT), lambda: read_point("2.85 m, 1,400 rpm", ROBOT),
                 lambda: read_miss("1,400")):  # fmt: skip
        with pytest.raises(InputError, match="thousands without"):
            read()


def test_a_place_beyond_the_map_is_no_reason_to_work_it_out_again() -> None:
    """A thrower without spots that scores from 20 m by no setpoint."""
    robot = thrower(spots=())
    session = Session(robot)
    session.log.remember("caution understood", "yes")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("d", *"20 m", "enter", "j")
        shown = app.controller.robot_map
        await until(app, pilot, lambda: shown.field is not None)
        assert shown.field is not None
        assert shown.field.distance_m[-1] < 20.0
        await until(app, pilot, lambda: all(worker.group != "map" for worker in app.workers))
        before = shown.field
        for _ in range(6):
            await until(app, pilot, lambda: all(worker.group != "map" for worker in app.workers))
        assert shown.field is before

    drive(ConsoleApp(robot, session, ScriptedLine()), script, (120, 40))
