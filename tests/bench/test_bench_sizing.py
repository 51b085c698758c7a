"""What sizing costs, as ratios measured in one run: the sweep against one train at a time, the watch against a core."""

from __future__ import annotations

import random
import time

import pytest
from robots import altered, big_heron, heron, otter

from fieldtune.battery.ceiling import ceiling
from fieldtune.battery.watch import BatteryWatch
from fieldtune.sizing.gear_trains import COMMON_TEETH, sweep_cocking, sweep_wheel
from fieldtune.sizing.reach import reach_table
from fieldtune.sizing.size import supply_of

pytestmark = pytest.mark.bench


def cpu(work, repeats=3):
    """Least processor time of a few runs, seconds."""
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def test_ten_thousand_trains_in_a_second():
    robot = heron()
    table, supply = reach_table(robot, robot.target()), supply_of(robot)
    swept = cpu(lambda: sweep_wheel(robot, supply, table, 1500.0, COMMON_TEETH))
    trains = len(sweep_wheel(robot, supply, table, 1500.0, COMMON_TEETH).gears)
    singles = [altered(robot, drive={"gears": ((12, 24 + k),)}) for k in range(20)]
    alone = cpu(lambda: [ceiling(one, 12.0) for one in singles]) / len(singles)
    print(f"\n{trains} trains in {swept * 1e3:.0f} ms, as long as {swept / alone:.0f} ceilings asked one at a time")
    assert swept * 10_000 / trains < 1.0
    # A tenth of what one train at a time would take for the ceiling alone.
    assert swept < 0.1 * trains * alone


def test_cocking_sweep_in_a_second():
    robot = otter()
    table, supply = reach_table(robot, robot.target()), supply_of(robot)
    swept = cpu(lambda: sweep_cocking(robot, supply, table, COMMON_TEETH))
    trains = len(sweep_cocking(robot, supply, table, COMMON_TEETH).gears)
    print(f"\n{trains} cocking trains in {swept * 1e3:.0f} ms")
    assert swept * 10_000 / trains < 1.0


def test_watch_takes_under_a_hundredth_of_a_core():
    """Fed at 50 Hz and asked at 10 Hz, over simulated minutes."""
    robot = big_heron(battery={"capacity_ah": 3.0})
    rng = random.Random(1)
    rows = [(k * 0.02, 3000 + rng.gauss(0, 5), 12.4 + rng.gauss(0, 0.02), 4.0, 3000.0) for k in range(6000)]

    def follow():
        watch = BatteryWatch(robot)
        for k, row in enumerate(rows):
            watch.feed(*row)
            if k % 5 == 0:
                watch.status(3000.0, 3.2)

    share = cpu(follow) / (len(rows) * 0.02)
    print(f"\nwatch: {share:.2%} of a core")
    assert share < 0.01
