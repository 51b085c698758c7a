"""Pictures of every view: they agree with the answers, are saved and copied, and no safety text is cut."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import thrower
from textual.pilot import Pilot

from fieldtune import Session, load_robot
from fieldtune.aim.draws import log_speed
from fieldtune.aim.recommend import needed_setpoint_90
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.battery.change import Outlook as Before
from fieldtune.charts.chart import Axis, Band, Bars, Chart, Field, Line, Marks, Words, round_step
from fieldtune.charts.design import budget_chart, comparison_charts, energy_chart
from fieldtune.charts.history import level_chart
from fieldtune.charts.learned import learned_charts
from fieldtune.console import ConsoleApp, themes
from fieldtune.console.drawing import Drawing, drawing_for
from fieldtune.console.widgets.chart_view import draw_chart, frame_of
from fieldtune.learn.posterior import learn
from fieldtune.share.chart_svg import picture_file
from fieldtune.sizing.compare import compare
from fieldtune.sizing.energy_chain import energy_chain

ROBOT = thrower()


@pytest.fixture(scope="module")
def session() -> Session:
    session = Session(ROBOT)
    for distance, setpoint, result, miss in (
        (1.5, 1380.0, "in", 0.02), (2.0, 1500.0, "short", -0.2), (2.6, 1720.0, "in", None), (1.5, 1390.0, "in", None),
        (2.0, 1540.0, "in", None), (3.2, 1900.0, "long", 0.25), (2.6, 1700.0, "in", 0.01),
    ):  # fmt: skip
        session.confirm(distance, setpoint, result, miss_m=miss)
    session.log.remember("caution understood", "yes")
    return session


def test_axes_have_few_round_numbers() -> None:
    assert [round_step(x) for x in (0.011, 0.2, 3.0, 51.0)] == pytest.approx([0.02, 0.2, 5.0, 100.0])
    assert Axis(1.05, 3.6).ticks(6) == ((1.5, "1.5"), (2.0, "2.0"), (2.5, "2.5"), (3.0, "3.0"), (3.5, "3.5"))


def test_a_cell_and_its_value_lead_back_to_each_other() -> None:
    chart = Chart("t", Axis(0, 10, "m"), Axis(100, 200, "rpm"))
    frame = frame_of(chart, 30, 90)
    for x, y in ((1.0, 110.0), (5.0, 150.0), (9.7, 196.0)):
        cell = frame.cell(x, y)
        assert cell is not None
        back = frame.values(*cell)
        assert back is not None
        assert back[0] == pytest.approx(x, abs=10 / frame.columns)
        assert back[1] == pytest.approx(y, abs=100 / frame.rows)
    assert frame.values(0, 0) is None
    assert frame.cell(11.0, 150.0) is None


def test_a_field_along_a_ridge_is_read_between_its_points() -> None:
    x, off = np.linspace(0, 4, 5), np.linspace(-1, 1, 21)
    hill = np.tile(np.maximum(0, 1 - np.abs(off)), (5, 1))
    field = Field(x, off, hill, ridge=2 * x)
    at = field.at(np.array([1.5, 2.25]), np.array([3.0, 4.5, 9.9]))
    assert at[0].tolist() == pytest.approx([1.0, 0.0, 0.0])
    assert at[1].tolist() == pytest.approx([0.0, 1.0, 0.0])
    assert np.isnan(field.at(np.array([4.5]), np.array([9.0]))).all()


def test_what_was_learned_is_drawn_as_it_is_said(session: Session) -> None:
    before, after = learn(ROBOT, ()), session.posterior
    bars, speeds, landings, drift = learned_charts(before, after, ROBOT, ROBOT.target())
    said, was = ({fact.name: fact for fact in one.learned().facts} for one in (after, before))
    names = [name for _, name in bars.y.names]
    assert "grip" in names
    at = next(y for y, name in bars.y.names if name == "grip")
    drawn = next(part for part in bars.shapes if isinstance(part, Bars) and not part.thin and part.at[0] == at)
    middle = (drawn.low[0] + drawn.high[0]) / 2
    assert middle == pytest.approx((said["grip"].value - was["grip"].value) / was["grip"].sd, abs=0.01)
    assert drawn.high[0] - drawn.low[0] < 1.0  # the shots have narrowed it to less than half
    misses = {0.02, -0.2, 0.25, 0.01}
    found = {round(y, 3) for part in landings.shapes if isinstance(part, Marks) and part.ink == "ink" for y in part.y}
    assert found == misses
    assert sum(len(part.x) for part in drift.shapes if isinstance(part, Marks)) == 7
    band = next(part for part in speeds.shapes if isinstance(part, Band))
    assert np.all(band.low < band.high)


def test_bars_of_the_error_budget_are_the_budget(session: Session) -> None:
    spot = session.budget(2.0).spots[0]
    chart = budget_chart(spot)
    assert chart is not None
    lengths = [100 * float(part.high[0]) for part in chart.shapes if isinstance(part, Bars)]
    causes = sorted((100 * (cause.miss_m or 0.0) for cause in spot.causes if cause.miss_m), reverse=True)
    assert [length / 100 for length in lengths] == pytest.approx(causes[: len(lengths)])
    canvas, _ = draw_chart(chart, 20, 80)
    assert any("halved" in label.text for label in canvas.labels)


def test_a_picture_file_is_whole_and_names_what_it_shows(session: Session) -> None:
    for chart in learned_charts(learn(ROBOT, ()), session.posterior, ROBOT, ROBOT.target()):
        root = ElementTree.fromstring(picture_file(chart, "What <was> learned"))
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        texts = ["".join(element.itertext()) for element in root.iter()]
        assert chart.title in texts
        assert any("What <was> learned" in text for text in texts)
        lines = sum(1 for part in chart.shapes if isinstance(part, Line))
        assert len(root.findall(".//{http://www.w3.org/2000/svg}polyline")) >= lines


def test_pictures_are_saved_and_values_copied(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: app.controller.shooting.aim_holds)
        await pilot.press("f4")
        assert app.clipboard == f"{app.controller.shooting.recommended:.0f}"
        await pilot.press("f2", "f2")
        await until(app, pilot, "saved: ")
        await pilot.press("k")
        await until(app, pilot, "Before and after")
        await pilot.press("f3")
        assert "Before and after" in app.clipboard
        await pilot.press("f2")
        await until(app, pilot, "learned-1.svg")

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script, (120, 40))  # type: ignore[arg-type]
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "heron-learned-1.svg", "heron-path-1.svg", "heron-path-2.svg",
    ]  # fmt: skip
    for path in tmp_path.iterdir():
        ElementTree.fromstring(path.read_text(encoding="utf-8"))


def test_the_terminal_is_believed() -> None:
    assert drawing_for({"TERM": "xterm-256color", "LANG": "de_DE.UTF-8"}) == Drawing("braille", "many", asks=True)
    assert drawing_for({"TERM": "linux", "LANG": "C.UTF-8"}) == Drawing("blocks", "sixteen")
    assert drawing_for({"TERM": "xterm-256color", "LC_ALL": "C"}) == Drawing("ascii", "many", asks=True)
    assert drawing_for({"TERM": "xterm-256color", "NO_COLOR": ""}).colours == "none"
    assert drawing_for({"TERM": "xterm", "COLORFGBG": "0;15"}).light
    assert not drawing_for({"TERM": "xterm", "COLORFGBG": "15;0"}).light
    assert not drawing_for({"TERM": "xterm", "COLORFGBG": "15;0"}).asks


@pytest.mark.parametrize("drawing", [Drawing("ascii", "none"), Drawing("blocks", "sixteen")])
def test_a_terminal_gets_only_what_it_has(session: Session, drawing: Drawing) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: app.controller.shooting.aim_holds)
        for key in ("j", "w", "escape"):
            await pilot.press(key)
            await pilot.pause(0.1)
            text = screen_text(app)
            if drawing.glyphs == "ascii":
                assert text.isascii(), {c for c in text if not c.isascii()}
            assert not any(0x2800 <= ord(c) < 0x2900 for c in text)
        if drawing.colours == "none":
            for strip in app.screen._compositor.render_strips():
                assert all(s.style is None or (s.style.color is None and s.style.bgcolor is None) for s in strip)

    drive(ConsoleApp(ROBOT, session, ScriptedLine(), drawing=drawing), script, (100, 30))  # type: ignore[arg-type]


def test_the_theme_is_kept_for_the_person(session: Session, tmp_path: Path) -> None:
    settings = tmp_path / "config" / "console.json"

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("v", "v")

    drive(ConsoleApp(ROBOT, session, ScriptedLine(), settings=settings), script)  # type: ignore[arg-type]
    assert themes.chosen(settings) == themes.CONTRAST
    settings.write_text("not json", encoding="utf-8")
    assert themes.chosen(settings) is None
    assert themes.chosen(tmp_path / "none") is None
    assert (themes.usual(), themes.usual(light=True)) == (themes.DARK, themes.SUNLIGHT)


def test_the_interval_of_the_level_holds_what_each_draw_needs(session: Session) -> None:
    """By another way: the setpoint at which each draw's own path passes the centre, found by bisection."""
    target, belief = ROBOT.target(), session.belief
    found = needed_setpoint_90(ROBOT, target, belief, 2.0)
    assert found is not None
    need, draws = required_speed_for(ROBOT, target), belief.draws
    goal = need.log_speed(2.0 + draws.distance_bias, 0.0, draws.angle_error, draws.log_drag).value
    low, high = np.full(len(goal), ROBOT.setpoint.low + 1.0), np.full(len(goal), ROBOT.setpoint.high)
    for _ in range(40):
        middle = (low + high) / 2
        slow = np.diagonal(log_speed(ROBOT, belief.basis, draws, middle)) < goal
        low, high = np.where(slow, middle, low), np.where(slow, high, middle)
    within = (low >= found[0]) & (low <= found[1])
    assert belief.weights[within].sum() == pytest.approx(0.9, abs=0.02)


