"""What is wrong or doubtful in a profile, collected so that one look at the file mends it all."""

from __future__ import annotations

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

    def noted(self, key: str) -> bool:
        """Whether anything is noted at this key path."""
        return any(problem.key == key for problem in self.problems)

    def faulty(self, key: str) -> bool:
        """Whether an error is noted at this key path."""
        return any(problem.key == key for problem in self.errors)
