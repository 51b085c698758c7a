"""What the figures mean: first those that stood on the screen from which one came, then all others."""

from __future__ import annotations

import re

from fieldtune.console.screens.help import ReadingScreen
from fieldtune.console.widgets.text_block import Part
from fieldtune.figures import meanings


class MeaningsScreen(ReadingScreen):
    """A list of figures with their meanings."""

    TITLE_WORDS = "Meanings"

    def page(self) -> list[Part]:
        shown = self.asked_text.casefold()
        there = [row for row in meanings() if re.search(rf"\b{re.escape(row[0].casefold())}", shown)]
        parts: list[Part] = [("On the screen you came from\n", "bold $act"), *_rows(there)] if there else []
        return [*parts, ("All others\n", "bold $act"), *_rows([row for row in meanings() if row not in there])]


def _rows(rows: list[tuple[str, str]]) -> list[Part]:
    return [part for name, says in rows for part in ((f"  {name}  ", "bold $ink"), (f"{says}\n", "$quiet"))]
