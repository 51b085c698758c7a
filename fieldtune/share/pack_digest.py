"""Whether a pack is as it was written: a digest of all of it, and a check on each record, to tell what is still sound.

Both are SHA-256 (FIPS 180-4) over the values as JSON with sorted keys, so that other line ends change nothing.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from fieldtune.errors import InputError

SECTIONS = ("epochs", "shots", "marks", "batteries")
_DIGEST, _CHECK, _PROFILE_CHECK = "digest", "check", "profile_check"


def sealed(values: dict[str, Any]) -> dict[str, Any]:
    """The values of a pack with a check on each record, one on the profile, and the digest last."""
    checked: dict[str, Any] = {_PROFILE_CHECK: _hash(values["profile"])[:16]}
    for key, value in values.items():
        checked[key] = [{**record, _CHECK: _hash(record)[:16]} for record in value] if key in SECTIONS else value
    return {**checked, _DIGEST: _hash(checked)}


def opened(path: Path, values: dict[str, Any], sound_only: bool) -> tuple[dict[str, Any], int]:
    """The values without checks, and how many records were left out because they are damaged.

    Raises ``InputError`` for a damaged pack, unless only what is ``sound_only`` is wanted and its profile is. A pack of
    an older fieldtune has no digest, and is taken as it is.
    """
    told = values.get(_DIGEST)
    rest = {key: value for key, value in values.items() if key != _DIGEST}
    damaged = told is not None and told != _hash(rest)
    if damaged and not sound_only:
        raise InputError(
            f"{path}: damaged, it is not what was packed; copy it again, or merge what is still whole with --sound-only"
        )
    profile_check = rest.pop(_PROFILE_CHECK, None)
    if damaged and profile_check != _hash(rest.get("profile"))[:16]:
        raise InputError(f"{path}: damaged in its profile, so its shots can't be read; copy it again")
    left_out = 0
    for section in SECTIONS:
        records = rest.get(section)
        if isinstance(records, list):
            kept = [_unchecked(record, damaged) for record in records]
            rest[section] = [record for record in kept if record is not None]
            left_out += len(kept) - len(rest[section])
    if damaged:
        rest["present_epoch"] = None
        left_out += _leave_out_dependents(rest)
    return rest, left_out


def by_line(raw: bytes) -> dict[str, Any]:
    """What can be read of a pack that is no JSON any more, line by line; its digest then doesn't match."""
    values: dict[str, Any] = {}
    section: list[Any] | None = None
    for line in raw.decode("utf-8", "replace").splitlines():
        text = line.strip().rstrip(",")
        begins = re.fullmatch(r'"(\w+)": \[', text)
        if begins is not None:
            section = values.setdefault(begins[1], [])
        elif text in ("]", "{", "}"):
            section = None if text == "]" else section
        else:
            try:
                found = json.loads(text if section is not None else f"{{{text}}}")
            except (ValueError, RecursionError):
                continue
            if section is not None:
                section.append(found)
            else:
                values.update(found)
    return {**values, _DIGEST: "none"}


def _unchecked(record: Any, damaged: bool) -> Any:
    """A record without its check; None where the pack is damaged and the record isn't what it was."""
    if not isinstance(record, dict):
        return None if damaged else record
    plain = {key: value for key, value in record.items() if key != _CHECK}
    return None if damaged and record.get(_CHECK) != _hash(plain)[:16] else plain


def _leave_out_dependents(values: dict[str, Any]) -> int:
    """Leaves out what belongs to something that was left out; returns how much."""
    before = sum(len(values.get(section, ())) for section in SECTIONS)
    epochs = {record.get("epoch") for record in values.get("epochs", ())}
    values["shots"] = [shot for shot in values.get("shots", ()) if shot.get("epoch") in epochs]
    while True:
        known = {record.get("uid") for section in SECTIONS for record in values.get(section, ())}
        marks = values.get("marks", ())
        kept = [mark for mark in marks if mark.get("subject", mark.get("shot_uid")) in known]
        values["marks"] = kept
        if len(kept) == len(marks):
            return before - sum(len(values.get(section, ())) for section in SECTIONS)


def _hash(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()
