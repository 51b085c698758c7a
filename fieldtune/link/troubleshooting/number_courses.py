"""How a reading's numbers go from line to line: as a clock's, a counter's, or what tells that a shot left."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import pairwise

_FEW_NUMBERS, _MOSTLY = 10, 0.5
LEAST_DIFFERENT = 3
"""Fewer numbers than these tell no course."""
STEADIER, _BOTH_WAYS = 2, 8
"""So many times as often it goes one way, or has other numbers, where it is told apart from the other way."""
_MOST_SHOTS, _SELDOM = 1000, 4


def _steps(numbers: Sequence[float]) -> list[float]:
    return [after - before for before, after in pairwise(numbers)]


def go_both_ways(numbers: Sequence[float]) -> bool:
    """Whether they go down about as often as up, as no counter does; one that rests on an edge has two values."""
    if len(set(numbers)) < LEAST_DIFFERENT:
        return False
    up, down = (sum(sign * step > 0 for step in _steps(numbers)) for sign in (1, -1))
    return min(up, down) >= _BOTH_WAYS and STEADIER * min(up, down) >= max(up, down)


def mostly_stand(numbers: Sequence[float]) -> bool:
    """Whether most lines have the number of the line before, so that it times none of them."""
    return len(numbers) > _FEW_NUMBERS and _steps(numbers).count(0) > _MOSTLY * len(numbers)


def go_on(numbers: Sequence[float]) -> bool:
    """Whether they rise from line to line as a clock's do."""
    steps = _steps(numbers[1:])  # the first line may be an old one
    return len(steps) > 3 and min(steps) > 0 and max(steps) < 20 * statistics.median(steps)


def tells_shots(numbers: Sequence[float]) -> bool:
    """Whether they say that a shot leaves (1) or none (0), or count them: a whole number that seldom goes on."""
    if set(numbers) <= {0.0, 1.0}:
        return True
    steps = _steps(numbers)
    seldom = steps.count(0) > _SELDOM * steps.count(1) and set(steps) <= {0.0, 1.0}
    return seldom and all(number.is_integer() and 0 <= number < _MOST_SHOTS for number in numbers)
