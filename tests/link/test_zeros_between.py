"""Own rpm with zeros in between: computed oftener than the counter is read, or of a coarse encoder, or by a fault."""

from __future__ import annotations

import random

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def shown_after(robot, texts, hz, since_s):
    """The speeds shown from ``since_s`` on, and the line."""
    line, shown = Line(robot), []
    for i, text in enumerate(texts):
        line.feed(f"t_ms={1000 * i / hz:.0f},{text}\n".encode(), i / hz)
        if i / hz > since_s:
            shown.append(line.live("live", "", None, i / hz).wheel_rpm)
    return shown, line


def by_differences(per_turn, rpm, hz, refresh_hz, seconds=6.0):
    """What a program says that divides the counts since its last line by the time of a line; spun up in a second."""
    before, texts = 0, []
    for i in range(int(seconds * hz)):
        read_s = int(i / hz * refresh_hz + 1e-6) / refresh_hz
        counts = int(rpm / 60 * (min(read_s, 1.0) ** 2 / 2 + max(read_s - 1.0, 0.0)) * per_turn)
        texts.append(f"wheel_rpm={(counts - before) / per_turn * hz * 60:.0f}")
        before = counts
    return texts


@pytest.mark.parametrize(
    ("per_turn", "rpm", "hz", "refresh_hz"),
    [
        (100.8, 1800, 100, 50),
        (100.8, 900, 200, 50),
        (12, 400, 100, 100),
        (12, 1800, 500, 500),
        (20, 400, 100, 100),
    ],
)
def test_such_zeros_belong_to_the_speed(heron, per_turn, rpm, hz, refresh_hz):
    shown, line = shown_after(heron, by_differences(per_turn, rpm, hz, refresh_hz), hz, 2.0)
    assert None not in shown
    assert max(abs(speed - rpm) for speed in shown) < 80
    assert not line.shots


def test_a_wire_pulled_there_is_still_noticed(heron):
    texts = by_differences(100.8, 1800, 100, 50) + ["wheel_rpm=0"] * 300
    shown, line = shown_after(heron, texts, 100, 6.5)
    assert set(shown) == {None}
    assert not line.shots


def test_zeros_that_nobody_can_tell_make_the_speed_unknown(heron):
    """A counter read four times in five lines: a fifth too much on four lines; or each fifth reading fails."""
    draw = random.Random(5)
    failing = [f"wheel_rpm={0 if i % 5 == 0 else 1800 + draw.gauss(0, 6):.1f}" for i in range(800)]
    for texts in (by_differences(100.8, 2100, 100, 80), failing):
        shown, line = shown_after(heron, texts, 100, 2.0)
        assert set(shown) == {None}
        live = line.live("live", "", None, len(texts) / 100)
        assert "wheel_rpm is 0 in every few lines" in live.words
        assert "send wheel_counts" in " ".join(remedies(live.health, line.raw(60), None, heron))
        assert not live.shots


@pytest.mark.parametrize("every", [9, 37])
def test_zeros_that_come_seldom_are_none_of_the_speed(heron, every):
    """A reading that fails now and then."""
    draw = random.Random(every)
    texts = [f"wheel_rpm={0 if i % every == 0 else 1800 + draw.gauss(0, 6):.1f}" for i in range(800)]
    shown, line = shown_after(heron, texts, 50, 2.0)
    assert max(abs(speed - 1800) for speed in shown if speed is not None) < 20
    assert shown.count(None) < 0.02 * len(shown)
    assert not line.shots
