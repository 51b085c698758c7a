"""The curve as source for a robot program, in any of the languages, with no dependency.

Each source has the same parts: a trim to edit, the range and whether a distance is in it, setpoint, time of flight, and
the lead of a robot in motion. Outside the range the setpoint is held at the nearer end; a distance that is not a number
gives not a number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.caution import CAUTION
from fieldtune.errors import InputError
from fieldtune.share.export_kinds import LANGUAGES, cases
from fieldtune.share.templating import filled

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.share.program_table import ProgramTable


def source(table: ProgramTable, language: str, date: str, class_name: str | None = None) -> str:
    """Source text in one of ``LANGUAGES``; ``date`` (ISO 8601) goes into its header.

    ``class_name``: of the class, where it has to be called like its file. Raises ``InputError``.
    """
    if language not in LANGUAGES:
        raise InputError(f"language {language!r}: expected one of {', '.join(LANGUAGES)}")
    curve, per_m = table.curve, table.per_m
    names, times, speeds = cases(curve.robot), table.time_s, table.speed_mps
    return filled(
        LANGUAGES[language].template,
        header=header(table, date),
        robot=curve.robot,
        class_name=class_name or f"{names['camel']}Setpoint",
        snake=names["snake"],
        unit=table.unit,
        length_word=_LENGTHS[table.unit],
        distances=_plain(curve.distance_m * per_m, 4),
        setpoints=curve.setpoint.tolist(),
        slopes=_plain(curve.slope / per_m, 7),
        times=None if times is None else _plain(times, 4),
        time_slopes=None if times is None else _plain(table.slopes(times) / per_m, 7),
        speeds=None if speeds is None else _plain(speeds * per_m, 4),
        speed_slopes=None if speeds is None else _plain(table.slopes(speeds), 7),
        turn_deg=float(table.turn_deg),
        setpoint_unit={"rpm": "rpm", "%": "percent", "mm": "mm"}[curve.unit],
        volts=None if curve.volts is None else float(curve.volts),
        high=float(curve.high),
        hoods=None if curve.hood_deg is None else _plain(curve.hood_deg, 4),
    )


_LENGTHS = {"m": "metres", "in": "inches"}


def _plain(values: FloatArray, digits: int) -> list[float]:
    return [round(value, digits) + 0.0 for value in values.tolist()]  # never minus zero


def header(table: ProgramTable, date: str) -> list[str]:
    """What the numbers are, line by line, in plain ASCII that no language reads as more than a comment."""
    curve, length = table.curve, _LENGTHS[table.unit]
    near, far = (f"{float(end) * table.per_m:.4g}" for end in (curve.distance_m[0], curve.distance_m[-1]))
    spread = f"{100 * curve.hit_probability.min():.0f} to {100 * curve.hit_probability.max():.0f} %"
    lines = [
        f"Setpoint over distance for robot {curve.robot}, made by fieldtune.",
        f"Title: {harmless(curve.title)}.",
        f"Date {date}, battery period {curve.epoch}, {curve.shots_used} shots used, hit chance {spread}.",
        f"Distance in {length} from {near} to {far}, setpoint in {curve.unit}.",
        f"Monotone cubic interpolation; at most {curve.worst_error:.2g} {curve.unit} off the recommendation",
        f"at {curve.checked} distances checked (the robot's step is {curve.step:g} {curve.unit}).",
    ]
    if curve.target is not None:
        lines.insert(2, f"Target {harmless(curve.target)}.")
    lines.append(table.voltage)
    if curve.hood_deg is not None:
        angles = ", ".join(f"{angle:g}" for angle in dict.fromkeys(curve.hood_deg.tolist()))
        lines.append(f"Set the hood too: exit angles of {angles} deg, each over a stretch of distances.")
    if table.speed_mps is None:
        lines.append("No lead for a robot in motion: the element slides; shoot standing.")
    return [*lines, *CAUTION]


def harmless(text: str) -> str:
    """Text that may stand in any comment: printable ASCII without what ends one, escapes one or joins two lines."""
    plain = "".join(c if c.isascii() and c.isprintable() and c not in '\\?*`"' else " " for c in text)
    return " ".join(plain.split())[:60] or "no title"
