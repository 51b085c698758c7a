"""Lots of elements, each with an offset of its own: worn ones fly shorter, and the advice follows what is in hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import shot

from fieldtune import load_robot
from fieldtune.aim.recommend import recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.learn.posterior import learn
from fieldtune.records import Shot
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed
from fieldtune.robot.home import demo_home

HERON = load_robot(demo_home() / "heron.toml")
NEED = required_speed_for(HERON, HERON.target())
SLOWER = 0.05
"""By how much (natural log of the exit speed) worn elements leave slower."""


def taped(number: int, distance: float, setpoint: float, batch: str | None, rng: np.random.Generator) -> Shot:
    """A shot of a robot just as its profile says, its miss taped: the exact landing of that speed, by the solver."""
    speed = model_log_speed(HERON, drive_quantity(HERON, setpoint)) + rng.normal(0, 0.008)
    speed -= SLOWER if batch == "worn" else 0.0
    misses = np.linspace(-1.5, 3.0, 901)
    values = NEED.log_speed(distance + 0 * misses, misses).value
    start = int(np.nanargmin(values))
    return replace(
        shot(number, distance, setpoint, None, miss_m=float(np.interp(speed, values[start:], misses[start:]))),
        batch=batch,
    )


def log(batches: list[str | None], seed: int = 1) -> list[Shot]:
    rng, places = np.random.default_rng(seed), (2.0, 2.6, 3.2)
    shots = []
    for number, batch in enumerate(batches, start=1):
        distance = places[number % 3]
        setpoint = recommend(HERON, HERON.target(), learn(HERON, []).belief, distance).setpoint.value
        assert setpoint is not None
        shots.append(taped(number, distance, setpoint * math.exp(rng.normal(0, 0.02)), batch, rng))
    return shots


def aimed(shots: list[Shot]) -> float:
    found = recommend(HERON, HERON.target(), learn(HERON, shots).belief, 2.6).setpoint.value
    assert found is not None
    return found


def test_the_advice_is_for_the_elements_in_hand() -> None:
    mixed = ["new", "worn"] * 9
    new, worn = aimed(log([*mixed, "new"])), aimed(log([*mixed, "new", "worn"]))
    assert math.log(worn / new) == pytest.approx(SLOWER, abs=0.012)
    alone = aimed([one for one in log([*mixed, "new"]) if one.batch == "new"])
    assert new == pytest.approx(alone, rel=0.012)  # as if worn ones had never been shot


def test_what_a_lot_changes_is_told_with_its_spread() -> None:
    facts = {fact.name: fact for fact in learn(HERON, log(["new", "worn"] * 10)).learned().facts}
    fact = facts["batch new"]
    assert "slower than with batch new" in fact.words
    assert abs(fact.value - 100 * math.expm1(-SLOWER)) < 2.5 * fact.sd
    assert fact.sd < 1.5


def test_a_lot_that_comes_back_is_known() -> None:
    """After ten shots with others, one shot with worn elements again: their offset is not learned anew."""
    before = log(["worn"] * 8 + ["new"] * 10 + ["worn"])
    assert math.log(aimed(before) / aimed(before[:-1])) == pytest.approx(SLOWER, abs=0.015)


def test_one_label_on_all_shots_changes_nothing() -> None:
    plain = log([None] * 6)
    assert aimed([replace(one, batch="new") for one in plain]) == aimed(plain)
