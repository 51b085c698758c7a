"""A module that is imported when it is first used, for files that the first frame needs and that seldom compute."""

from __future__ import annotations

from importlib import import_module
from typing import Any


class LazyModule:
    """Stands in for the module of that name; its first attribute asked for imports it."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, attribute: str) -> Any:
        found = getattr(import_module(self._name), attribute)
        setattr(self, attribute, found)  # asked for once
        return found
