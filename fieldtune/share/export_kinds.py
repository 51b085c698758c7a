"""What can be exported: its words, its file's name, and for source the language. Nothing heavy is imported here.

Another language for the robot program is a record here and a template in ``templates``.
"""

from __future__ import annotations

import re

from fieldtune.errors import InputError
from fieldtune.frozen import frozen


@frozen
class Language:
    """A language of robot programs. ``file``: the name suggested, of ``{camel}`` or ``{snake}`` case.

    ``reserved``: words that a class can't be called, in languages whose file is called like its class (else None).
    """

    key: str
    words: str
    template: str
    file: str
    reserved: frozenset[str] | None = None


_JAVA_WORDS = """
abstract assert boolean break byte case catch char class const continue default do double else enum extends false final
finally float for goto if implements import instanceof int interface long native new null package private protected
public return short static strictfp super switch synchronized this throw throws transient true try void volatile while
_ Math String record var yield
"""
"""Reserved words (Java Language Specification, section 3.9) and names that the class itself uses."""

LANGUAGES = {
    language.key: language
    for language in (
        Language(
            "java",
            "table as Java source for the robot program",
            "java.j2",
            "{camel}Setpoint.java",
            frozenset(_JAVA_WORDS.split()),
        ),
        Language("cpp", "table as a C++ header for the robot program", "cpp.j2", "{snake}_setpoint.hpp"),
        Language("python", "table as Python source for the robot program", "python.j2", "{snake}_setpoint.py"),
    )
}

_FILES = {
    "table-csv": ("distance-to-setpoint table for a spreadsheet", "{name}-table.csv"),
    **{key: (language.words, language.file) for key, language in LANGUAGES.items()},
    "sheet": ("pit sheet, one page to print", "{name}-sheet.html"),
    "notebook": ("pit sheet with residuals, shot log, decision table", "{name}-notebook.html"),
    "pack": ("profile and shot log, for another laptop", "{name}-pack.json"),
}
KINDS = {kind: words for kind, (words, _) in _FILES.items()}
"""What can be exported, with words for people."""


def suggested_name(robot: str, kind: str) -> str:
    """A file name for an export of that kind, such as ``heron-sheet.html`` or ``HeronSetpoint.java``."""
    check_kind(kind)
    return _FILES[kind][1].format(name=robot, **cases(robot))


def check_kind(kind: str) -> None:
    """Raises ``InputError`` for what is no export."""
    if kind not in KINDS:
        raise InputError(f"export {kind!r}: expected one of {', '.join(KINDS)}")


def cases(robot: str) -> dict[str, str]:
    """A robot's name as programs write names, in ``camel`` and in ``snake`` case; never with a digit first."""
    words = robot.split("-")
    if robot[:1].isdigit():
        words = ["robot", *words]
    return {"camel": "".join(word.capitalize() for word in words), "snake": "_".join(words)}


def class_name_for(language: Language, file_stem: str) -> str | None:
    """The class that a file of that name has to hold; None in languages whose files have any name.

    Raises ``InputError`` where no class can be called so.
    """
    if language.reserved is None:
        return None
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", file_stem) or file_stem in language.reserved:
        ending = language.file.rpartition(".")[2]
        raise InputError(
            f"{file_stem}.{ending}: such a file is called like its class; give a name such as Setpoint.{ending}"
        )
    return file_stem
