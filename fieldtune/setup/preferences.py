"""What one person prefers, on every robot: units, and the robot that was open last."""

from __future__ import annotations

import contextlib
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import platformdirs

from fieldtune.errors import OutputError
from fieldtune.files import write_whole


@dataclass(slots=True)
class Preferences:
    """``units``: metric or us, for all that is shown and for bare numbers; ``last``: the profile that was open last."""

    units: str = "metric"
    last: str = ""

    @property
    def us(self) -> bool:
        """Whether US customary units are meant."""
        return self.units == "us"


def _path() -> Path:
    return Path(platformdirs.user_config_dir("fieldtune", appauthor=False)) / "preferences.json"


def read_preferences() -> Preferences:
    """What was kept; the usual where nothing was, or it can't be read."""
    found: object = None
    with contextlib.suppress(OSError, ValueError, RuntimeError):
        text = _path().read_text(encoding="utf-8")[:10_000]
        import json

        found = json.loads(text)
    kept = found if isinstance(found, dict) else {}
    known = {one.name: kept[one.name] for one in fields(Preferences) if isinstance(kept.get(one.name), str)}
    preferences = Preferences(**known)
    if preferences.units not in ("metric", "us"):
        preferences.units = "metric"
    return preferences


def keep_preferences(preferences: Preferences) -> None:
    """Keeps them for the next start; a disk that can't take them costs no more than that."""
    import json

    with contextlib.suppress(OSError, OutputError, RuntimeError):
        path = _path()
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps(asdict(preferences)), force=True)
