"""What is wrong or doubtful in a profile, collected so that one look at the file mends it all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding: the key path (``launcher.grip``), one line of words, and whether the profile can still be used."""

    key: str
    message: str
    severity: Literal["error", "warning"]


@dataclass(slots=True)
class Findings:
    """Problems in the order in which they were met."""

    problems: list[Problem] = field(default_factory=list)

    def error(self, key: str, message: str) -> None:
        """The profile can't be used before this is mended."""
        self.problems.append(Problem(key, message, "error"))

    def warn(self, key: str, message: str) -> None:
        """Usable, but worth a look."""
        self.problems.append(Problem(key, message, "warning"))

    @property
    def errors(self) -> list[Problem]:
        """Those that make the profile unusable."""
        return [p for p in self.problems if p.severity == "error"]

    @property
    def warnings(self) -> list[Problem]:
        """Those that leave it usable."""
        return [p for p in self.problems if p.severity == "warning"]

    @contextmanager
    def all_well(self) -> Iterator[list[bool]]:
        """Yields a list that tells, after the block, whether the block met no error: ``[True]`` or ``[False]``."""
        before, answer = len(self.errors), [True]
        yield answer
        answer[0] = len(self.errors) == before
