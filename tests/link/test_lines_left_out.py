"""What is missing from a line, or stands on it without a clock, moves neither the wheel's speed nor its time.

Invented: heron's wheel, at 48 counts a turn of a motor that turns 2.1 times as fast.
"""

from __future__ import annotations

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

COUNTS = 48 * 2.1


@pytest.mark.parametrize("every", [23, 29, 31])
def test_a_counter_beside_own_rpm_makes_up_no_shot_where_that_is_lost(every):
    """A letter of its name is lost now and then; the wheel rests, spins up, and is held."""
    line, turned, before = Line(load_robot("heron")), 0.0, 0
    for i in range(400):
        turned += min(max(i - 60, 0) * 60, 1250) / 60 * 0.02
        counts = int(turned * COUNTS)
        rpm, before = (counts - before) * 3000 / COUNTS, counts
        name = "wheel_rp" if i % every == every - 1 else "wheel_rpm"
        line.feed(f"t_ms={20 * i},wheel_counts={counts},{name}={rpm:.2f},battery_v=10.3\n".encode(), 0.02 * i + 0.004)
    assert line.shots == ()
    assert line.live("live", "", None, 8.0).wheel_rpm == pytest.approx(1250, rel=0.01)


def test_a_counter_takes_over_where_own_rpm_ends():
    line = Line(load_robot("heron"))
    for i in range(150):
        rpm = "wheel_rpm=1250," if i < 75 else ""
        line.feed(f"t_ms={20 * i},{rpm}wheel_counts={int(1800 / 60 * COUNTS * 0.02 * i)}\n".encode(), 0.02 * i + 0.004)
    assert line.live("live", "", None, 3.0).wheel_rpm == pytest.approx(1800, rel=0.01)


@pytest.mark.parametrize("greeting", ["", "setpoint=1500,gain=0.25\n"])
def test_a_restart_takes_the_time_that_it_took(greeting):
    """The controller starts anew: the wheel coasts, and is faster again at once. What is greeted with has no clock."""
    line, down_s, off_s = Line(load_robot("heron")), 4.0, 1.1
    for i in range(300):
        now, since = 0.025 * i, 0.025 * i - down_s - off_s
        if now <= down_s:
            text = f"t_ms={90_000 + 25 * i},wheel_rpm={1500 + i % 3 - 1:.0f},setpoint=1500\n"
        elif since >= 0:
            text = greeting if since < 0.02 else ""
            text += f"t_ms={1000 * since + 20:.0f},wheel_rpm={min(900 + 4000 * since, 1500):.0f},setpoint=1500\n"
        else:
            continue
        line.feed(text.encode(), now + 0.004)
    assert line.health().notices["restart"] == 1
    assert line.shots == ()
    seconds = line.live("live", "", None, 7.5).history_s
    assert seconds[-1] - seconds[0] == pytest.approx(7.475, abs=0.1)


def test_a_sender_whose_full_buffer_loses_every_line_feed_is_told_so():
    """What finds the buffer full is thrown away, of each line the end: of 55 characters the wire carries 19."""
    robot = load_robot("heron")
    line = Line(robot)
    line.feed(b"t_ms=10,wheel_counts=0,setpoint=0,battery_v=10.38\nt_ms=20,wheel_counts=0,setpoint=0", 0.02)
    for i in range(3, 400):
        line.feed(f"t_ms={10 * i},wheel_counts=12"[: 18 + i % 3].encode(), 0.01 * i)
    said = " ".join(remedies(line.health(), line.raw(), None, robot))
    assert "Lines never end" in said
    assert "more than the baud carries" in said
