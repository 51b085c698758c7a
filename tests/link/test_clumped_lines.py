"""Lines without a clock that come in clumps of some tenths of a second, as over a wireless bridge. All made up here."""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, slack_s, wrong_and_blank
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import session

from fieldtune.link.validation.arrival_clock import ArrivalClock


@pytest.mark.parametrize(
    ("kind", "speed", "rate_hz", "share", "seed"),
    [
        ("PI stiff", "counts", 100.0, 0.12, 11),  # a dip was seen between two clumps whenever the period was put right
        ("feed-forward", "rpm", 20.0, 0.08, 23),  # lines were held to be as badly timed as clumps are late
        *thorough(
            ("feed-forward", "counts", 100.0, 0.12, 15),
            ("PI stiff", "counts", 100.0, 0.12, 12),
            ("PI soft", "rpm", 50.0, 0.12, 13),
        ),
    ],
)
def test_shots_are_found_and_none_is_made_up(kind, speed, rate_hz, share, seed):
    firmware = Firmware(rate_hz, 2048.0 if speed == "rpm" else 56.0, speed, clock=None, clump_s=(0.3, 1.0))
    wheel = session(kind, share, seed)
    decoded = decode_lines(sent(firmware, wheel, seed), robot_for(firmware.counts_per_turn, share), 23.0)
    pairs, made_up = matched(decoded.shots, [shot.time_s for shot in wheel.shots], slack_s(firmware))
    assert made_up == 0
    assert len(pairs) == len(wheel.shots)
    assert wrong_and_blank(decoded.looks, wheel.t, [wheel.rpm], firmware.late_s)[0] == 0.0


def test_own_rpm_in_steps_is_read_as_well_where_the_first_lines_come_together():
    """How far lines are apart, and so how large a step of one count is, isn't told by those of the first chunk."""
    wheel, times = session("PI winding up", 0.12, 404), np.arange(0.1, 12.0, 0.005)
    rpm = 60 * np.diff(np.floor(12 * wheel.turns_at(times))) / 12 / 0.005
    chunks: dict[float, bytes] = {}
    for at, value in zip(times[1:], rpm, strict=True):
        arrival = round(float(np.ceil(at / 0.1)) * 0.1, 3)
        chunks[arrival] = chunks.get(arrival, b"") + b"wheel_rpm=%.1f\n" % value
    decoded = decode_lines(sorted(chunks.items()), robot_for(12.0, 0.12))
    assert decoded.dropped.get("impossible wheel", 0) < 15  # until it is known that they go in steps


@pytest.mark.parametrize(("uneven", "finely"), [(0.02, True), (0.3, False)])
def test_lines_of_a_clump_are_as_well_timed_as_they_are_printed_evenly(uneven, finely):
    rng, clock = np.random.default_rng(5), ArrivalClock()
    printed = np.cumsum(0.02 * rng.uniform(1 - uneven, 1 + uneven, 1000))
    ticks, lines = [], 0
    for end in np.arange(0.5, printed[-1], 0.5):
        new = int(np.searchsorted(printed, end))
        clock.hear(float(end), new, False)
        for number in range(max(lines, 1), new):
            clock.compare(30.0 * float(printed[number] - printed[number - 1]), 30.0, 1 / 2048)
        lines = new
        ticks.append(clock.tick_s)
    assert all((tick < 0.002) == finely for tick in ticks[8:])
