"""Values of the profile that were others when shots were learned under them: named, with the number of those shots."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldtune.errors import FieldtuneError
from fieldtune.frozen import frozen
from fieldtune.units import DIMENSIONS, parse

if TYPE_CHECKING:
    from fieldtune.setup.encoder_watch import Log

_KEPT = "profile values"
_LEARNED_ON = ("element", "launcher", "drive", "encoder", "target", "targets", "floor", "hood")
"""Tables that what is learned rests on; of ``link`` only the factors of what is read."""


@frozen
class OldValue:
    """A value that changed. ``shots``: how many that count were confirmed while it was ``was``."""

    key: str
    was: object
    now: object
    shots: int

    @property
    def words(self) -> str:
        """One line for a person."""
        shots = f"{self.shots} shot{' was' if self.shots == 1 else 's were'}"
        was, now = ("not there" if one is None else one for one in (self.was, self.now))
        return (
            f"{shots} learned with {self.key} = {was}, now {now}: if the robot itself was changed, leave them out (h)"
        )


def old_values(profile: Path, log: Log) -> tuple[OldValue, ...]:
    """Notes the profile's values with the log, and tells which are others than when shots were confirmed.

    Nothing is told any more once more shots were confirmed with the new values than with old ones.
    """
    try:
        now = dict(_flat(tomllib.loads(profile.read_text(encoding="utf-8-sig"))))
    except (OSError, ValueError):
        return ()  # whoever opens the robot is told
    shots = [shot for shot in log.shots() if shot.counts]
    last = max((shot.shot for shot in log.shots()), default=0)
    kept = _read(log.recall(_KEPT))
    if not kept or not _same(kept[-1]["values"], now):
        if kept and kept[-1]["after"] >= last:
            kept.pop()  # no shot was confirmed with those
        kept.append({"values": now, "after": last if kept else 0})
        log.remember(_KEPT, json.dumps(kept), make=False)
    found: dict[tuple[str, str], OldValue] = {}
    ends = [*(one["after"] for one in kept[1:]), math.inf]
    counts = [sum(one["after"] < shot.shot <= end for shot in shots) for one, end in zip(kept, ends, strict=True)]
    for one, count in zip(kept[:-1], counts, strict=False):
        for key in {*one["values"], *now} if count else ():
            was, value = one["values"].get(key), now.get(key)
            if not _equal(was, value):
                before = found.get((key, str(was)))
                found[key, str(was)] = OldValue(key, was, value, count + (0 if before is None else before.shots))
    return tuple(sorted((one for one in found.values() if one.shots > counts[-1]), key=lambda one: one.key))


def _flat(values: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, object]]:
    for name, value in values.items():
        key = f"{path}{name}"
        if isinstance(value, dict):
            if path or name in _LEARNED_ON or name == "link":
                yield from _flat(value, f"{key}.")
        elif path.split(".")[0] in _LEARNED_ON or key.startswith("link.scale."):
            yield key, value


def _read(record: str | None) -> list[dict[str, Any]]:
    try:
        kept = json.loads(record or "[]")
        return [one for one in kept if isinstance(one["values"], dict) and isinstance(one["after"], int)]
    except (ValueError, TypeError, KeyError):
        return []  # of a later version, and only a hint


def _same(one: Mapping[str, object], other: Mapping[str, object]) -> bool:
    return all(_equal(one.get(key), other.get(key)) for key in {*one, *other})


def _equal(one: object, other: object) -> bool:
    """Whether two values are the same, also in other units: "58 mm" and "5.8 cm"."""
    if one == other:
        return True
    for dimension in DIMENSIONS:
        try:
            return math.isclose(parse(one, dimension), parse(other, dimension), rel_tol=1e-9)
        except FieldtuneError:
            continue
    return False
