"""The distance-to-setpoint table as CSV or JSON text."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Sequence

from fieldtune.aim.results import TableRow
from fieldtune.robot.model import Robot


def csv_text(rows: Sequence[TableRow]) -> str:
    """Rows as RFC 4180 text; unknown is empty."""
    page = io.StringIO()
    lines = csv.writer(page)
    lines.writerow(field.name for field in dataclasses.fields(TableRow))
    lines.writerows(dataclasses.astuple(row) for row in rows)
    return page.getvalue()


def json_text(robot: Robot, rows: Sequence[TableRow]) -> str:
    """Rows as one JSON object on one line; unknown is null."""
    found = {"robot": robot.name, "unit": robot.setpoint.unit, "rows": [dataclasses.asdict(row) for row in rows]}
    return json.dumps(found, allow_nan=False, ensure_ascii=False) + "\n"
