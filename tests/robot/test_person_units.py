"""What is said to a person in US units: the factors, and that nothing metric is left on commands and screens."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from fieldtune import person_units
from fieldtune.console.typed import NearMiss, read_distance, read_miss
from fieldtune.robot import load_robot
from fieldtune.setup.preferences import Preferences, keep_preferences

Run = Callable[..., Any]

# NIST Special Publication 811 (2008), appendix B.8: one US unit in SI.
NIST = {
    "m": ("ft", 0.3048), "m/s": ("ft/s", 0.3048), "cm": ("in", 2.54), "g": ("oz", 28.34952), "N": ("lbf", 4.448222),
    "N m": ("lbf in", 0.1129848), "J": ("ft lbf", 1.355818), "N/mm": ("lbf/in", 0.1751268), "MPa": ("psi", 6.894757e-3),
}  # fmt: skip
METRIC = re.compile(r"\d (m|cm|m/s|N|N m|J|MPa)\b(?! \()|\((m|cm|m/s|N|J)\)| (m|N|J)$", re.M)
"""A quantity in a metric unit that has a US one, unless that stands behind it in brackets."""


@pytest.mark.parametrize("metric_unit", sorted(NIST))
def test_factors(metric_unit: str) -> None:
    name, size = NIST[metric_unit]
    assert person_units.unit(metric_unit) == metric_unit
    assert person_units.converted(7.0, metric_unit) == 7.0
    person_units.use("us")
    assert person_units.unit(metric_unit) == name
    assert person_units.converted(size, metric_unit) == pytest.approx(1.0, rel=1e-6)
    assert person_units.back(1.0, metric_unit) == pytest.approx(size, rel=1e-6)


def test_as_much_is_told_in_either_system() -> None:
    assert person_units.how_far(3.2) == "3.20 m"
    assert person_units.miss(-0.12) == "-12 cm"
    person_units.use("us")
    assert person_units.how_far(3.2) == "10 ft 6 in"
    assert person_units.miss(-0.12) == "-4.7 in"
    assert person_units.amount(5.0, "m/s", 1) == "16.4 ft/s"
    assert person_units.size(88, 0) == "3.46 in"


COMMANDS = ["aim heron --distance 1.8m", "aim heron --distance 60m", "check heron.toml", "shots heron"]
SLOW_COMMANDS = [
    "stand otter --setpoint 30mm", "next heron", "size otter", "size heron", "budget crane", "hits heron",
    "angle heron --from 40deg --to 60deg", "table heron --from 1m --to 3m",
    "table heron --from 1m --to 3m --fit cubic",
]  # fmt: skip


@pytest.mark.parametrize("commands", [COMMANDS, pytest.param(SLOW_COMMANDS, marks=pytest.mark.slow)])
def test_no_command_says_a_metric_quantity_to_people_who_read_inches(commands: list[str], run: Run) -> None:
    from fieldtune.robot import demo_home

    run("shot", "heron", "--distance", "1.8 m", "--setpoint", "1440 rpm", "--result", "short", "--miss", "-12 cm")
    keep_preferences(Preferences(units="us"))
    for command in commands:
        words = command.replace("heron.toml", str(demo_home() / "heron.toml")).split()
        said = run(*words)
        assert said.out or said.err, command
        found = [line for line in (said.out + said.err).splitlines() if METRIC.search(line)]
        if "--fit" in command:  # the formula itself is in metres, as it says
            found = [line for line in found if "d is the distance in metres" not in line]
        assert not found, (command, found)
        assert run(*words, "--units", "metric").out != said.out or command.startswith(("hits", "angle")), command


def test_programs_read_si_whatever_the_person_prefers(run: Run) -> None:
    metric = run("aim", "heron", "--distance", "60m", "--json").out
    table = ("table", "heron", "--from", "1.5m", "--to", "2m")
    java = run(*table, "--format", "java").out
    keep_preferences(Preferences(units="us"))
    assert run("aim", "heron", "--distance", "60m", "--json").out == metric
    assert run(*table, "--format", "java").out == java
    assert run(*table, "--step", "50cm", "--format", "csv").out.startswith("distance_m,")


def test_a_bare_number_is_in_the_persons_unit() -> None:
    robot = load_robot("heron")
    assert read_distance("3.2", robot).value_m == pytest.approx(3.2)
    assert read_miss("12") == pytest.approx((0.12, None))
    assert read_miss("-3 in right 2 cm") == pytest.approx((-0.0762, 0.02))
    person_units.use("us")
    assert read_distance("10", robot).value_m == pytest.approx(3.048)
    assert read_distance("3.2 m", robot).value_m == pytest.approx(3.2)
    assert read_distance("7'10\"", robot).value_m == pytest.approx(2.3876)
    assert read_miss("5") == pytest.approx((0.127, None))
    assert read_miss("short 12 cm, left 2".replace(",", "")) == pytest.approx((-0.12, -0.0508))


@pytest.mark.parametrize(("system", "typed", "meant"), [("metric", "240", "240 cm"), ("us", "400", "400 in")])
def test_a_near_miss_is_offered(system: person_units.System, typed: str, meant: str) -> None:
    person_units.use(system)
    with pytest.raises(NearMiss) as told:
        read_distance(typed, load_robot("heron"))
    assert told.value.offer == meant
