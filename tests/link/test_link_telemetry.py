"""Fields to samples: roll-over, restart and nonsense are three things, each told and counted."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line

PERIOD = 10
TURN = 100.8  # heron's counts a wheel turn


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


class Wheel:
    """Lines of an evenly turning wheel, with a clock and a counter that wrap."""

    def __init__(self, robot, *, clock=1000, counts=5000, bits=32, rpm=1500.0, scale=1, name="t_ms"):
        self.line = Line(robot)
        self.clock, self.counts, self.bits, self.scale, self.name = clock, float(counts), bits, scale, name
        self.rpm, self.now, self.samples = rpm, 0.0, []

    def step(self, n=1, extra="", **replaced):
        for _ in range(n):
            self.now += PERIOD / 1000
            self.clock = (self.clock + PERIOD * self.scale) % 2**32
            self.counts += self.rpm / 60 * TURN * PERIOD / 1000
            said = {self.name: self.clock, "wheel_counts": int(self.counts) % (1 << self.bits)} | replaced
            text = ",".join(f"{k}={v}" for k, v in said.items() if v is not None) + extra + "\n"
            self.samples += self.line.feed(text.encode(), self.now)
        return self

    @property
    def health(self):
        return self.line.health()

    def shown(self):
        return self.line.live("live", "", None, self.now).wheel_rpm


def _smooth(wheel, start=1):
    times = [s.time_s for s in wheel.samples][start:]
    assert all(b - a == pytest.approx(PERIOD / 1000, abs=1e-6) for a, b in pairwise(times))


@pytest.mark.parametrize(("name", "scale"), [("t_ms", 1), ("t_us", 1000)])
def test_clock_rolls_over_at_32_bits(heron, name, scale):
    wheel = Wheel(heron, clock=2**32 - 200 * scale, name=name, scale=scale).step(60)
    assert wheel.health.notices == {"clock roll-over": 1}
    assert wheel.health.dropped == {}
    _smooth(wheel)
    assert wheel.shown() == pytest.approx(1500, rel=0.01)


@pytest.mark.parametrize("bits", [16, 32])
@pytest.mark.parametrize("rpm", [1500.0, -1500.0])
def test_counter_rolls_over(heron, bits, rpm):
    robot = replace(heron, encoder=replace(heron.encoder, bits=bits))
    start = (1 << bits) - 300 if rpm > 0 else 300
    wheel = Wheel(robot, counts=start, bits=bits, rpm=rpm).step(80)
    assert wheel.health.dropped == {}
    assert wheel.health.notices == {"counter roll-over": 1}
    assert wheel.shown() == pytest.approx(1500, rel=0.01)


def test_restart_is_told_and_followed(heron):
    wheel = Wheel(heron, clock=500_000, counts=9_000_000).step(50)
    wheel.clock, wheel.counts, wheel.now = 300, 12.0, wheel.now + 1.5
    wheel.step(3)
    assert wheel.health.notices == {"restart": 1}
    wheel.step(30)
    assert wheel.health.dropped == {}
    assert wheel.shown() == pytest.approx(1500, rel=0.01)
    times = [s.time_s for s in wheel.samples]
    assert times == sorted(times)
    assert sum(s.fresh for s in wheel.samples) == 2


def test_a_counter_set_to_zero_is_followed_within_two_lines(heron):
    wheel = Wheel(heron, counts=9_000_000).step(50)
    wheel.counts = 0.0
    wheel.step(2)
    assert wheel.health.notices == {"counter jump": 1}
    assert wheel.step(20).shown() == pytest.approx(1500, rel=0.01)
    assert wheel.health.dropped == {}


def test_a_clock_set_anew_is_followed_within_two_lines(heron):
    wheel = Wheel(heron, clock=500_000).step(50)
    wheel.clock = 90_000_000
    wheel.step(2)
    assert wheel.health.notices == {"clock jump": 1}
    assert wheel.health.dropped == {}


@pytest.mark.parametrize(
    ("replaced", "cause"),
    [
        ({"wheel_counts": 5_000_000}, "impossible wheel"),
        ({"wheel_counts": 0}, "impossible wheel"),
        ({"t_ms": 900_000}, "impossible clock"),
        ({"t_ms": 0}, "impossible clock"),
        ({"t_ms": 1497 - 300}, "impossible clock"),
        ({"battery_mv": 99_000}, "impossible battery"),
        ({"battery_mv": 5_000}, "impossible battery"),
        ({"current_ma": 90_000_000}, "impossible current"),
        ({"distance_mm": -5}, "impossible distance"),
        ({"setpoint": 1e7}, "impossible setpoint"),
        ({"power_pct": 4000}, "impossible power"),
    ],
)
def test_one_false_value_drops_its_line_and_nothing_else(heron, replaced, cause):
    wheel = Wheel(heron).step(50, battery_mv=9_800)
    before = wheel.shown()
    wheel.step(1, **({"battery_mv": 9_800} | replaced))
    assert wheel.shown() == pytest.approx(before, rel=0.005)
    wheel.step(20, battery_mv=9_800)
    assert wheel.health.dropped == {cause: 1}
    assert wheel.health.notices == {}
    assert wheel.line.live("live", "", None, wheel.now).battery_v == 9.8
    assert len(wheel.samples) == 70


def test_a_broken_sensor_does_not_silence_the_rest(heron):
    wheel = Wheel(heron).step(20, battery_mv=9_800).step(40, battery_mv=0, distance_mm=-1)
    assert wheel.health.dropped["impossible battery"] == 3
    assert wheel.health.notices["battery out of range"] == 37
    assert wheel.shown() == pytest.approx(1500, rel=0.01)
    assert wheel.samples[-1].battery_v is None
    assert wheel.step(5, battery_mv=9_700).samples[-1].battery_v == 9.7


def test_a_clock_that_stands_still_is_given_up(heron):
    wheel = Wheel(heron).step(20)
    for i in range(400):
        wheel.step(1, t_ms=77 if i % 2 else 99_000_000)
    assert wheel.health.clock == "arrival"
    assert wheel.shown() == pytest.approx(1500, rel=0.03)


def test_without_a_clock_arrival_stands_in_and_is_named(heron):
    wheel = Wheel(heron).step(300, t_ms=None)
    assert wheel.health.clock == "arrival"
    assert wheel.shown() == pytest.approx(1500, rel=0.02)


def test_a_gap_is_told_and_time_goes_on(heron):
    wheel = Wheel(heron).step(50)
    wheel.clock, wheel.counts, wheel.now = wheel.clock + 4000, wheel.counts + 4 * 1500 / 60 * TURN, wheel.now + 4.0
    wheel.step(30)
    assert wheel.health.notices == {"gap": 1}
    assert wheel.samples[-1].time_s - wheel.samples[0].time_s == pytest.approx(4.79, abs=0.02)


def test_lines_with_other_fields_may_come_between(heron):
    wheel = Wheel(heron)
    for _ in range(60):
        wheel.step(1)
        wheel.samples += wheel.line.feed(b"battery_mv=9700,distance_mm=2000\n", wheel.now)
    live = wheel.line.live("live", "", None, wheel.now)
    assert (live.battery_v, live.distance_m) == (9.7, 2.0)
    assert wheel.shown() == pytest.approx(1500, rel=0.01)
    assert wheel.health.dropped == {}


def test_a_line_twice_counts_once(heron):
    wheel = Wheel(heron).step(10)
    before = len(wheel.samples)
    text = f"t_ms={wheel.clock},wheel_counts={int(wheel.counts)}\n".encode()
    assert wheel.line.feed(text, wheel.now) == []
    assert wheel.health.dropped == {"duplicate": 1}
    assert len(wheel.samples) == before


def test_si_units_of_every_field(heron):
    line = Line(heron)
    text = (
        "t_ms={},wheel_rpm=1500,wheel2_rpm=1350,battery_v=9.75,current_a=3.5,distance_m=2.5,"
        "setpoint=1500,power_pct=40,fired=0\n"
    )
    samples = [s for i in range(3) for s in line.feed(text.format(i * 10).encode(), i * 0.01)]
    last = samples[-1]
    assert (last.wheel_rpm, last.wheel2_rpm, last.battery_v, last.current_a) == (1500, 1350, 9.75, 3.5)
    assert (last.distance_m, last.setpoint, last.power_pct, last.fired) == (2.5, 1500, 40, False)


def test_a_profile_with_only_what_must_be_there(heron):
    bare = replace(heron, drive=None, battery=None, encoder=None)
    line = Line(bare)
    for i in range(50):
        line.feed(f"t_ms={i * 10},wheel_rpm={1500 + i % 3},battery_v=7.4,wheel_counts=5\n".encode(), i * 0.01)
    live = line.live("live", "", None, 0.5)
    assert live.health.dropped == {}
    assert live.wheel_rpm == pytest.approx(1501, abs=2)
    assert live.battery_v == 7.4
