"""The table of figures: every number that sizing answers with has its row, and is written as the row says."""

from __future__ import annotations

import dataclasses

import pytest
from robots import crane, heron, otter

from fieldtune.figures import FIGURES, Figure, figures_of
from fieldtune.robot.model import Robot
from fieldtune.sizing.results import CockingSize, FlywheelSize, Needed
from fieldtune.sizing.size import size

NOT_SHOWN = {"design_rpm"}
"""Numbers that only explain others."""


@pytest.mark.parametrize("result", [FlywheelSize, CockingSize])
def test_every_number_of_a_result_has_a_row(result: type) -> None:
    numbers = set()
    for field in dataclasses.fields(result):
        if str(field.type).startswith(("float", "int")):
            numbers.add(field.name)
        if field.type == "Needed":
            numbers |= {f"{field.name}.{part.name}" for part in dataclasses.fields(Needed)}
    assert numbers - NOT_SHOWN <= FIGURES.keys()


@pytest.mark.parametrize("robot", [heron(), otter(), crane()])
def test_figures_come_in_the_tables_order_with_the_results_values(robot: Robot) -> None:
    sized = size(robot, sweep=False)
    found = figures_of(sized)
    order = list(FIGURES)
    assert [order.index(figure.key) for figure, _ in found] == sorted(order.index(figure.key) for figure, _ in found)
    values = {figure.key: value for figure, value in found}
    needed = sized.needed_rpm if isinstance(sized, FlywheelSize) else sized.needed_mm
    assert values["farthest_m"] == sized.farthest_m
    assert needed.far in values.values()


def test_labels_of_one_result_differ() -> None:
    for robot in (heron(), otter()):
        labels = [figure.label for figure, _ in figures_of(size(robot, sweep=False))]
        assert len(set(labels)) == len(labels)


@pytest.mark.parametrize(
    ("figure", "value", "said"),
    [
        (FIGURES["ceiling_rpm_low"], 2969.7, "2970 rpm"),
        (FIGURES["ceiling_rpm_low"], None, "unknown"),
        (FIGURES["ceiling_rpm_low"], float("inf"), "unknown"),
        (FIGURES["headroom_low"], -0.083, "-8 %"),
        (FIGURES["headroom_low"], 0.5, "+50 %"),
        (FIGURES["shots_per_minute"], 2500.0, "over 120 /min"),
        (FIGURES["shots_per_minute"], 90.0, "90 /min"),
        (FIGURES["hit_probability"], 0.997, "over 99 %"),
        (FIGURES["hit_probability"], 1.0, "100 %"),
        (FIGURES["parts"], 7.0, "7"),
        (Figure("x", "x", "m", 3, ""), 0.0, "0.000 m"),
    ],
)
def test_how_a_value_is_written(figure: Figure, value: float | None, said: str) -> None:
    assert figure.said(value) == said
