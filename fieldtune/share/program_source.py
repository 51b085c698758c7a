"""The curve as source for a robot program, in any of the languages, with no dependency.

Each source has the same three parts: the range, whether a distance is in it, and the setpoint. Outside the
range the setpoint is held at the nearer end; a distance that is not a number gives not a number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.caution import CAUTION
from fieldtune.errors import InputError
from fieldtune.share.export_kinds import LANGUAGES, cases
from fieldtune.share.templating import filled

if TYPE_CHECKING:
    from fieldtune.share.table_curve import Curve


def source(curve: Curve, language: str, date: str, class_name: str | None = None) -> str:
    """Source text in one of ``LANGUAGES``; ``date`` (ISO 8601) goes into its header.

    ``class_name``: of the class, where it has to be called like its file. Raises ``InputError``.
    """
    if language not in LANGUAGES:
        raise InputError(f"language {language!r}: expected one of {', '.join(LANGUAGES)}")
    names = cases(curve.robot)
    return filled(
        LANGUAGES[language].template,
        header=header(curve, date),
        class_name=class_name or f"{names['camel']}Setpoint",
        snake=names["snake"],
        distances=curve.distance_m.tolist(),
        setpoints=curve.setpoint.tolist(),
        slopes=[round(slope, 7) + 0.0 for slope in curve.slope.tolist()],
        unit={"rpm": "rpm", "%": "percent", "mm": "mm"}[curve.unit],
        volts=None if curve.volts is None else float(curve.volts),
        high=float(curve.high),
    )


def header(curve: Curve, date: str) -> list[str]:
    """What the numbers are, line by line, in plain ASCII that no language reads as more than a comment."""
    spread = f"{100 * curve.hit_probability.min():.0f} to {100 * curve.hit_probability.max():.0f} %"
    lines = [
        f"Setpoint over distance for robot {curve.robot}, made by fieldtune.",
        f"Title: {harmless(curve.title)}.",
        f"Date {date}, battery period {curve.epoch}, {curve.shots_used} shots used, hit chance {spread}.",
        f"Distance in metres from {curve.distance_m[0]:g} to {curve.distance_m[-1]:g}, setpoint in {curve.unit}.",
        f"Monotone cubic interpolation; at most {curve.worst_error:.2g} {curve.unit} off the recommendation",
        f"at {curve.checked} distances checked (the robot's step is {curve.step:g} {curve.unit}).",
    ]
    if curve.target is not None:
        lines.insert(2, f"Target {harmless(curve.target)}.")
    if curve.volts is not None:
        lines.append(f"Open loop: power for {curve.volts:g} V; it goes with the inverse of the battery voltage.")
    return [*lines, *CAUTION]


def harmless(text: str) -> str:
    """Text that may stand in any comment: printable ASCII without what ends one, escapes one or joins two lines."""
    plain = "".join(c if c.isascii() and c.isprintable() and c not in '\\?*`"' else " " for c in text)
    return " ".join(plain.split())[:60] or "no title"
