"""One table of a profile, read key by key, and what is wrong or doubtful in it, so that one look mends it all.

Each reading method checks one value and notes what is wrong with it. A required value that is missing or wrong comes
back as nan or an empty word, so that reading goes on and finds the rest; the profile is not used then.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from fieldtune.errors import UnitError
from fieldtune.frozen import frozen
from fieldtune.units import Dimension, closest, parse, shown


@frozen
class Problem:
    """One finding: the key path (``launcher.grip``), one line of words, and whether the profile can still be used."""

    key: str
    message: str
    severity: Literal["error", "warning"]


def _cut(key: str) -> str:
    return key if len(key) <= 120 else f"{key[:119]}…"


@dataclass(slots=True)
class Findings:
    """Problems in the order in which they were met."""

    problems: list[Problem] = field(default_factory=list)

    def error(self, key: str, message: str) -> None:
        """The profile can't be used before this is mended."""
        self.problems.append(Problem(_cut(key), message, "error"))

    def warn(self, key: str, message: str) -> None:
        """Usable, but worth a look."""
        self.problems.append(Problem(_cut(key), message, "warning"))

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


class Section:
    """A table under the key path ``path``; keys that nobody read are unknown and reported by ``close``."""

    def __init__(self, values: dict[str, object], path: str, findings: Findings) -> None:
        self.values = values
        self.path = path
        self.findings = findings
        self._known: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def at(self, key: str) -> str:
        """The full path of a key."""
        return f"{self.path}.{key}" if self.path else key

    def error(self, key: str, message: str) -> None:
        """Notes an error at a key of this table."""
        self.findings.error(self.at(key) if key else self.path, message)

    def warn(self, key: str, message: str) -> None:
        """Notes a doubt at a key of this table."""
        self.findings.warn(self.at(key) if key else self.path, message)

    def faulty(self, key: str) -> bool:
        """Whether an error is noted at a key of this table."""
        return self.findings.faulty(self.at(key))

    def take(self, key: str) -> object:
        """The raw value, ``None`` where the key is left out (TOML has no null); the key counts as known."""
        self._known.append(key)
        return self.values.get(key)

    def knows(self, *keys: str) -> None:
        """Keys that belong here though this reading does not need them."""
        self._known.extend(keys)

    def renamed(self, old: str, new: str) -> None:
        """Reports a key under an earlier version's name; its value serves, so that this is the only complaint."""
        if old in self.values:
            self.knows(old)
            self.error(old, f"this key is now called {new}; rename it")
            self.values = {new: self.values[old], **self.values}

    def close(self, *elsewhere: str) -> None:
        """Reports unknown keys; ``elsewhere`` are further names to suggest."""
        for key in self.values:
            if key not in self._known:
                names = [*dict.fromkeys((*self._known, *elsewhere))]
                self.error(key, f"unknown key{closest(key, names) or '; known here: ' + ', '.join(names)}")

    # -- quantities ----------------------------------------------------------------------------------------------

    def maybe(
        self,
        key: str,
        dimension: Dimension,
        *,
        over: str | None = None,
        least: str | None = None,
        most: str | None = None,
        usual: tuple[str | None, str | None] = (None, None),
        why: str = "",
    ) -> float | None:
        """A quantity in SI, or ``None`` if left out or wrong.

        ``over`` (exclusive), ``least`` and ``most`` bound what is possible, ``usual`` what is common: outside of it
        the value is used and doubted. ``why`` gives the reason behind the bounds.
        """  # fmt: skip
        raw = self.take(key)
        return None if raw is None else self.checked(key, raw, dimension, over, least, most, usual, why)

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        default: float | None = None,
        *,
        over: str | None = None,
        least: str | None = None,
        most: str | None = None,
        usual: tuple[str | None, str | None] = (None, None),
        why: str = "",
    ) -> float:
        """A quantity in SI; ``default`` (SI) where left out, an error if there is none."""  # fmt: skip
        raw = self.take(key)
        if raw is None:
            if default is None:
                self.error(key, f'missing; expected {dimension.name}, such as "{dimension.example}"')
                return math.nan
            return default
        value = self.checked(key, raw, dimension, over, least, most, usual, why)
        return math.nan if value is None else value

    def checked(
        self,
        key: str,
        raw: object,
        dimension: Dimension,
        over: str | None = None,
        least: str | None = None,
        most: str | None = None,
        usual: tuple[str | None, str | None] = (None, None),
        why: str = "",
    ) -> float | None:
        """A raw value as a quantity in SI within its bounds, or ``None`` with the error noted."""  # fmt: skip
        try:
            value = parse(raw, dimension)
        except UnitError as fault:
            self.error(key, str(fault))
            return None
        reason = f" ({why})" if why else ""
        if over is not None and not value > parse(over, dimension):
            self.error(key, f"found {shown(raw)}; expected more than {_bound(over)}{reason}")
            return None
        if least is not None and value < parse(least, dimension):
            self.error(key, f"found {shown(raw)}; expected at least {_bound(least)}{reason}")
            return None
        if most is not None and value > parse(most, dimension):
            self.error(key, f"found {shown(raw)}; expected at most {_bound(most)}{reason}")
            return None
        low, high = usual
        if low is not None and value < parse(low, dimension):
            self.warn(key, f"found {shown(raw)}, less than is usual ({_bound(low)}); check number and unit")
        if high is not None and value > parse(high, dimension):
            self.warn(key, f"found {shown(raw)}, more than is usual ({_bound(high)}); check number and unit")
        return value

    # -- words, numbers, tables -----------------------------------------------------------------------------------

    def number(self, key: str, default: float | None = None, *, over: float, most: float) -> float:
        """A plain number; nan if wrong, or if required (no ``default``) and missing."""
        raw = self.take(key)
        if raw is None and default is not None:
            return default
        expected = f"expected a number above {over:g} and up to {most:g}"
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not over < raw <= most:
            self.error(key, f"missing; {expected}" if raw is None else f"found {shown(raw)}; {expected}")
            return math.nan
        return float(raw)

    def integer(self, key: str, default: int | None = None, *, least: int, most: int) -> int:
        """A whole number; ``least`` if wrong, or if required (no ``default``) and missing."""
        raw = self.take(key)
        if raw is None and default is not None:
            return default
        expected = f"expected {least} or {most}" if most == least + 1 else f"expected a whole number, {least} to {most}"
        if isinstance(raw, bool) or not isinstance(raw, int) or not least <= raw <= most:
            self.error(key, f"missing; {expected}" if raw is None else f"found {shown(raw)}; {expected}")
            return least
        return raw

    def choice(self, key: str, options: Sequence[str], default: str | None = None) -> str:
        """One of a few words; the first of them if wrong, or if required (no ``default``) and missing."""
        raw = self.take(key)
        if raw is None and default is not None:
            return default
        if isinstance(raw, str) and raw.strip().casefold() in options:
            return raw.strip().casefold()
        expected = "expected " + " or ".join(([", ".join(options[:-1])] if options[1:] else []) + [options[-1]])
        near = closest(raw, list(options)) if isinstance(raw, str) else ""
        self.error(key, f"missing; {expected}" if raw is None else f"found {shown(raw)}; {expected}{near}")
        return options[0]

    def text(self, key: str, default: str | None = None, longest: int = 80) -> str:
        """One line of free text; characters that can't be printed are taken out with a warning."""
        raw = self.take(key)
        if raw is None:
            if default is None:
                self.error(key, "missing; expected text in quotes")
            return default or ""
        if not isinstance(raw, str):
            self.error(key, f"found {shown(raw)}; expected text in quotes")
            return default or ""
        clean = " ".join("".join(c if c.isprintable() or c == "\u200d" else " " for c in raw).split())
        if clean != " ".join(raw.split()):
            self.warn(key, f"found {shown(raw)}; characters that can't be shown are left out")
        if len(clean) > longest:
            self.warn(key, f"found {len(clean)} characters; cut to {longest}")
            clean = clean[: longest - 1] + "…"
        if not clean and default is None:
            self.error(key, f"found {shown(raw)}; expected text that can be read")
        return clean or default or ""

    def section(self, key: str) -> Section | None:
        """A table inside this one, ``None`` where left out or no table."""
        raw = self.take(key)
        if raw is None:
            return None
        if not isinstance(raw, dict):
            self.error(key, f"found {shown(raw)}; expected a table, written [{self.at(key)}]")
            return None
        return Section(raw, self.at(key), self.findings)


def _bound(text: str) -> str:
    return "zero" if text.split()[0] == "0" else text
