"""A battery that rises while a wheel falls tells that its drive was turned down, also where no setpoint is sent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from decode_lines import caught, decode_lines, robot_for
from student_firmware import Firmware, sent
from wheel_controllers import changing, shooting

from fieldtune.link.samples import Sample
from fieldtune.link.shots.around_drop import battery_fall, drive_eases
from fieldtune.link.wheel.wheel_points import WheelPoints

AT_S = 12.0
UNTOLD = Firmware(rate_hz=50, counts_per_turn=2048, speed="rpm", setpoint=False)


def points(volts, seconds=AT_S + 1, rate_hz=50):
    """A wheel at 1,500 rpm whose battery is as ``volts(t, rng)`` says."""
    kept, rng = WheelPoints(0.0), np.random.default_rng(3)
    for t in np.arange(0, seconds, 1 / rate_hz):
        kept.add(Sample(time_s=float(t), arrival_s=float(t), wheel_rpm=1500.0, battery_v=volts(t, rng)), None)
    return kept


def noisy(t, rng):
    return 12 + 0.01 * rng.standard_normal()


@pytest.mark.parametrize(
    ("volts", "eases"),
    [
        (lambda t, rng: noisy(t, rng) + 0.08 * (t > AT_S), True),
        (lambda t, rng: noisy(t, rng) - 0.08 * (t > AT_S), False),  # at a shot
        (lambda t, rng: noisy(t, rng), False),
        (lambda t, rng: noisy(t, rng) + 0.08 * (t > AT_S + 0.06), False),  # the drive is off again behind a shot
        (lambda t, rng: noisy(t, rng) + 0.08 * (t % 0.8 < 0.4), False),  # it rises all the time
        (lambda t, rng: round(12.02 + 0.02 * rng.standard_normal() + 0.04 * (t > AT_S), 1), False),  # one step
        (lambda t, rng: round(12.02 + 0.02 * rng.standard_normal() + 0.25 * (t > AT_S), 1), True),
        (lambda t, rng: 12 + 0.08 * (t > AT_S) if t > AT_S - 2 else None, False),  # too little is known
        (lambda t, rng: None, False),
    ],
    ids=["turned down", "shot", "steady", "off again", "up and down", "coarse", "coarse, turned down", "new", "none"],
)
def test_a_drive_eases_where_its_battery_rises_as_it_seldom_does(volts, eases):
    kept = points(volts)
    assert drive_eases(kept, AT_S, battery_fall(kept, AT_S)) is eases


def test_wheels_turned_down_untold_make_fewer_shots_where_their_battery_is_sent():
    """50 lowerings in 150 s: with a battery that says nothing, 8 are taken for shots."""
    run = changing("feed-forward", 50, 150, 0.03, 602)
    made_up, more = (decode_lines(sent(UNTOLD, one, 602), robot_for(2048, 0.03)).shots for one in (run, mute(run)))
    assert len(more) > 4
    assert len(made_up) <= len(more) / 2


@pytest.mark.parametrize("kind", ["PI winding up", "on-off", "feed-forward"])
def test_shots_are_found_by_lines_with_a_battery(kind):
    assert caught(shooting(kind, 0.05, 24, seed=803), UNTOLD, 0.05, 803)[0] >= 0.95


def mute(run):
    return replace(run, volts=np.full_like(run.volts, 12.0))
