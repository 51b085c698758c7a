"""Between and within battery periods: a battery that comes back, wear, and what the profile says of both."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from made_shots import throws
from robots import thrower
from vacuum_need import vacuum_need

from fieldtune import FieldtuneError, load_robot
from fieldtune.learn import learn
from fieldtune.robot.model import Uncertainty

DEMO = Path(__file__).parents[2] / "profiles"
UNCERTAINTY = '[uncertainty]\nremainder = "1.2 %"\nbattery = "0.5 %"'
PLACES = [2.0, 3.0, 4.0] * 3


def level(posterior):
    """Mean and spread of the log correction at 1500 rpm."""
    gain = posterior.belief.draws.gain @ posterior.belief.basis.at(1500.0)[0]
    return float(np.mean(gain)), float(np.std(gain))


def test_a_battery_that_comes_back_starts_at_its_own_level():
    """Battery A throws 2 % faster, B 4 % slower; two periods each in turn, then A again without a shot."""
    levels = {"A": 0.02, "B": -0.04}
    labels = {epoch: "AB"[(epoch - 1) % 2] for epoch in range(1, 6)}
    shots = []
    for epoch in range(1, 5):
        off = levels[labels[epoch]]
        shots += throws(lambda q, off=off: off, PLACES, seed=epoch, epoch=epoch, first=len(shots) + 1, aim_off=0.0)
    named = learn(thrower(), shots, 5, required_of=vacuum_need, batteries=labels)
    nameless = learn(thrower(), shots, 5, required_of=vacuum_need)
    assert level(named)[0] == pytest.approx(0.02, abs=0.012)
    assert level(named)[1] < 0.75 * level(nameless)[1]
    assert abs(level(nameless)[0] - 0.02) > abs(level(named)[0] - 0.02)
    new = learn(thrower(), shots, 5, required_of=vacuum_need, batteries={**labels, 5: "C"})
    assert level(new)[1] > 1.3 * level(named)[1]


def test_a_steady_loss_is_followed():
    """A quarter per cent a shot over thirty shots: what is believed now is the last shot's level, not the mean."""
    shots = []
    for number in range(30):
        off = -0.0025 * number
        distance = [PLACES[number % 3]]
        shots += throws(lambda q, off=off: off, distance, seed=number, first=number + 1, aim_off=0.0)
    fit = learn(thrower(), shots, required_of=vacuum_need).fit
    assert float(fit.layout.wear(fit.mode.u[None])[0]) == pytest.approx(-0.0025, abs=0.0008)
    assert level(learn(thrower(), shots, required_of=vacuum_need))[0] == pytest.approx(-0.0725, abs=0.012)


def test_without_a_loss_wear_stays_nothing():
    shots = throws(lambda q: 0.01, PLACES * 3)
    fit = learn(thrower(), shots, required_of=vacuum_need).fit
    assert abs(float(fit.layout.wear(fit.mode.u[None])[0])) < 0.0003


def test_tight_uncertainties_make_a_tight_belief():
    """Every key told to be near nothing: the exit speed is then believed to as little."""
    tight = Uncertainty(grip=0.002, remainder=0.001, battery=0.001)
    assert level(learn(thrower(tight), []))[1] < 0.005
    loose = Uncertainty(grip=0.002, remainder=0.001)
    assert level(learn(thrower(loose), []))[1] > 0.02
    assert level(learn(thrower(Uncertainty(grip=0.002, remainder=0.03, battery=0.001)), []))[1] > 0.02


def test_the_profile_may_tell_remainder_and_battery(tmp_path):
    lines = (DEMO / "heron.toml").read_text(encoding="utf-8").replace("[uncertainty]", UNCERTAINTY)
    (tmp_path / "told.toml").write_text(lines, encoding="utf-8")
    told = load_robot(str(tmp_path / "told.toml")).uncertainty
    assert (told.remainder, told.battery) == (pytest.approx(0.012), pytest.approx(0.005))
    (tmp_path / "wrong.toml").write_text(lines.replace('"1.2 %"', '"80 %"'), encoding="utf-8")
    with pytest.raises(FieldtuneError, match="remainder"):
        load_robot(str(tmp_path / "wrong.toml"))
