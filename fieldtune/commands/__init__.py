"""The commands, one file a family; each has ``add(commands)``, which declares them."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

FAMILIES = {
    "line": ("console", "simulate", "sender"),
    "listening": ("listen", "replay"),
    "aiming": ("aim", "stand", "next"),
    "log": ("shot", "undo", "shots", "exclude", "include", "swap", "batteries", "learned"),
    "carrying": ("pack", "merge", "import"),
    "profiles": ("robots", "new"),
    "checking": ("check",),
    "paper": ("table",),
    "printed": ("sheet",),
    "sizes": ("size", "compare"),
}


def families(command: str | None) -> list[ModuleType]:
    """The family that declares a command; all of them where none does, so that help and hints know every name."""
    wanted = [family for family, commands in FAMILIES.items() if command in commands] or list(FAMILIES)
    return [import_module(f"{__name__}.{family}") for family in wanted]
