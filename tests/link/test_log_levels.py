"""A log's level letter with its time in brackets, which is no current. The lines are the test's own."""

from __future__ import annotations

import pytest

from fieldtune import load_robot
from fieldtune.link.troubleshooting.raw_fields import profile_lines, raw_fields


def lines(first: list[float]) -> list[str]:
    return [f"I ({one:g}) wheel: rpm={1800 + 7 * (n % 3)} bat=10.5" for n, one in enumerate(first)]


@pytest.mark.parametrize("times", [[18100 + 20 * n for n in range(40)], [18.1 + 0.021 * n for n in range(40)]])
def test_a_number_that_only_goes_on_is_a_clock(times: list[float]) -> None:
    said = profile_lines(raw_fields(lines(times), load_robot("heron")))
    assert 't_ms = "I"' in said
    assert not any("current" in one for one in said)


def test_one_that_goes_up_and_down_is_a_current() -> None:
    said = profile_lines(raw_fields(lines([4.1, 3.9, 4.4, 4.3, 4.0, 4.2] * 5), load_robot("heron")))
    assert 'current_a = "I"' in said
