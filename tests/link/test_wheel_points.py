"""What own rpm tells of the turns: how often it is news, and which readings were false. All data here is made up."""

from __future__ import annotations

import numpy as np
import pytest

from fieldtune.link.samples import Sample
from fieldtune.link.wheel.wheel_points import WheelPoints

LINE_S = 0.01


def _said(points, rpms, begin_s, noisy=False):
    """Takes one value a line; gives the time of the last."""
    now = begin_s
    for rpm in rpms:
        points.add(Sample(time_s=now, arrival_s=now, wheel_rpm=float(rpm), before_s=now - LINE_S), None, noisy)
        now = round(now + LINE_S, 6)
    return now


def test_cells_become_as_long_as_own_rpm_is_calculated_seldom():
    """While it spins up each line says another rpm; at a steady speed the same few come out again and again."""
    points = WheelPoints(1 / 12)
    now = _said(points, np.linspace(100, 1400, 60), 0.0)
    assert points.cell_s == pytest.approx(LINE_S, rel=0.05)
    _said(points, np.repeat([1250, 1500, 1250, 1250, 1500] * 40, 2), now)
    assert points.cell_s == pytest.approx(2 * LINE_S, rel=0.05)


def _turns_lately(points, since_s, until_s):
    return float(np.diff(np.interp([since_s, until_s], points.t, points.turns))[0])


def test_a_digit_lost_on_one_damaged_line_costs_no_turns():
    rpms = [1607, 1661] * 40
    whole, hurt = WheelPoints(1 / 56), WheelPoints(1 / 56)
    _said(whole, rpms, 0.0)
    _said(hurt, [*rpms[:50], 160, *rpms[51:]], 0.0, noisy=True)
    assert _turns_lately(hurt, 0.3, 0.7) == pytest.approx(_turns_lately(whole, 0.3, 0.7), abs=0.01)


def test_a_drop_on_a_damaged_line_is_kept():
    rpms = [1650] * 50 + [1380 + 10 * i for i in range(25)]
    whole, hurt = WheelPoints(1 / 56), WheelPoints(1 / 56)
    _said(whole, rpms, 0.0)
    _said(hurt, rpms, 0.0, noisy=True)
    assert _turns_lately(hurt, 0.3, 0.7) == pytest.approx(_turns_lately(whole, 0.3, 0.7), abs=0.01)
