"""Whether a pack is tired: its resistance over its life, and against what the profile says of it."""

from __future__ import annotations

from collections.abc import Sequence

_TIRED = 1.5
"""Resistance over that of the young pack at which packs are commonly retired or kept for practice (common practice)."""


def tired_words(history: Sequence[float], now_ohm: float | None, profile_ohm: float | None) -> str | None:
    """One line for a pack whose resistance has grown to half as much again; None for one that has not, or is unknown.

    ``history``: resistances of the same pack, ohms, oldest first. The young value is the lowest of its first three.
    """
    known = [r for r in history if r > 0]
    latest = now_ohm if now_ohm is not None else (known[-1] if known else None)
    young = min(known[:3]) if len(known) >= 2 or (known and now_ohm is not None) else profile_ohm
    if latest is None or young is None or young <= 0 or latest < _TIRED * young:
        return None
    source = "when first measured" if known else "in the profile"
    return (
        f"this pack is tired: {1000 * latest:.0f} mohm now, {1000 * young:.0f} {source}; "
        "keep it for practice, and check its plug and wiring too"
    )
