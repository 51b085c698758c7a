"""The table command: formats, files and mistakes."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldtune.errors import InputError, OutputError
from fieldtune.files import write_whole
from fieldtune.robot.home import demo_home
from fieldtune.share.export_kinds import LANGUAGES, class_name_for

Run = Callable[..., Any]
RANGE = ("--from", "1.5 m", "--to", "2.5 m")


def test_source_goes_into_a_file_that_can_be_used(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "made_here.py"
    ran = run("table", "heron", *RANGE, "--format", "python", "--out", path)
    assert (ran.code, ran.out) == (0, f"{path}: written\n")
    made = runpy.run_path(str(path))
    asked = run("table", "heron", "--from", "2 m", "--to", "2 m", "--json").json["rows"][0]["setpoint"]
    assert made["setpoint"](2.0) == pytest.approx(asked, abs=10)


def test_java_class_is_called_like_its_file(run: Run, fails: Callable[..., str], tmp_path: Path) -> None:
    path = tmp_path / "Launch_2.java"
    assert run("table", "otter", *RANGE, "--format", "java", "--out", path).code == 0
    assert "public final class Launch_2 {" in path.read_text()
    assert "called like its class" in fails(
        "table", "otter", *RANGE, "--format", "java", "--out", tmp_path / "my-x.java"
    )
    for wrong in ("class", "2nd", "a b", "ü"):
        with pytest.raises(InputError):
            class_name_for(LANGUAGES["java"], wrong)


def test_csv_and_json_keep_their_columns(run: Run) -> None:
    rows = list(csv.DictReader(io.StringIO(run("table", "otter", *RANGE, "--step", "0.5 m", "--format", "csv").out)))
    found = run("table", "otter", *RANGE, "--step", "0.5 m", "--format", "json").json["rows"]
    assert [set(row) for row in found] == [{"distance_m", "setpoint", "low", "high", "hit_probability"}] * 3
    assert [float(row["setpoint"]) for row in rows] == [row["setpoint"] for row in found]


@pytest.mark.parametrize("more", [["--format", "json"], ["--json"], ["--fit", "cubic", "--json"],
                                  ["--by-voltage", "--json"], ["--by-voltage", "--format", "json"]])  # fmt: skip
def test_json_goes_into_a_file_too(run: Run, home: Path, tmp_path: Path, more: list[str]) -> None:
    home.mkdir()
    profile = (demo_home() / "heron.toml").read_text()
    open_loop = profile.replace('control = "speed"', 'control = "power"')
    for key, value in (("low", "10 %"), ("high", "100 %"), ("step", "1 %")):
        open_loop = re.sub(rf'(?m)(?<=^){key} = "[0-9]+ rpm"', f'{key} = "{value}"', open_loop)
    (home / "loop.toml").write_text(open_loop)
    table, path = ("table", "loop", *RANGE, "--step", "0.25 m", *more), tmp_path / "table.json"
    assert run(*table, "--out", path).out == f"{path}: written\n"
    assert json.loads(path.read_text()) == run(*table).json


def test_csv_has_no_control_characters_on_a_terminal(run: Run) -> None:
    printed = run("table", "heron", *RANGE, "--step", "0.5 m", "--format", "csv").out
    assert [len(line.split(",")) for line in printed.split("\n")] == [5, 5, 5, 5, 1]
    assert "\\r" not in printed
    assert "\r" not in printed


def test_formula_in_words_and_as_json(run: Run, tmp_path: Path) -> None:
    words = run("table", "otter", *RANGE, "--fit", "cubic").out
    assert "setpoint in mm =" in words
    assert "d^3" in words
    found = run("table", "otter", *RANGE, "--fit", "cubic", "--json").json
    assert len(found["coefficients"]) == 4
    assert found.keys() >= {"worst_error", "worst_loss", "harmless_m", "rows"}
    path = tmp_path / "formula.txt"
    assert run("table", "otter", *RANGE, "--fit", "cubic", "--out", path).code == 0
    assert path.read_text() == words


def test_mistakes(run: Run, fails: Callable[..., str], tmp_path: Path) -> None:
    there = tmp_path / "t.csv"
    there.write_text("mine")
    table = ("table", "otter", *RANGE, "--format", "csv")
    assert "--force" in fails(*table, "--out", there)
    assert there.read_text() == "mine"
    assert "is a folder" in fails(*table, "--out", tmp_path)
    assert "no folder" in fails(*table, "--out", tmp_path / "none" / "t.csv")
    assert "can't be written" in fails(*table, "--out", there / "t.csv")
    assert "choose one" in fails("table", "otter", *RANGE, "--format", "java", "--json")
    assert "not allowed" in fails("table", "otter", *RANGE, "--format", "java", "--fit", "cubic")
    assert "widen" in fails("table", "otter", *RANGE, "--step", "1 m", "--fit", "cubic")
    assert run(*table, "--out", there, "--force").code == 0
    assert there.read_text().startswith("distance_m")
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["t.csv"]


def test_out_of_reach_is_an_answer_and_a_failure(run: Run) -> None:
    """Exit code 1 where the work can't be done: nothing scores there."""
    nowhere = ("table", "otter", "--from", "60 m", "--to", "61 m", "--step", "1 m")
    ran = run(*nowhere, "--json")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert [row["setpoint"] for row in ran.json["rows"]] == [None, None]
    ran = run(*nowhere, "--format", "cpp")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("fieldtune: otter scores nowhere between 60 m and 61 m")


