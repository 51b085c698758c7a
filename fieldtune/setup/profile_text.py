"""A profile's text, changed in place: comments, order and what a person wrote by hand stay as they are."""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldtune.errors import OutputError, ProfileError
from fieldtune.files import read_whole, write_whole
from fieldtune.robot.profile import read_profile_text

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.robot.table_reader import Problem

_LARGEST = 300_000
_UNMEASURED = "not measured"
_STEP = re.compile(r"([^.\[\]]+)|\[(\d+)\]")


class ProfileText:
    """The text of the profile at ``path``. ``on_disk``: what stood there when it was read; None for a new one.

    Keys are paths as problems name them: ``launcher.grip``, ``spots[1].distance`` (counted from 1). Quantities are text
    with their unit.
    """

    def __init__(self, text: str, path: Path, on_disk: bytes | None = None) -> None:
        self.text, self.path, self.on_disk = text, path, on_disk
        self._read: tuple[str, dict[str, Any]] = ("", {})

    @classmethod
    def at(cls, path: Path) -> ProfileText:
        """The profile at a path; raises ``ProfileError`` where it can't be read as TOML."""
        raw = read_whole(path, "a profile, a TOML file", _LARGEST, ProfileError)
        try:
            text = raw.decode("utf-8-sig").replace("\r\n", "\n")
            tomllib.loads(text)
        except (UnicodeDecodeError, ValueError, RecursionError):
            _, problems = read_profile_text(raw, path)
            told = problems[0] if problems else None
            why = "it is no TOML" if told is None else f"{told.key}: {told.message}"
            raise ProfileError(f"{path}: {why}; mend that in a text editor first") from None
        return cls(text, path, raw)

    def values(self) -> dict[str, Any]:
        """The tables as a reader sees them."""
        if self._read[0] != self.text:
            self._read = self.text, tomllib.loads(self.text)
        return self._read[1]

    def value(self, key: str) -> Any:
        """The value at a key path, None where there is none."""
        found: Any = self.values()
        for step in _steps(key):
            try:
                found = found[step]
            except (KeyError, IndexError, TypeError):
                return None
        return found

    def check(self) -> tuple[Robot | None, tuple[Problem, ...]]:
        """The robot, None where there is an error, and all problems: the same as the command ``check`` finds."""
        return read_profile_text(self.text.encode(), self.path)

    def set(self, key: str, value: object) -> None:
        """Puts a value in its place, with its comment kept; a line that only shows the key as a comment is used."""
        import tomlkit

        if self.value(key) is None:
            self._uncomment(key)
        line = self._own_line(key)
        document = tomlkit.parse(self.text if line is None else line[1])
        *tables, last = _steps(key) if line is None else _steps(key)[-1:]
        place: Any = document
        for step, following in zip(tables, [*tables[1:], last], strict=False):
            if isinstance(step, str) and step not in place:
                place.add(step, tomlkit.aot() if isinstance(following, int) else tomlkit.table())
            if isinstance(step, int) and step == len(place):
                place.append(tomlkit.table())
            place = place[step]
        old = place.get(last) if isinstance(last, str) else None
        comment = _comment_of(old).replace(f"({_UNMEASURED})", "").strip()
        place[last] = value
        if comment:
            _comment(place[last], old, comment)
        self._put_back(tomlkit.dumps(document), line)

    def mark_unmeasured(self, key: str) -> None:
        """Says in the key's comment that its value is a guess."""
        import tomlkit

        if self.is_unmeasured(key):
            return
        line = self._own_line(key)
        document = tomlkit.parse(self.text if line is None else line[1])
        place: Any = document
        for step in _steps(key)[:-1] if line is None else []:
            place = place[step]
        item = place[_steps(key)[-1]]
        _comment(item, item, f"{_comment_of(item)} ({_UNMEASURED})".strip())
        self._put_back(tomlkit.dumps(document), line)

    def _own_line(self, key: str) -> tuple[int, str] | None:
        """Number and text of the key's line, where that line says it all: then no more has to be parsed."""
        number = self._line_of(key, commented=False)
        if number is None:
            return None
        line = self.text.split("\n")[number]
        with contextlib.suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(line) == {key.rpartition(".")[2]: self.value(key)}:
                return number, line
        return None

    def _put_back(self, text: str, line: tuple[int, str] | None) -> None:
        if line is not None:
            lines = self.text.split("\n")
            lines[line[0]] = text.rstrip("\n")
            text = "\n".join(lines)
        self._take(_parted(text))

    def is_unmeasured(self, key: str) -> bool:
        """Whether the value there is said to be a guess."""
        line = self._line_of(key, commented=False)
        return line is not None and _UNMEASURED in self.text.split("\n")[line].partition("#")[2]

    def remove(self, key: str) -> None:
        """Takes a key or a whole table out: its lines stay as comments."""
        if self.value(key) is None:
            return
        before = self.text
        if isinstance(self.value(key), dict):
            self._comment_table(key)
        else:
            line = self._line_of(key, commented=False)
            if line is not None:
                lines = self.text.split("\n")
                lines[line] = "# " + lines[line]
                self.text = "\n".join(lines)
        with contextlib.suppress(tomllib.TOMLDecodeError):
            if self.value(key) is None:
                return
        self.text = before  # laid out in another way than ours: take it out whole
        import tomlkit

        document = tomlkit.parse(self.text)
        place: Any = document
        for step in _steps(key)[:-1]:
            place = place[step]
        del place[_steps(key)[-1]]
        self._take(tomlkit.dumps(document))

    def restore_table(self, table: str) -> None:
        """Brings back a table whose lines were made comments."""
        lines, begin = self.text.split("\n"), None
        for number, line in enumerate(lines):
            if re.match(rf"# \[{re.escape(table)}\]", line):
                begin = number
        if begin is None or self.value(table) is not None:
            return
        end = begin
        while end < len(lines) and lines[end].startswith("#"):
            bare = lines[end].removeprefix("# ").removeprefix("#")
            lines[end] = bare if re.match(r"\[|\w+ *=|#|$", bare) else lines[end]
            end += 1
        self._take("\n".join(lines))

    def clear(self, key: str) -> None:
        """Takes out a list of tables, ``[[spots]]``, whole."""
        import tomlkit

        document = tomlkit.parse(self.text)
        if key in document:
            del document[key]
            self._take(tomlkit.dumps(document).rstrip("\n") + "\n")

    # -- the file

    def changed_elsewhere(self) -> bool:
        """Whether the file isn't what was read: someone edited it meanwhile, or made one of that name."""
        try:
            return self.path.read_bytes() != self.on_disk
        except FileNotFoundError:
            return self.on_disk is not None
        except OSError:
            return False  # saving will say what is wrong

    def save(self) -> None:
        """Writes the file whole or not at all. Raises ``OutputError``, also where it was changed since it was read."""
        if self.changed_elsewhere():
            raise OutputError(f"{self.path}: was changed by someone else since it was read here; read it again first")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise OutputError(f"{self.path.parent}: can't be made: {fault.strerror or fault}") from None
        write_whole(self.path, self.text, force=self.on_disk is not None)
        self.on_disk = self.text.encode()

    # -- lines

    def _take(self, text: str) -> None:
        tomllib.loads(text)  # never a text that the reader couldn't read
        self.text = text

    def _span(self, table: str) -> tuple[int, int] | None:
        """Lines of a table's body: from behind its header to the next header; None without one."""
        lines = self.text.split("\n")
        begin = 0 if not table else None
        for number, line in enumerate(lines):
            if re.match(r"\s*\[", line):
                if begin is not None:
                    return begin, number
                if re.match(rf"\s*\[\s*{re.escape(table)}\s*\]", line):
                    begin = number + 1
        return None if begin is None else (begin, len(lines))

    def _line_of(self, key: str, commented: bool) -> int | None:
        table, _, name = key.rpartition(".")
        span = self._span(table)
        if span is None:
            return None
        mark = r"#\s*" if commented else r"\s*"
        lines = self.text.split("\n")
        return next((n for n in range(*span) if re.match(rf"{mark}{re.escape(name)}\s*=", lines[n])), None)

    def _uncomment(self, key: str) -> None:
        """Makes the line that shows this key as a comment a real one, if there is one in its table."""
        table, lines = key.rpartition(".")[0], self.text.split("\n")
        if table and self.value(table) is None:
            header = next((n for n, line in enumerate(lines) if re.match(rf"#\s*\[{re.escape(table)}\]", line)), None)
            if header is not None:
                lines[header] = re.sub(r"^#\s*", "", lines[header])
                self.text = "\n".join(lines)
        line = self._line_of(key, commented=True)
        if line is None:
            return
        lines[line] = re.sub(r"^#\s*", "", lines[line])
        with contextlib.suppress(tomllib.TOMLDecodeError):
            self._take("\n".join(lines))

    def _comment_table(self, table: str) -> None:
        span = self._span(table)
        if span is None:
            return
        lines = self.text.split("\n")
        for number in range(span[0] - 1, span[1]):
            if lines[number].strip():  # what is a comment already stays one when the table comes back
                lines[number] = "# " + lines[number]
        self.text = "\n".join(lines)


