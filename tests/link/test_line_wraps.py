"""Lines that are broken after so many bytes, as terminals and small buffers do (common practice).

The wheel turns evenly at a speed of the test's own; what is shown has to be that or nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line

RPM = 1845


def broken(text: str, width: int) -> bytes:
    return "".join(text[at : at + width] + "\n" for at in range(0, len(text), width)).encode()


def printed(form: str, width: int, lines: int = 100) -> Iterator[tuple[float, bytes]]:
    """Lines of 50 a second; the first half of the first one was lost when the port was opened."""
    for number in range(lines):
        ms = 10_000 + 20 * number
        text = form.format(ms=ms, rpm=RPM, mv=10_400 + number % 7, mm=2100 + number % 5)
        yield ms / 1000, broken(text, width)[30 if number == 0 else 0 :]


FORMS = (
    ("t_ms={ms},distance_mm={mm},wheel_rpm={rpm},battery_mv={mv}", 40),  # behind 18
    ("t_ms={ms},wheel_rpm={rpm},battery_mv={mv},setpoint=1850,distance_mm={mm},mode=auto", 64),  # distance_m
    ("t_ms={ms},battery_mv={mv},wheel_rpm={rpm},distance_mm={mm}", 19),  # in three and more
    ('{{"t_ms": {ms}, "wheel_rpm": {rpm}, "battery_mv": {mv}, "distance_mm": {mm}}}', 44),
)


@pytest.mark.parametrize(("form", "width"), FORMS)
def test_numbers_that_are_broken_are_whole_again(form: str, width: int) -> None:
    line, shown = Line(load_robot("heron")), []
    for at_s, chunk in printed(form, width):
        half = len(chunk) // 3  # pieces come as they come
        line.feed(chunk[:half], at_s)
        line.feed(chunk[half:], at_s + 0.005)
        live = line.live("live", "", None, at_s + 0.005)
        if at_s > 10.8:
            shown.append((live.wheel_rpm, live.distance_m, live.battery_v))
    assert all(rpm == RPM for rpm, _, _ in shown)
    last = shown[-1]
    assert last[1] == pytest.approx(2.102, abs=0.003)
    assert last[2] == pytest.approx(10.403, abs=0.004)


def test_lines_of_even_length_with_damaged_beginnings_stay_apart() -> None:
    """They are as long as the longest, too, but most of what follows is a line."""
    line = Line(load_robot("heron"))
    for number in range(150):
        ms = 10_000 + 20 * number
        text = f"t_ms={ms},wheel_rpm={RPM},battery_mv=10400".encode()
        hurt = number % 3 == 2
        line.feed((b"#" + text[1:] if hurt else text) + b"\n", ms / 1000)
    assert line.health().lines == 150
    assert line.live("live", "", None, 12.98).wheel_rpm == RPM


def test_lines_that_are_not_broken_any_more_are_read_again() -> None:
    form, line = FORMS[0][0], Line(load_robot("heron"))
    for at_s, chunk in [*printed(form, 40), *((2 + at_s, chunk) for at_s, chunk in printed(form, 400))]:
        line.feed(chunk, at_s)
    before = line.good
    line.feed(b"".join(chunk for _, chunk in printed(form.replace("t_ms={ms},", ""), 400, 20))[60:], 14.1)
    assert line.good > before
