"""CPU of one redraw of each picture at 200 x 60 cells, from its records to the strips of cells."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fieldtune import Session, load_robot
from fieldtune.aim.chance_field import chance_field, map_range
from fieldtune.battery.change import Outlook as Level
from fieldtune.charts.chart import Chart
from fieldtune.charts.design import angle_chart, budget_chart, comparison_charts, energy_chart
from fieldtune.charts.history import Holding, Outlook, current_chart, level_chart, voltage_chart, wheel_chart
from fieldtune.charts.learned import learned_charts
from fieldtune.charts.robot_map import MapPoints, robot_map
from fieldtune.console import themes
from fieldtune.console.drawing import Drawing
from fieldtune.console.widgets.pictures import strips_of
from fieldtune.console.widgets.tints import Palette
from fieldtune.learn.posterior import learn
from fieldtune.link.history import LineHistory
from fieldtune.link.samples import Sample
from fieldtune.scene import scene
from fieldtune.sizing.compare import compare
from fieldtune.sizing.energy_chain import energy_chain

pytestmark = pytest.mark.bench
ROWS, COLUMNS, TIMES = 56, 198, 15
MOST_MS = 15.0


def measured(name: str, make: Callable[[], object]) -> None:
    palette, taken = Palette(themes.PALETTES[themes.DARK], Drawing()), []
    for _ in range(TIMES):
        begun = time.process_time()
        picture = make()
        strips_of(picture, ROWS, COLUMNS, palette)  # type: ignore[arg-type]
        taken.append(1000 * (time.process_time() - begun))
    middle = statistics.median(taken)
    print(f"{name:<20} {middle:5.1f} ms of CPU")
    assert middle <= MOST_MS


def test_each_picture_is_redrawn_within_its_time() -> None:
    robot = load_robot("heron")
    with Session(robot) as session:
        for distance, setpoint in ((1.5, 1380.0), (2.0, 1540.0), (2.6, 1700.0), (3.2, 1880.0)):
            session.confirm(distance, setpoint, "in")
        target, belief = robot.target(), session.belief
        shown = map_range(robot, target, belief)
        assert shown is not None
        field, shots = chance_field(robot, target, belief, *shown), session.log.shots()
        path, aim = session.picture(2.0, 1540.0), session.aim(2.0)
        learned = learned_charts(learn(robot, ()), session.posterior, robot, target)
        budget, sweep = session.budget(2.0), session.angle(35, 75, 2.5)
    history = LineHistory(is_wheel=True)
    history.take(
        Sample(time_s=t, arrival_s=t, wheel_rpm=1500 + 20 * np.sin(t), setpoint=1500.0, battery_v=10.5, current_a=2.0)
        for t in np.arange(0, 1200, 0.05).tolist()
    )
    end = history.end_s or 0.0
    outlook = Outlook(10.6, 0.05, 60.0, (40.0, 90.0), 9.2)
    print()
    measured("path", lambda: scene(robot, target, 2.0, path, path, 0.5, chance=aim.hit_probability, ghost=path))
    measured("map", lambda: robot_map(robot, field, MapPoints(2.0, 1500.0, (2.5, 1600.0), 2100.0, 1), shots))
    for span in (10.0, 300.0):
        measured(
            f"wheel {span:.0f} s",
            lambda span=span: wheel_chart(
                robot, history.stretch(end - span, end), end, span, Holding(0.0, 8.0, (1480, 1520))
            ),
        )
    measured("voltage", lambda: voltage_chart(history.stretch(0.0, end), end, outlook, 150.0))
    measured("current", lambda: current_chart(history.stretch(0.0, end), end))
    for chart in learned:
        measured(chart.title[:20], lambda chart=chart: replace(chart))
    measured("budget", lambda: budget_chart(budget.spots[0]))
    measured("exit angle", lambda: angle_chart(sweep))
    otter = load_robot("otter")
    beside = compare([robot, otter], {one.name: Session(one).belief for one in (robot, otter)})
    chain = energy_chain(otter, 40.0, 3.0)
    for number in (0, 1):
        measured(f"side by side {number + 1}", lambda number=number: comparison_charts(beside)[number])
    measured("energy", lambda: energy_chart(chain))
    levels = (Level(2.0, 1540.0, 0.7, None, (1500.0, 1580.0)), Level(2.0, 1560.0, 0.5, None, (1480.0, 1640.0)))
    measured("level", lambda: level_chart(robot, *levels, 1))
    assert all(isinstance(chart, Chart) for chart in learned)