def _steps(key: str) -> list[str | int]:
    return [int(number) - 1 if number else name for name, number in _STEP.findall(key)]


def _comment(item: Any, old: Any, comment: str) -> None:
    """Gives a value its comment, in the column where the old value's stood."""
    wide = len(old.as_string()) + len(old.trivia.comment_ws or "  ")
    item.comment(comment)
    item.trivia.comment_ws = " " * max(1, wide - len(item.as_string()))


def _parted(text: str) -> str:
    """An empty line before every table."""
    lines: list[str] = []
    for line in text.split("\n"):
        if re.match(r"\[\[?[A-Za-z]", line) and lines and lines[-1].strip() and not lines[-1].startswith("#"):
            lines.append("")
        lines.append(line)
    return "\n".join(lines)


def _comment_of(item: object) -> str:
    trivia = getattr(item, "trivia", None)
    return "" if trivia is None else str(trivia.comment).lstrip("# ").rstrip()


def shown_value(value: object) -> str:
    """A profile's value as a person would type it: ``22:33 20:28``, ``40 cm, 50 cm``, ``88 mm``."""
    if isinstance(value, Sequence) and not isinstance(value, str):
        if value and all(isinstance(pair, Sequence) and not isinstance(pair, str) for pair in value):
            return " ".join(":".join(str(teeth) for teeth in pair) for pair in value)
        return ", ".join(str(one) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
