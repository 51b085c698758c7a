"""Lines that a terminal, a buffer or a print routine breaks after so many bytes: joined again.

A number that ends where a line is broken lacks its last digits: 1845 rpm was read as 18. That lines are broken shows by
the latest ones: all that are as long as the longest are followed by one that doesn't begin as lines do, with the same
name, and all others by one that does. What bytes get lost, or hurt, does so here and there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import islice, pairwise

_LATEST, _ENOUGH, _SHORTEST = 24, 5, 12  # lines; of each kind; bytes
_LONGER = 3  # lines, and none was joined between: they aren't broken any more; one or two are of a bad wire
_BEGINNING = re.compile(rb"(?:\$|\{\s*[\"'])?[A-Za-z_][\w.]*[\"']? ?[=:]")


class LineWraps:
    """Joins lines once they are found to be broken. ``at``: after so many bytes; 0 as long as they aren't."""

    def __init__(self) -> None:
        self.at = 0
        self._beginning, self._longer = b"", 0

    def look(self, latest: Iterable[bytes]) -> None:
        """Looks whether lines are broken. ``latest``: the newest first."""
        lines = list(islice(latest, _LATEST))[::-1]
        longest = max(map(len, lines), default=0)
        behind_longest = [line for before, line in pairwise(lines) if len(before) == longest]
        behind_others = [line for before, line in pairwise(lines) if len(before) < longest]
        if longest < _SHORTEST or min(len(behind_longest), len(behind_others)) < _ENOUGH:
            return
        begins = _BEGINNING.match(behind_others[-1])
        if begins is None or not all(line.startswith(begins.group()) for line in behind_others):
            return
        if not any(line.startswith(begins.group()) for line in behind_longest):
            self.at, self._beginning, self._longer = longest, begins.group(), 0

    def joined(self, lines: list[bytes]) -> tuple[list[bytes], bytes]:
        """The lines, with the broken ones whole; and the beginning of one that may go on, as it came."""
        whole: list[bytes] = []
        parts: list[bytes] = []
        for line in lines:
            self._longer += len(line) > self.at
            goes_on = bool(parts) and len(parts[-1]) == self.at and not line.startswith(self._beginning)
            if goes_on:
                self._longer = 0
            elif parts:
                whole.append(b"".join(parts))
                parts.clear()
            parts.append(line)
        if self._longer >= _LONGER:
            self.at = 0
        if not parts or len(parts[-1]) == self.at:
            return whole, b"".join(part + b"\n" for part in parts)
        return [*whole, b"".join(parts)], b""
