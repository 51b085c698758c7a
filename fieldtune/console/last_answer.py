"""The answer that the next start begins with, kept in the user's cache, so that it stands in the first frame.

It is for the first spot and target, before anything was read from the line. Its key is made of all that it rests on:
for anything else it is no answer. A file that isn't as it was written, or isn't one's own, is no answer either.
"""

from __future__ import annotations

import json
import math
import os
import stat
import sys
from contextlib import suppress
from dataclasses import asdict, fields
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

import fieldtune
from fieldtune import person_units
from fieldtune.aim.results import Aim, Sensitivity, SetpointChoice
from fieldtune.caution import CAUTION_KEY
from fieldtune.errors import FieldtuneError
from fieldtune.files import place_whole
from fieldtune.port_names import LAST_PORT, PORT_FROM_ELSEWHERE
from fieldtune.store.rescue_files import waits_beside

if TYPE_CHECKING:
    from fieldtune.session import Session

_BESIDE = (CAUTION_KEY, LAST_PORT, PORT_FROM_ELSEWHERE)
"""Small things in the log on which no answer rests."""
_MOST_BYTES, _LONGEST, _MOST_WORDS = 20_000, 400, 20
_WAIT_S = 0.1
"""How long the first frame waits for a log that another program has locked."""


class LastAnswer:
    """Reads and writes the answer of one session; where it can't, there is none, and nothing is said."""

    def __init__(self, session: Session) -> None:
        self._session, robot = session, session.robot
        self._log = session.log.path
        self._asked = (round(robot.spots[0].distance, 2), robot.targets[0].name) if robot.spots else None
        self._kept: str | None = None

    @property
    def path(self) -> Path | None:
        """Its file, one for each log, whether that is on the disk yet or not; None without a log, or a first spot."""
        if self._log is None or self._asked is None:
            return None
        folder = Path(platformdirs.user_cache_dir("fieldtune", appauthor=False))
        return folder / f"{self._log.stem}-{_digest(str(self._log.absolute()))[:16]}.json"

    def recall(self) -> Aim | None:
        """The answer, if it is for exactly what is known now."""
        with suppress(FieldtuneError, OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
            path = self.path
            if path is None or self._log is None or waits_beside(self._log):
                return None
            found = json.loads(_own_bytes(path))
            key = self._key()
            if found["key"] == key and found["sum"] == _digest(key, found["aim"]):
                aim: Aim = _record(Aim, found["aim"])
                self._check(aim)
                self._kept = key
                return aim
        return None

    def made(self) -> tuple[Path, bytes] | None:
        """Where to keep what for the next start; None where that is kept already, or can't be. Takes milliseconds."""
        with suppress(FieldtuneError, OSError, ValueError, TypeError):
            path, asked = self.path, self._asked
            if path is None or asked is None or (key := self._key()) == self._kept:
                return None
            aim = self._session.aim(asked[0], target=asked[1], unread=True)
            plain = json.loads(json.dumps(asdict(aim), allow_nan=False))
            if self._key() != key or _record(Aim, plain) != aim:
                return None  # somebody wrote to the log meanwhile
            self._check(aim)
            self._kept = key
            return path, json.dumps({"key": key, "sum": _digest(key, plain), "aim": plain}).encode()
        return None

    def _key(self) -> str:
        """A digest of all that the answer rests on."""
        evidence = self._session.log.evidence(_BESIDE, _WAIT_S)
        return _digest(_program(), self._session.robot, evidence, self._asked, person_units.us())

    def _check(self, aim: Aim) -> None:
        """Raises ``ValueError`` for what can't be the answer of this robot."""
        robot, choice, chance = self._session.robot, aim.setpoint, aim.hit_probability
        fits = (aim.robot, aim.distance_m, aim.target, aim.battery_v) == (robot.name, *(self._asked or ()), None)
        for setpoint in (choice.value, choice.low, choice.high):
            fits = fits and (setpoint is None or robot.setpoint.low <= setpoint <= robot.setpoint.high)
        if not fits or choice.unit != robot.setpoint.unit or not 0 <= (chance or 0.0) <= 1:
            raise ValueError("not an answer of this robot")


def keep(path: Path, content: bytes) -> None:
    """Writes it in one piece; a disk that can't take it costs no more than that."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        place_whole(path, content, force=True)


def _digest(*parts: object) -> str:
    import hashlib

    return hashlib.blake2b(repr(parts).encode(errors="backslashreplace"), digest_size=32).hexdigest()


def _program() -> tuple[object, ...]:
    """Which program this is: its version, and when and how long its files are, for those who change them."""
    newest, size, folders = 0, 0, [os.path.dirname(fieldtune.__file__)]
    while folders:
        with os.scandir(folders.pop()) as found:
            for entry in found:
                if entry.name.endswith(".py"):
                    seen = entry.stat()
                    newest, size = max(newest, seen.st_mtime_ns), size + seen.st_size
                elif entry.is_dir() and entry.name != "__pycache__":
                    folders.append(entry.path)
    numpy = find_spec("numpy")
    computes = os.stat(numpy.origin).st_mtime_ns if numpy is not None and numpy.origin is not None else None
    return fieldtune.__version__, sys.version, computes, newest, size


def _own_bytes(path: Path) -> bytes:
    """The bytes of a small file of one's own; raises ``OSError`` or ``ValueError`` for anything else."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    with open(handle, "rb") as file:
        found = os.fstat(handle)
        own = not hasattr(os, "getuid") or found.st_uid == os.getuid()
        if not (own and stat.S_ISREG(found.st_mode) and found.st_size <= _MOST_BYTES):
            raise ValueError("not one's own")
        return file.read(_MOST_BYTES)


# The answer from plain values, by the types that its fields are declared with.


def _record(kind: type[Any], value: Any) -> Any:
    wanted = {field.name: field.type for field in fields(kind)}
    if not isinstance(value, dict) or value.keys() != wanted.keys():
        raise ValueError(kind.__name__)
    return kind(**{name: _value(str(wanted[name]), value[name]) for name in wanted})


def _value(kind: str, value: Any) -> Any:
    """The value as one of that type; raises ``ValueError`` where it is none, or none that can be shown."""
    if kind.endswith(" | None"):
        return None if value is None else _value(kind.removesuffix(" | None"), value)
    if kind in ("SetpointChoice", "Sensitivity"):
        return _record(SetpointChoice if kind == "SetpointChoice" else Sensitivity, value)
    if kind.startswith("tuple") and isinstance(value, list):
        inner = kind[len("tuple[") : -1].split(", ")
        if inner[-1] == "...":
            inner = inner[:1] * min(len(value), _MOST_WORDS)
        return tuple(_value(one, part) for one, part in zip(inner, value, strict=True))
    if kind == "float" and isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    if kind == "str" and isinstance(value, str) and value.isprintable() and len(value) <= _LONGEST:
        return value
    if kind in ("int", "bool") and type(value).__name__ == kind:
        return value
    raise ValueError(f"not a {kind}")
