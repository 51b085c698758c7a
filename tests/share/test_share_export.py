"""The one door for all that leaves as a file."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import InputError, OutputError
from fieldtune.robot.home import demo_home
from fieldtune.share.export import export
from fieldtune.share.export_kinds import KINDS, suggested_name


@pytest.fixture(scope="module")
def session() -> Iterator[Session]:
    with Session(load_robot(demo_home() / "otter.toml")) as opened:
        opened.confirm(1.8, 32.0, "in")
        yield opened


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_written_once(kind: str, session: Session, tmp_path: Path) -> None:
    path = export(session, kind, tmp_path / suggested_name(session.robot.name, kind))
    before = path.read_bytes()
    assert len(before) > 300
    with pytest.raises(OutputError, match="is there already"):
        export(session, kind, path)
    assert path.read_bytes() == before
    assert export(session, kind, path, force=True) == path
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_what_is_in_them(session: Session, tmp_path: Path) -> None:
    rows = list(csv.DictReader(export(session, "table-csv", tmp_path / "t.csv").open(newline="")))
    assert (float(rows[0]["distance_m"]), float(rows[-1]["distance_m"])) == (1.0, 2.6)
    assert all(row["setpoint"] for row in rows)
    assert len(json.loads(export(session, "pack", tmp_path / "p.json").read_text("utf-8"))["shots"]) == 1
    assert "class Otter9 {" in export(session, "java", tmp_path / "Otter9.java").read_text()
    assert "Shot log" in export(session, "notebook", tmp_path / "n.html").read_text("utf-8")


def test_names_that_the_languages_take() -> None:
    assert suggested_name("7-of-9", "java") == "Robot7Of9Setpoint.java"
    assert suggested_name("7-of-9", "python") == "robot_7_of_9_setpoint.py"
    assert suggested_name("7-of-9", "cpp") == "robot_7_of_9_setpoint.hpp"
    assert suggested_name("heron", "java") == "HeronSetpoint.java"


def test_unknown_kind(session: Session, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="expected one of table-csv"):
        export(session, "pdf", tmp_path / "x")
