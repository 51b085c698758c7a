"""Whole numbers that a program prints in hexadecimal with nothing to say so: 0001f3a8, and 00012345 among them.

Read as decimal, those that have no letter by chance would tell a speed, and a wrong one.
"""

from __future__ import annotations

import re
from collections import Counter, deque

from fieldtune.line_fields import CLOCKS, COUNTER

_DIGITS = re.compile(r"\s*([0-9A-Fa-f]{1,16})\b", re.ASCII)
_EXPONENT = re.compile(r"\d+[eE]\d+", re.ASCII)
_LETTERS, _WITHIN = 4, 12  # so many with letters of so many that are no plain number: damage makes none
_DECIMAL = 40  # different numbers in a row without a letter, as none in hexadecimal are


class Hexadecimal:
    """Which of our whole numbers are hexadecimal on this line; true once any is."""

    def __init__(self) -> None:
        self._seen: Counter[str] = Counter()
        self._letters = {name: deque[int](maxlen=_LETTERS) for name in (*CLOCKS, COUNTER)}
        self._without: dict[str, tuple[int, int]] = {}  # of those that are: the last one, and how many had no letter

    def __bool__(self) -> bool:
        return bool(self._without)

    @property
    def names(self) -> tuple[str, ...]:
        """Ours, of the fields that are."""
        return tuple(self._without)

    def value(self, ours: str, text: str) -> int | None:
        """The number at the beginning of a text, if that field is hexadecimal; else None, to be read as usual."""
        digits = _DIGITS.match(text) if ours in self._letters else None
        if digits is None:
            return None
        number, letters = int(digits[1], 16), self._letters[ours]
        self._seen[ours] += 1
        if not digits[1].isdigit() and not _EXPONENT.fullmatch(digits[1]):
            letters.append(self._seen[ours])
            if ours in self._without or (len(letters) == _LETTERS and letters[-1] - letters[0] < _WITHIN):
                self._without[ours] = number, 0
        elif ours in self._without and number != self._without[ours][0]:
            times = self._without[ours][1] + 1
            self._without[ours] = number, times
            if times >= _DECIMAL:
                del self._without[ours]
                letters.clear()
        return number if ours in self._without else None