def test_the_level_before_and_after_is_drawn_with_how_sure(session: Session) -> None:
    before = Before(2.0, 1540.0, 0.7, None, (1500.0, 1580.0))
    now = Before(2.0, 1560.0, 0.5, None, (1480.0, 1640.0))
    chart = level_chart(ROBOT, before, now, 1)
    assert chart is not None
    bars = [part for part in chart.shapes if isinstance(part, Bars)]
    assert [(float(bar.low[0]), float(bar.high[0])) for bar in bars] == [(1500.0, 1580.0), (1480.0, 1640.0)]
    assert "1560 ± 80 rpm" in bars[1].words[0]
    assert [name for _, name in chart.y.names] == ["before", "now"]


def test_a_band_has_holes_where_nothing_is_known() -> None:
    x = np.linspace(0, 10, 11)
    low = np.where((x > 3) & (x < 7), np.nan, 2.0)
    chart = Chart("t", Axis(0, 10), Axis(0, 10), (Band(x, low, low + 2),))
    canvas, frame = draw_chart(chart, 20, 60)
    tinted = (canvas.tint > 0).any(axis=0)
    known = (frame.middle_columns <= 3) | (frame.middle_columns >= 7)
    assert np.array_equal(tinted[frame.column :], known)


def test_named_rows_are_of_one_height(session: Session) -> None:
    chart = budget_chart(session.budget(2.0).spots[0])
    assert chart is not None
    for rows in (14, 23, 37, 56):
        canvas, frame = draw_chart(chart, rows, 80)
        at = [label.row for label in canvas.labels if label.text.endswith("%") and "halved" in label.text]
        assert len({b - a for a, b in pairwise(at)}) == 1, rows
        assert frame.rows % len(chart.y.names) == 0


