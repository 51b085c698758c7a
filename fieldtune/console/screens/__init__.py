"""The other views, one key each; Esc leads back from all of them. Each is imported when it is first opened."""

from __future__ import annotations

from importlib import import_module

from fieldtune.console.screens.base import Board

_CLASSES = {
    "battery": "BatteryView",
    "export": "ExportView",
    "help": "HelpView",
    "learned": "LearnedView",
    "line": "LineView",
    "next": "NextView",
    "what_if": "WhatIfView",
    "wheel": "WheelView",
}
NAMES = tuple(_CLASSES)


def view(name: str) -> type[Board]:
    """The view of that name, as its key's action gives it."""
    found: type[Board] = getattr(import_module(f"fieldtune.console.screens.{name}"), _CLASSES[name])
    return found
