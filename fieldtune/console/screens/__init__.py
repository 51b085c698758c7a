"""The other screens, one key each; Esc leads back from all of them. Each is imported when it is first opened."""

from __future__ import annotations

from importlib import import_module

from fieldtune.console.screens.base import ConsoleScreen

_CLASSES = {
    "battery": "BatteryScreen",
    "encoder": "EncoderScreen",
    "export": "ExportScreen",
    "help": "HelpScreen",
    "learned": "LearnedScreen",
    "line": "LineScreen",
    "meanings": "MeaningsScreen",
    "map": "MapScreen",
    "next": "NextScreen",
    "shots": "ShotsScreen",
    "sizes": "SizesScreen",
    "wheel": "WheelScreen",
}
NAMES = tuple(_CLASSES)


def screen_class(name: str) -> type[ConsoleScreen]:
    """The screen of that name, as its key's action gives it."""
    found: type[ConsoleScreen] = getattr(import_module(f"fieldtune.console.screens.{name}"), _CLASSES[name])
    return found
