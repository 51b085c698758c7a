"""The commands, one file a family; each has ``add(commands)``, which declares them."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

FAMILIES = {
    "console": ("console", "simulate", "sender"),
    "listen": ("listen", "replay"),
    "aim": ("aim", "stand", "next"),
    "budget": ("budget",),
    "angle": ("angle",),
    "hits": ("hits",),
    "measure": ("measure",),
    "response": ("response",),
    "shot": ("shot", "correct", "undo", "redo", "shots", "exclude", "include", "swap", "batteries", "learned"),
    "pack": ("pack", "merge", "import"),
    "robots": ("robots", "new"),
    "check": ("check",),
    "table": ("table", "trim"),
    "sheet": ("sheet",),
    "size": ("size", "compare"),
}


def families(command: str | None) -> list[ModuleType]:
    """The family that declares a command; all of them where none does, so that help and hints know every name."""
    wanted = [family for family, commands in FAMILIES.items() if command in commands] or list(FAMILIES)
    return [import_module(f"{__name__}.{family}") for family in wanted]
