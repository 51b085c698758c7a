"""The console for robots that launch game elements at targets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldtune.robot import load_robot
    from fieldtune.session import Session

__all__ = ["Session", "load_robot"]


def __getattr__(name: str) -> Any:
    """Imports the two public doors on first use, so that ``import fieldtune`` stays cheap."""
    if name == "load_robot":
        from fieldtune.robot import load_robot

        return load_robot
    if name == "Session":
        from fieldtune.session import Session

        return Session
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
