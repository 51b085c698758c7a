"""Commands."""

from __future__ import annotations

import argparse

from fieldtune.commands import parsing


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
