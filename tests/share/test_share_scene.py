"""One scene under two renderers: what the sheet draws stands where the console draws it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from fieldtune import Session, load_robot
from fieldtune.console.widgets.braille import ROBOT, draw, frame
from fieldtune.robot.home import demo_home
from fieldtune.scene import Line, Scene, scene
from fieldtune.share.path_svg import WIDTH, picture


def scene_of(name: str) -> Scene:
    robot = load_robot(demo_home() / f"{name}.toml")
    distance = robot.spots[0].distance
    with Session(robot) as session:
        value = session.aim(distance).setpoint.value
        assert value is not None
        return scene(robot, robot.target(), distance, session.picture(distance, value), flown=1.0)


def millimetres(shown: Scene, drawn: str) -> list[np.ndarray]:
    """Points (n, 2) of every line of the SVG, in metres of the field."""
    box = [float(v) for v in re.findall(r'viewBox="([^"]*)"', drawn)[0].split()]
    scale = min(WIDTH / (shown.right - shown.left), (box[3] - 4.5) / (shown.high - shown.low))
    left = shown.left - (WIDTH / scale - (shown.right - shown.left)) / 2
    lines = []
    for points in re.findall(r'<polyline[^>]*points="([^"]*)"', drawn):
        xy = np.array([[float(v) for v in re.split(r"[ ,]", pair)] for pair in points.strip().split(" ")])
        lines.append(np.column_stack([left + xy[:, 0] / scale, shown.low + (box[3] - 4.5 - xy[:, 1]) / scale]))
    return lines


@pytest.mark.parametrize("name", ["heron", "otter", "crane"])
def test_the_svg_has_every_line_of_the_scene_to_scale(name: str) -> None:
    """To the paper's rounding, a hundredth of a millimetre of some 60 mm for a few metres: 1 mm."""
    shown = scene_of(name)
    drawn = millimetres(shown, picture(shown, "a picture"))
    for shape in shown.shapes:
        if isinstance(shape, Line) and shape.part in ("robot", "target", "path"):
            wanted = np.column_stack([shape.x, shape.y])
            assert any(len(line) == len(wanted) and np.allclose(line, wanted, atol=1e-3) for line in drawn), shape


def test_an_arm_turns_in_front_of_its_exit_in_both() -> None:
    """It comes over from behind and lets go at right angles to its length, so the pivot is ahead and below."""
    shown = scene_of("crane")
    arm = next(s for s in shown.shapes if isinstance(s, Line) and s.part == "robot" and len(s.x) == 2)
    (x, y), (exit_x, exit_y) = (arm.x[0], arm.y[0]), (arm.x[1], arm.y[1])
    assert (exit_x, x > 0, y < exit_y) == (0.0, True, True)
    assert any(np.allclose(line[0], (x, y), atol=1e-3) for line in millimetres(shown, picture(shown, "")))
    view = frame(shown, 30, 100)
    dots = draw(shown, 30, 100).dots[ROBOT]
    assert dots[int(np.rint(view.row(y))) - 2 :, int(np.rint(view.column(x))) - 2 :][:5, :5].any()


def test_the_element_is_where_the_path_ends() -> None:
    shown = scene_of("heron")
    path = next(s for s in shown.shapes if isinstance(s, Line) and s.part == "path")
    element = shown.shapes[-1]
    assert (element.x, element.y) == (path.x[-1], path.y[-1])  # type: ignore[union-attr]
