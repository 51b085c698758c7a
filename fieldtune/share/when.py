"""The date that stands on what leaves the tool."""

from __future__ import annotations

from fieldtune.session import Session


def today(session: Session) -> str:
    """The session's date where the user is, ISO 8601."""
    return session.now().astimezone().date().isoformat()
