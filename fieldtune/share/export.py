"""Everything that leaves the tool as a file; the table as CSV text too."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.results import TableRow
from fieldtune.files import write_whole
from fieldtune.plain_text import csv_lines
from fieldtune.share.export_kinds import LANGUAGES, check_kind, class_name_for
from fieldtune.share.pack import pack
from fieldtune.share.program_source import source
from fieldtune.share.program_table import program_table
from fieldtune.share.sheet_contents import field_range
from fieldtune.share.templating import today

if TYPE_CHECKING:
    from fieldtune.session import Session


def csv_text(rows: Sequence[TableRow]) -> str:
    """Rows as RFC 4180 text; unknown is empty."""
    head = [field.name for field in dataclasses.fields(rows[0] if rows else TableRow)]
    return csv_lines(head, [dataclasses.astuple(row) for row in rows])


_ROWS = 41


def export(
    session: Session,
    kind: str,
    path: Path | str,
    force: bool = False,
    battery_v: float | None = None,
    target: str | None = None,
) -> Path:
    """Writes one of ``KINDS`` and returns its path; a file that is there is kept unless ``force``.

    Tables run over the profile's spots, or over the robot's reach where it names none. Raises ``InputError`` and
    ``OutputError`` with one line.
    """
    path = Path(path)
    return write_whole(path, content(session, kind, path.stem, battery_v, target), force=force)


def content(session: Session, kind: str, stem: str, battery_v: float | None = None, target: str | None = None) -> str:
    """The text of an export of that kind; ``stem`` of the file names the class where a language wants that."""
    check_kind(kind)
    if kind == "pack":
        return pack(session)
    if kind in ("sheet", "notebook"):
        from fieldtune.share.sheet import sheet

        return sheet(session, battery_v, target, long=kind == "notebook")
    near, far = field_range(session, target, battery_v)
    if kind == "table-csv":
        distances = [round(float(d), 3) for d in np.linspace(near, far, _ROWS)]
        return csv_text(session.table(distances, battery_v, target))
    named = class_name_for(LANGUAGES[kind], stem)
    return source(program_table(session, near, far, battery_v, target), kind, today(session), named)