def test_robots_side_by_side_are_drawn_as_they_were_weighed() -> None:
    robots = [load_robot("heron"), load_robot("crane")]
    found = compare(robots, {robot.name: Session(robot).belief for robot in robots})
    where, speaks = comparison_charts(found)
    marks = [part for part in where.shapes if isinstance(part, Marks)]
    assert [list(part.y / 100) for part in marks] == [pytest.approx(one.hit) for one in found.mechanisms]
    together = next(y for y, name in speaks.y.names if name == "together")
    at = {part.text: part.x for part in speaks.shapes if isinstance(part, Words) and part.y == together}
    shapes = {name: shape for shape, _, name in speaks.key}
    for name, total in found.decision.totals.items():
        assert next(x for text, x in at.items() if shapes[name] in text) == pytest.approx(total, abs=0.031)


def test_the_energy_chain_is_drawn_link_by_link() -> None:
    chain = energy_chain(load_robot("otter"), 40.0, 3.0)
    chart = energy_chart(chain)
    assert chart is not None
    bars = [part for part in chart.shapes if isinstance(part, Bars)]
    assert [float(bar.high[0] - bar.low[0]) for bar in bars] == pytest.approx([step.joules for step in chain])
    assert float(bars[-1].high[0]) == pytest.approx(float(bars[-2].low[0]))  # what losses leave is what flies
