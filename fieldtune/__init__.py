"""The console for robots that launch game elements at targets.

What is named here is the public door; everything else may change from one version to the next. Results are frozen
records whose fields carry their units; every error that fieldtune reports is a ``FieldtuneError``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldtune.aim.angle import AngleRow, AngleSpot, AngleSweep
    from fieldtune.aim.error_budget import Cause, ErrorBudget, SpotBudget
    from fieldtune.aim.results import Aim, ArcPicture, Learned, NextShot, SetpointChoice, Standing, TableRow
    from fieldtune.aim.turn import Pose
    from fieldtune.errors import (
        FieldtuneError,
        InputError,
        LinkError,
        OutOfReachError,
        OutputError,
        ProfileError,
        StoreError,
        UnitError,
        UnknownRobotError,
    )
    from fieldtune.learn.hits import HitGroup, Hits
    from fieldtune.learn.measured import Evidence
    from fieldtune.records import BatteryReading, Epoch, Mark, Shot
    from fieldtune.robot import load_robot
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

__version__ = "0.1.0"

_ROOMS = {
    "robot": ("load_robot",),
    "robot.model": ("Robot",),
    "session": ("Session",),
    "aim.angle": ("AngleRow", "AngleSpot", "AngleSweep"),
    "aim.error_budget": ("Cause", "ErrorBudget", "SpotBudget"),
    "aim.results": ("Aim", "ArcPicture", "Learned", "NextShot", "SetpointChoice", "Standing", "TableRow"),
    "aim.turn": ("Pose",),
    "learn.hits": ("HitGroup", "Hits"),
    "learn.measured": ("Evidence",),
    "records": ("BatteryReading", "Epoch", "Mark", "Shot"),
    "errors": (
        "FieldtuneError",
        "InputError",
        "LinkError",
        "OutOfReachError",
        "OutputError",
        "ProfileError",
        "StoreError",
        "UnitError",
        "UnknownRobotError",
    ),
}
_WHERE = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [
    "Aim", "AngleRow", "AngleSpot", "AngleSweep", "ArcPicture", "BatteryReading", "Cause", "Epoch", "ErrorBudget",
    "Evidence", "FieldtuneError", "HitGroup", "Hits", "InputError", "Learned", "LinkError", "Mark", "NextShot",
    "OutOfReachError", "OutputError", "Pose", "ProfileError", "Robot", "Session", "SetpointChoice", "Shot",
    "SpotBudget", "Standing", "StoreError", "TableRow", "UnitError", "UnknownRobotError", "__version__", "load_robot",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Imports the room of a public name on first use (PEP 562), so that ``import fieldtune`` stays cheap."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