def test_a_range_that_is_cut_is_told(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "cut.hpp"
    ran = run("table", "heron", "--from", "0.5 m", "--to", "2 m", "--format", "cpp", "--out", path)
    assert (ran.code, ran.out) == (0, f"{path}: written\n")
    assert "to 2.00 m only: heron can't score from the rest" in ran.err
    assert "only" not in run("table", "heron", *RANGE, "--format", "cpp", "--out", path, "--force").err


@pytest.mark.parametrize(
    "argv", [("table", "otter", *RANGE), ("stand", "otter", "--setpoint", "32"), ("next", "otter")]
)
def test_what_has_no_room_for_cautions_points_to_them(run: Run, argv: tuple[str, ...]) -> None:
    told = run(*argv, "--json").err
    assert told.startswith("fieldtune: caution: eye protection on")
    assert "no number here means that it is safe" in told
    assert told.count("\n") == 1
    assert "qualified supervision" in run(*told.rpartition("fieldtune ")[2].split()).out


@pytest.mark.parametrize("form", LANGUAGES)
def test_sources_carry_the_cautions(run: Run, form: str) -> None:
    words = " ".join(run("table", "otter", *RANGE, "--format", form).out.replace("//", "").replace(" * ", " ").split())
    for caution in ("eye protection", "range clear", "Event rules", "local codes", "qualified supervision"):
        assert caution in words
    assert "no number here means that it is safe" in words


def test_a_dash_is_standard_output(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for form in ("text", "csv", "java"):
        table = ("table", "heron", *RANGE, "--step", "0.5 m", "--format", form)
        assert run(*table, "--out", "-").out == run(*table).out
    assert list(tmp_path.iterdir()) == []


def test_a_write_protected_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    path.write_text("mine")
    path.chmod(0o444)
    with pytest.raises(OutputError, match="write-protected"):
        write_whole(path, "other", force=True)
    assert path.read_text() == "mine"


def test_nothing_half_written_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fails while writing leaves the old file and no litter."""
    path = tmp_path / "kept"
    path.write_text("mine")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_whole(path, "other", force=True)
    assert [(entry.name, entry.read_text()) for entry in tmp_path.iterdir()] == [("kept", "mine")]


def test_force_writes_through_a_link_and_a_disk_without_links_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_text("old")
    link.symlink_to(real)
    write_whole(link, "new", force=True)
    assert link.is_symlink()
    assert real.read_text() == "new"

    def none(*_: object, **__: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    assert write_whole(tmp_path / "stick", b"bytes").read_bytes() == b"bytes"
    with pytest.raises(OutputError, match="is there already"):
        write_whole(tmp_path / "stick", "again")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link", "real", "stick"]
