"""Labels of match and batch: kept, brought along by packs, merges and sheets, and given to older logs as unknown."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path

import pytest

from fieldtune import Session, load_robot
from fieldtune.cli import main
from fieldtune.share.merge import merge
from fieldtune.share.pack import pack, read_pack
from fieldtune.share.spreadsheet import import_file
from fieldtune.store import rows
from fieldtune.store.open_file import open_file

LABELS = [("Q7", "new"), (None, "worn"), ("final, 2", None), (None, None)]


def labelled(store: Path | None = None) -> Session:
    session = Session(load_robot("heron"), store)
    for k, (match, batch) in enumerate(LABELS):
        session.confirm(2.0 + 0.1 * k, 1500, "in", match=match, batch=batch)
    return session


def labels(session: Session) -> list[tuple[str | None, str | None]]:
    return [(shot.match, shot.batch) for shot in session.log.shots()]


def test_labels_are_on_the_disk(tmp_path: Path) -> None:
    labelled(tmp_path / "heron.db").log.close()
    assert labels(Session(load_robot("heron"), tmp_path / "heron.db")) == LABELS


def test_a_log_without_labels_is_brought_up(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    rows.migrate(db, upto=3)
    db.execute("INSERT INTO epochs (uid, time) VALUES ('e', '2026-01-01T00:00:00.000Z')")
    db.execute(
        "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch)"
        " VALUES ('s', '2026-01-01T00:00:00.000Z', 2.0, 1500, 'in', 1)"
    )
    db.close()
    session = Session(load_robot("heron"), path)
    assert labels(session) == [(None, None)]
    session.confirm(2.0, 1500, "in", match="Q1")
    assert labels(session) == [(None, None), ("Q1", None)]
    assert rows.version_of(open_file(path)) == rows.VERSION


def test_packs_and_merges_bring_them_along(tmp_path: Path) -> None:
    path = tmp_path / "heron.json"
    path.write_text(pack(labelled()), encoding="utf-8")
    here = Session(load_robot("heron"))
    assert merge(here, read_pack(path)).shots == 4
    assert labels(here) == LABELS


def test_the_log_as_a_sheet_comes_back_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read by the standard library's csv as by ``import``; a word that a spreadsheet would calculate is defused."""
    home = tmp_path / "home"
    with Session.beside_profile(load_robot("heron"), home) as session:
        for match in ("Q7", "=1+1"):
            session.confirm(2.0, 1500, miss_m=-0.02, battery_v=9.9, match=match, batch="new")
    assert main(["--profiles", str(home), "shots", "heron", "--format", "csv"]) == 0
    text = capsys.readouterr().out
    table = list(csv.DictReader(text.splitlines()))
    assert [row["match"] for row in table] == ["Q7", " =1+1"]
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    there = Session(load_robot("heron"))
    assert import_file(there, tmp_path / "log.csv").new == 2
    assert labels(there) == [("Q7", "new"), ("=1+1", "new")]
    assert [(s.distance_m, s.miss_m, s.battery_v) for s in there.log.shots()] == [(2.0, -0.02, 9.9)] * 2


def test_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def run(*words: str) -> str:
        assert main(["--profiles", str(tmp_path), *words]) == 0
        return capsys.readouterr().out

    shot = ["shot", "heron", "--distance", "2 m", "--setpoint", "1500 rpm", "--result"]
    run(*shot, "in", "--match", "Q7", "--batch", "new")
    run(*shot, "short", "--match", "Q7")
    found = json.loads(run("hits", "heron", "--by", "match", "--json"))
    assert [(g["name"], g["hits"], g["tried"]) for g in found["groups"]] == [("Q7", 1, 2)]
    assert run("hits", "heron", "--by", "batch", "--format", "csv").splitlines()[:2] == [
        "batch,tried,hits,share,low,high",
        f"new,1,1,1.0,{json.loads(run('hits', 'heron', '--by', 'batch', '--json'))['groups'][0]['low']},1.0",
    ]
    assert "Q7     new" in run("shots", "heron")
