"""The curve as source for a robot program: Java, C++ or Python, with no dependency.

Each source has the same three parts: the range, whether a distance is in it, and the setpoint. Outside the
range the setpoint is held at the nearer end; a distance that is not a number gives not a number.
"""

from __future__ import annotations

import math
import re

from fieldtune.errors import InputError
from fieldtune.share.program_templates import CPP, JAVA, PYTHON
from fieldtune.share.table_curve import Curve

LANGUAGES = ("java", "cpp", "python")
_JAVA_WORDS = """
abstract assert boolean break byte case catch char class const continue default do double else enum extends false final
finally float for goto if implements import instanceof int interface long native new null package private protected
public return short static strictfp super switch synchronized this throw throws transient true try void volatile while
_ Math String record var yield
"""
"""Reserved words (Java Language Specification, section 3.9) and names that the class itself uses."""


def source(curve: Curve, language: str, date: str, class_name: str | None = None) -> str:
    """Source text in one of ``LANGUAGES``; ``date`` (ISO 8601) goes into its header.

    ``class_name``: of the Java class, which has to be called like its file. Raises ``InputError``.
    """
    if language not in LANGUAGES:
        raise InputError(f"language {language!r}: expected one of {', '.join(LANGUAGES)}")
    template = {"java": JAVA, "cpp": CPP, "python": PYTHON}[language]
    comment = {"java": " * ", "cpp": "// ", "python": ""}[language]
    indent = {"java": " " * 8, "cpp": " " * 4, "python": " " * 4}[language]
    columns = {"java": 100, "cpp": 80, "python": 1}[language]
    names = _names(curve.robot)
    values = {
        "class": class_name or names["class"],
        "name": names["name"],
        "guard": names["guard"],
        "header": "\n".join(f"{comment}{line}".rstrip() for line in header(curve, date)),
        "distances": _rows(curve.distance_m.tolist(), indent, columns),
        "setpoints": _rows(curve.setpoint.tolist(), indent, columns),
        "slopes": _rows([round(v, 7) + 0.0 for v in curve.slope.tolist()], indent, columns),
        "count": str(len(curve.distance_m)),
        "unit": {"rpm": "rpm", "%": "percent", "mm": "mm"}[curve.unit],
        "volts": repr(float(curve.volts)) if curve.volts is not None else "",
        "high": repr(float(curve.high)),
    }
    text = template
    for kind in ("volts", "plain"):
        wanted = (kind == "volts") == (curve.volts is not None)
        text = re.sub(rf"@if {kind}\n(.*?)@end\n", r"\1" if wanted else "", text, flags=re.S)
    return re.sub(r"@(\w+)@", lambda match: values[match[1]], text)


def class_name_for(file_stem: str) -> str:
    """The Java class that a file of that name has to hold; raises ``InputError`` where no class can be called so."""
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", file_stem) or file_stem in _JAVA_WORDS.split():
        raise InputError(f"{file_stem}.java: a Java file is called like its class; give a name such as Setpoint.java")
    return file_stem


def header(curve: Curve, date: str) -> list[str]:
    """What the numbers are, line by line, in plain ASCII that no language reads as more than a comment."""
    spread = f"{100 * curve.hit_probability.min():.0f} to {100 * curve.hit_probability.max():.0f} %"
    lines = [
        f"Setpoint over distance for robot {curve.robot}, made by fieldtune.",
        f"Title: {harmless(curve.title)}.",
        f"Date {date}, epoch {curve.epoch}, {curve.shots_used} shots used, hit probability {spread}.",
        f"Distance in metres from {curve.distance_m[0]:g} to {curve.distance_m[-1]:g}, setpoint in {curve.unit}.",
        f"Monotone cubic interpolation; at most {curve.worst_error:.2g} {curve.unit} off the recommendation",
        f"at {curve.checked} distances checked (the robot's step is {curve.step:g} {curve.unit}).",
        "Fast wheels, stored springs and flying elements can hurt: wear eye protection,",
        "keep the range clear, follow the event's rules.",
    ]
    if curve.target is not None:
        lines.insert(2, f"Target {harmless(curve.target)}.")
    if curve.volts is not None:
        lines.insert(-2, f"Open loop: power for {curve.volts:g} V; it goes with the inverse of the battery voltage.")
    return lines


def harmless(text: str) -> str:
    """Text that may stand in any comment: printable ASCII without what ends one, escapes one or joins two lines."""
    plain = "".join(c if c.isascii() and c.isprintable() and c not in '\\?*`"' else " " for c in text)
    return " ".join(plain.split())[:60] or "no title"


def _names(robot: str) -> dict[str, str]:
    words = [w for w in re.split(r"[^a-z0-9]+", robot.lower()) if w]
    name = "_".join(words)
    if name[:1].isdigit():
        name, words = f"robot_{name}", ["robot", *words]
    camel = "".join(w.capitalize() for w in words)
    return {"class": f"{camel}Setpoint", "name": f"{name}_setpoint", "guard": f"{name.upper()}_SETPOINT_HPP"}


def _rows(values: list[float], indent: str, columns: int) -> str:
    """Numbers, as many a line as fit (at least one), with trailing commas."""
    lines, line = [], indent
    for value in values:
        if not math.isfinite(value):
            raise InputError("the table holds a number that is none; no source written")
        item = f"{value!r}, "
        if line.strip() and len(line) + len(item) > columns:
            lines.append(line.rstrip())
            line = indent
        line += item
    return "\n".join([*lines, line.rstrip()])
