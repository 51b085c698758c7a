"""Example programs for the robot's side: short enough to read, and tested against the real framing."""

from __future__ import annotations

from importlib.resources import files

from fieldtune.errors import InputError

_FILES = {"c": "avr.c", "cpp": "sender.cpp", "java": "Sender.java", "micropython": "micropython.py.txt"}
LANGUAGES = tuple(_FILES)


def sender_text(language: str) -> str:
    """Source of the sender in one of ``LANGUAGES`` (``c``: a bare 8-bit AVR). Raises ``InputError``."""
    name = _FILES.get(language)
    if name is None:
        raise InputError(f"no sender in {language!r}; there are: {', '.join(LANGUAGES)}")
    return files(__package__).joinpath(name).read_text(encoding="utf-8")


def sender_file(language: str) -> str:
    """What the sender's file is called where it is written."""
    return {"micropython": "sender.py"}.get(language, _FILES[language])
