"""Shots from spreadsheets: headings, units, decimal commas, mistakes by line, and nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import InputError
from fieldtune.robot.home import demo_home
from fieldtune.share.merge import merge
from fieldtune.share.pack import pack, read_pack
from fieldtune.share.spreadsheet import import_file

Run = Callable[..., Any]
MAP = "distance=Dist, from line (cm),result=Outcome,setpoint=Set"


@pytest.fixture
def session() -> Session:
    return Session(load_robot(demo_home() / "otter.toml"))


def sheet(tmp_path: Path, text: str | bytes, name: str = "shots.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_headings_are_mapped_and_units_read(run: Run, tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        '\ufeffOutcome,"Dist, from line (cm)",Set,Notes\r\nhit,180,30,fine\r\nSHORT,7 ft,31.5 mm,"a, b"\r\n,,,\r\n'
        'left,"2,05 m",3.2 cm,\r\n',
    )
    assert run("import", "otter", path, "--columns", MAP, "--json").json == {
        "robot": "otter", "new": 3, "known": 0, "skipped": [],
    }  # fmt: skip
    shots = run("shots", "otter", "--json").json["shots"]
    assert [shot["distance_m"] for shot in shots] == pytest.approx([1.8, 2.1336, 2.05])
    assert [shot["setpoint"] for shot in shots] == pytest.approx([30, 31.5, 32])
    assert [shot["result"] for shot in shots] == ["in", "short", "left"]
    assert {shot["origin"] for shot in shots} == {"shots.csv"}
    again = run("import", "otter", path, "--columns", MAP)
    assert again.out == (
        "otter: 0 new shots from shots.csv, 3 there already (other shots with the same figures need a time column)\n"
    )
    assert len(run("shots", "otter", "--json").json["shots"]) == 3


def test_own_headings_need_no_map(session: Session, tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        "time;distance_m;setpoint_mm;miss (mm);side [in];speed;battery_mv;epoch\n"
        "2026-03-14T15:09:26+01:00;1,8;30;-250;2;29,8;12400;pack A\n2026-03-14 16:00;1.9;31;12;;;12,1 V;pack B\n",
    )
    assert import_file(session, path).new == 2
    first, second = session.log.shots()
    assert (first.time, first.miss_m, first.side_m) == ("2026-03-14T14:09:26.000Z", -0.25, pytest.approx(0.0508))
    assert (first.result, first.speed, first.battery_v) == ("short", 29.8, 12.4)
    assert (second.result, second.side_m, second.battery_v) == ("in", None, 12.1)
    assert [epoch.label for epoch in session.log.epochs()] == ["pack A", "pack B"]
    assert first.epoch != second.epoch


def test_a_row_that_stands_twice_is_two_shots_and_a_sheet_may_grow(session: Session, tmp_path: Path) -> None:
    head, row = "distance (m),setpoint,result\n", "1.8,30,in\n"
    assert import_file(session, sheet(tmp_path, head + row + row)).new == 2
    renamed = sheet(tmp_path, head + row * 3 + "1.9,31,in\n", "later.csv")
    done = import_file(session, renamed)
    assert (done.new, done.known) == (2, 2)
    assert len({shot.epoch for shot in session.log.shots()}) == 1


def test_two_laptops_that_import_one_sheet_merge_without_doubles(session: Session, tmp_path: Path) -> None:
    path = sheet(tmp_path, "distance (m),setpoint,result\n1.8,30,in\n2.0,33,long\n")
    other = Session(session.robot)
    import_file(session, path)
    import_file(other, path)
    packed = sheet(tmp_path, pack(other, "other"), "p.json")
    assert merge(session, read_pack(packed)).shots == 0
    assert len(session.log.shots()) == 2


def test_bad_rows_are_named_and_nothing_is_imported(run: Run, fails: Callable[..., str], tmp_path: Path) -> None:
    path = sheet(
        tmp_path,
        "distance,setpoint,result\n1.8 m,30,in\n1.8,30,in\n1.8 m,30,no\n1.8 m,x,in\n"
        "1.8 kg,30,in\n,30,in\n1.8 m,30,\n-1 m,30,in\n",
    )
    line = fails("import", "otter", path)
    assert "line 3: distance" in line
    assert "without a unit" in line
    assert "6 more lines too (4, 5, 6, 7, 8, 9)" in line
    assert run("shots", "otter", "--json").json["shots"] == []
    done = run("import", "otter", path, "--skip-bad", "--json").json
    assert done["new"] == 1
    reasons = {entry["line"]: entry["reason"] for entry in done["skipped"]}
    assert "short, long, left or right" in reasons[4]
    assert "mm" in reasons[5]
    assert "mass" in reasons[6]
    assert "empty" in reasons[7]
    assert "nothing" in reasons[8]
    assert "-1 m" in reasons[9]


@pytest.mark.parametrize(
    ("text", "columns", "says"),
    [
        ("", None, "empty"),
        ("distance (m),setpoint,result\n", None, "no rows"),
        ("a,b\n1,2\n", None, "no column for distance and setpoint and result; expected headings"),
        ("distance (m),setpoint,Note,Outcome\n1.8,30,,in\n", None, 'not used yet: "Note", "Outcome"'),
        ("distance (m),setpoint,Outcome\n1.8,30,in\n", None, 'say which, such as --columns "result=Outcome"'),
        ("distance (m),setpoint,Outcome\n1.8,30,in\n", "results=Outcome", 'did you mean "result"'),
        ("distance (m),setpoint,Outcome\n1.8,30,in\n", "result=Outcomes", 'did you mean "Outcome"'),
        ("distance (m),setpoint,x,x\n1.8,30,in,in\n", "result=x", "stands twice"),
        ("distance (m),setpoint,x\n1.8,30,in\n", "result=x,result=x", "twice"),
        ("distance (m),setpoint,x\n1.8,30,in\n", "oops", "expected pairs"),
        (b"PK\x03\x04\x00\x00", None, "save the sheet as CSV"),
        ("distance (parsec),setpoint,result\n1.8,30,in\n", None, "parsec"),
        ("distance (m),setpoint,result,target\n1.8,30,in,upper\n", None, "upper"),
        ("distance (m),setpoint,result,time\n1.8,30,in,noon\n", None, "noon"),
        ("distance (m),setpoint,result\n1e9,30,in\n", None, "line 2"),
        ("distance (m),setpoint,result\nnan,30,in\n", None, "line 2"),
        ("distance (m),setpoint,result\n1.8,inf,in\n", None, "line 2"),
    ],
)
def test_mistakes(text: str | bytes, columns: str | None, says: str, session: Session, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^[^\n]*$") as caught:
        import_file(session, sheet(tmp_path, text), columns)
    assert says in str(caught.value)
    assert session.log.shots() == ()


def test_older_spreadsheets_write_other_encodings(session: Session, tmp_path: Path) -> None:
    text = "distance (m);setpoint;result;Bemerkung\n1,8;30;in;größer\n"
    assert import_file(session, sheet(tmp_path, text.encode("cp1252"))).new == 1
    assert import_file(session, sheet(tmp_path, text.encode("utf-16"), "b.csv")).known == 1


def test_no_file_no_import(session: Session, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        import_file(session, tmp_path / "none.csv")
    with pytest.raises(InputError, match="no target"):
        import_file(session, sheet(tmp_path, "distance (m),setpoint,result\n1.8,30,in\n"), target="upper")
