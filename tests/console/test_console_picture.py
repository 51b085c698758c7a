"""What is drawn lies where it should: one scale, dots on the path, tint within the band, the target filled."""

from __future__ import annotations

import numpy as np
import pytest
from console_world import slide, slider, thrower, vacuum_arc

from fieldtune.console.widgets import braille as parts
from fieldtune.console.widgets import tints
from fieldtune.console.widgets.braille import Canvas, draw, frame
from fieldtune.scene import Scene, body_length, scene

ROBOT = thrower()
SIZES = [(12, 44), (26, 74), (30, 100), (40, 180), (8, 20)]


def throw(speed: float = 5.9, distance: float = 3.0) -> Scene:
    return scene(ROBOT, ROBOT.target(), distance, vacuum_arc(ROBOT, speed, distance))


def dots(canvas: Canvas, layer: int) -> tuple[np.ndarray, np.ndarray]:
    row, column = np.nonzero(canvas.dots[layer])
    return row, column


@pytest.mark.parametrize(("rows", "columns"), SIZES)
def test_every_dot_of_the_path_lies_within_one_dot_of_it(rows: int, columns: int) -> None:
    shown = throw()
    view = frame(shown, rows, columns)
    row, column = dots(draw(shown, rows, columns), parts.PATH)
    x = column / view.dots_per_m + view.left_m
    picture = vacuum_arc(ROBOT, 5.9, 3.0)
    # A dot may stand half a dot off in each direction; on a steep path the height then differs by the slope times that.
    slope = np.abs(np.interp(x, picture.x, np.gradient(picture.y, picture.x)))
    off = np.abs(row - view.row(np.interp(x, picture.x, picture.y)))
    assert np.all(off <= 1.5 + 1.5 * slope + 0.1)  # the line is two dots thick
    assert len(row) >= min(columns, 20)


@pytest.mark.parametrize(("rows", "columns"), SIZES)
def test_robot_target_and_path_all_fit(rows: int, columns: int) -> None:
    shown = throw()
    view = frame(shown, rows, columns)
    assert view.column(-body_length(ROBOT)) >= 0
    assert view.column(3.0 + 0.15) <= 2 * columns - 1
    assert view.row(float(vacuum_arc(ROBOT, 5.9, 3.0).y.max())) >= 0
    assert 0 <= view.row(0.0) <= 4 * rows - 1


def test_the_basket_is_drawn_to_the_scale_of_the_floor() -> None:
    rows, columns = 30, 100
    shown = throw()
    view = frame(shown, rows, columns)
    row, column = dots(draw(shown, rows, columns), parts.TARGET)
    rim = np.abs(row - view.row(0.95)) < 1
    width_m = (column[rim].max() - column[rim].min()) / view.dots_per_m
    assert width_m == pytest.approx(0.30, abs=1.5 / view.dots_per_m)


def test_band_covers_what_lies_between_its_edges_and_little_else() -> None:
    rows, columns = 30, 100
    shown = throw()
    view = frame(shown, rows, columns)
    canvas = draw(shown, rows, columns)
    picture = vacuum_arc(ROBOT, 5.9, 3.0)
    for column in range(columns):
        x = view.left_m + (2 * column + 0.5) / view.dots_per_m
        tinted = np.nonzero(canvas.tint[:, column] == tints.BAND)[0]
        if not picture.x[0] <= x <= picture.x[-1]:
            assert len(tinted) == 0
            continue
        top = float(view.row(np.interp(x, picture.x, picture.high_y))) / 2
        bottom = float(view.row(max(0.0, np.interp(x, picture.x, picture.low_y)))) / 2
        first = max(0, round(top))
        assert tinted.min() == first
        assert tinted.max() == max(round(bottom) - 1, first)


@pytest.mark.parametrize("chance", [0.25, 0.5, 0.9])
def test_the_basket_is_filled_as_far_as_the_hit_chance(chance: float) -> None:
    shown = scene(ROBOT, ROBOT.target(), 3.0, vacuum_arc(ROBOT, 5.9, 3.0), chance=chance)
    canvas, view = draw(shown, 60, 200), frame(shown, 60, 200)
    filled = np.isin(canvas.tint, (tints.FILL, tints.GOOD))
    left, right, low, high = ROBOT.target().outline(3.0).free
    rows = np.nonzero(filled.any(axis=1))[0]
    share = (len(rows) / 2 * 4 / view.dots_per_m) / (high - low)
    assert share == pytest.approx(chance, abs=2 / view.dots_per_m / (high - low))
    columns = np.nonzero(filled.any(axis=0))[0] * 2 / view.dots_per_m + view.left_m
    assert left < columns.min() < columns.max() < right
    assert (canvas.tint == tints.GOOD).any() == (chance >= 0.65)
    assert any(label.text == f"{100 * chance:.0f} %" for label in canvas.labels)


def test_a_hit_ends_in_the_basket_and_a_short_throw_on_the_floor() -> None:
    hit, short = throw(5.93), throw(4.9)
    for shown, ends_in_basket in ((hit, True), (short, False)):
        view = frame(shown, 30, 100)
        row, column = dots(draw(shown, 30, 100), parts.PATH)
        lowest = row[column > view.column(2.0)].max()
        if ends_in_basket:
            assert lowest < view.row(0.6)
            assert column.max() <= view.column(3.15) + 1
        else:
            assert abs(lowest - view.row(0.0)) < 6


def test_broken_paths_are_drawn_as_far_as_they_go() -> None:
    picture = vacuum_arc(ROBOT, 5.9, 3.0)
    y = picture.y.copy()
    y[60:] = np.nan
    low = picture.low_y.copy()
    low[50:] = -1000.0
    broken = type(picture)(picture.x, y, low, picture.high_y, picture.speed, None, None)
    shown = scene(ROBOT, ROBOT.target(), 3.0, broken, flown=0.9)
    _, column = dots(draw(shown, 30, 100), parts.PATH)
    assert column.max() <= frame(shown, 30, 100).column(picture.x[60]) + 1


def test_the_slide_shows_zone_and_end_at_the_same_place() -> None:
    robot = slider()
    shown = scene(robot, robot.target(), 2.0, slide(2.0))
    canvas = draw(shown, 24, 76)
    row, column = dots(canvas, parts.TARGET)
    middle = (column.min() + column.max()) / 2
    _, disc = dots(canvas, parts.ELEMENT)
    assert (disc.min() + disc.max()) / 2 == pytest.approx(middle, abs=1.5)
    depth_over_width = (column.max() - column.min()) / (row.max() - row.min())
    assert depth_over_width == pytest.approx(0.4 / 0.5, abs=0.08)
    assert any("m/s" in label.text for label in canvas.labels)


@pytest.mark.parametrize(("rows", "columns"), [*SIZES, (3, 8), (5, 9)])
def test_nothing_known_still_draws(rows: int, columns: int) -> None:
    empty = draw(scene(ROBOT, ROBOT.target(), None), rows, columns)
    assert empty.dots[parts.ROBOT].any()
    draw(scene(slider(), slider().target(), None), rows, columns)
