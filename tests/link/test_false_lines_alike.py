"""Damaged lines that bear one another out: the same digit lost twice is no wheel and no clock. Lines made up here."""

from __future__ import annotations

import random
from collections.abc import Iterator

from decode_lines import robot_for

from fieldtune.link import Line

RPM = 1392.86
LOST = ("392.86", "192.86", "132.86", "139.86")  # a digit of it
Changed = dict[int, tuple[int, str]]
"""By number: what clock and own rpm a line says instead; no rpm: it can't be read."""


def _lines(seconds: float, false: Changed, rpm: float = RPM) -> Iterator[tuple[float, bytes]]:
    """1,000 lines a second, each tenth unreadable."""
    hurt = random.Random(5)
    for n in range(round(1000 * seconds)):
        clock, said = false.get(n, (40_000 + n, f"{rpm:.2f}" if n % 10 else ""))
        text = bytearray(f"t_ms={clock},wheel_rpm={said or rpm}\n".encode())
        if not said:
            text[hurt.randrange(len(text) - 1)] = hurt.randrange(128, 256)
        yield n / 1000, bytes(text)


def _shown(line: Line, chunks: Iterator[tuple[float, bytes]], since_s: float = 0.5) -> set[float | None]:
    seen = set()
    for at_s, chunk in chunks:
        line.feed(chunk, at_s)
        if at_s > since_s:
            rpm = line.live("live", "", None, at_s).wheel_rpm
            seen.add(None if rpm is None else round(rpm))
    return seen


def test_two_lines_alike_are_no_wheel():
    line = Line(robot_for())
    false: Changed = {}
    for n in range(1010, 4000, 500):  # the last lines before them are unreadable, so that a wheel had some time
        false |= {i: (40_000 + i, "") for i in range(n - 9, n + 4)}
        false |= {i: (40_000 + i, "982.14") for i in (n, n + 3)}
    assert _shown(line, _lines(5.0, false, 1982.14)) == {1982}
    assert line.shots == ()


def test_digits_lost_again_and_again_are_no_coarse_reading():
    """At 1,000 lines a second a thousand rpm less look like one count of 56 a turn less."""
    line = Line(robot_for())
    false = {n: (40_000 + n, LOST[n % 4]) for n in range(1003, 4000, 30)}
    assert _shown(line, _lines(5.0, false)) == {1393}
    assert line.shots == ()


def test_two_clocks_alike_leave_time_and_wheel_as_they_were():
    line = Line(robot_for())
    false = {n + i: (400_000 + n + i, f"{RPM}" if i else "392.86") for n in range(1003, 4000, 500) for i in (0, 1)}
    assert _shown(line, _lines(5.0, false)) == {1393}
    assert line.shots == ()
    assert not [words for words in line.health().notices if "clock" in words or "gap" in words]


def test_a_robot_that_starts_anew_is_followed_on_a_damaged_line():
    line = Line(robot_for())
    before = list(_lines(3.0, {}))
    anew = [(at_s + 3.4, chunk.replace(b"t_ms=4", b"t_ms=")) for at_s, chunk in _lines(2.0, {})]
    _shown(line, iter(before))
    assert _shown(line, iter(anew), 3.45) == {1393}
    assert line.health().notices["restart"] == 1
