"""Plain text: names beside values and tables, aligned, and no character that a terminal would obey."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def printable(text: str) -> str:
    """Text that isn't ours, with what isn't printable as ``?``."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def pairs(rows: Iterable[Sequence[str | None]], indent: int = 2) -> list[str]:
    """Rows of a name, its value and perhaps a remark, aligned; those without a value are left out."""
    kept = [[printable(cell or "") for cell in row] for row in rows if row[1] is not None]
    widths = [max(len(row[k]) for row in kept) for k in range(len(kept[0]))] if kept else []
    return [
        f"{'':{indent}}{'  '.join(f'{cell:<{width}}' for cell, width in zip(row, widths, strict=True))}".rstrip()
        for row in kept
    ]


def columns(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table: numbers to the right, words to the left."""
    cells = [list(head), *([printable(cell) for cell in row] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    right = [all(_is_number(row[i]) for row in cells[1:]) for i in range(len(head))]
    return [
        "  ".join(
            cell.rjust(width) if is_number else cell.ljust(width)
            for cell, width, is_number in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in cells
    ]


def _is_number(cell: str) -> bool:
    return cell.strip(" -+%.0123456789") == "" or cell == "-"
