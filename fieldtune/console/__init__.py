"""The text console: screens and widgets only; every number comes from the session and the line."""

from __future__ import annotations

import os

# Textual reads this when it is imported: paint as soon as something changed instead of at the next sixtieth.
os.environ.setdefault("TEXTUAL_FPS", "120")

from fieldtune.console.app import ConsoleApp, run
from fieldtune.console.line_opening import UnopenedLine

__all__ = ["ConsoleApp", "UnopenedLine", "run"]
