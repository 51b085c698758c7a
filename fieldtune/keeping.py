"""Where a robot's log lies, and the copy of a packaged robot's profile that is made before anything is kept."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.errors import StoreError

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot


def log_path(robot: Robot, home: Path | str | None = None) -> Path:
    """Where the robot's log lies: beside its profile, or in the home of profiles for a packaged robot."""
    from fieldtune.robot import profile_home

    if robot.path is not None and not is_packaged(robot.path):
        return robot.path.with_suffix(".db")
    return profile_home(home) / f"{robot.name}.db"


def make_room(robot: Robot, log: Path | None) -> None:
    """Before the first thing is kept: the log's folder, and beside it the profile of a packaged robot."""
    if log is None or log.exists():
        return
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        beside = log.with_suffix(".toml")
        if robot.path is not None and is_packaged(robot.path) and not beside.exists():
            shutil.copyfile(robot.path, beside)
    except OSError as error:
        raise StoreError(
            f"{log.parent}: the shot can't be kept there ({error.strerror or error}); "
            "use --profiles with a folder that can be written"
        ) from error


def is_packaged(path: Path) -> bool:
    """Whether a profile is one of the demonstration robots inside the installed package."""
    return Path(__file__).resolve().parent in path.resolve().parents
