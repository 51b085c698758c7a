"""The pit sheet: valid HTML that asks for nothing from outside, and one page in A4 and in Letter by a real browser."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import html5lib
import pytest
from pypdf import PdfReader

from fieldtune import Session, load_robot
from fieldtune.share.sheet import sheet

NASTY = 'Bad "title" */ <script>alert(1)</script>\n🎯 & more'
PAGES = {"A4": (210, 297), "letter": (215.9, 279.4)}


def written(name: str, shots: int = 0, long: bool = False, title: str | None = None) -> str:
    robot = load_robot(name)
    with Session(robot if title is None else replace(robot, title=title)) as session:
        for k in range(shots):
            distance = robot.spots[k % len(robot.spots)].distance
            session.confirm(distance, session.aim(distance).setpoint.value, ("in", "short", "long")[k % 3])
        return sheet(session, long=long, others=[load_robot("otter")] if long else [])


@pytest.mark.parametrize(("name", "shots", "long"), [("heron", 3, True), ("otter", 0, False), ("crane", 0, False)])
def test_it_is_valid_and_asks_for_nothing(name: str, shots: int, long: bool) -> None:
    """By html5lib's strict parser (the WHATWG's parsing rules)."""
    text = written(name, shots, long, title=NASTY)
    html5lib.HTMLParser(strict=True).parse(text)
    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert not re.search(r"https?:|url\(|@import|\bsrc=|<link|<iframe|<object", text)


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(("name", "shots"), [("heron", 6), ("otter", 0), ("crane", 0)])
def test_it_prints_on_one_page(name: str, shots: int, page: str, tmp_path: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("chromium is not installed")
    text = written(name, shots, title="A robot of a rather long name, practice build of the second autumn")
    (tmp_path / "s.html").write_text(text.replace("<style>", f"<style>@page {{ size: {page}; }}"))
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", f"--user-data-dir={tmp_path / 'u'}", "--no-pdf-header-footer",
         f"--print-to-pdf={tmp_path / 's.pdf'}", str(tmp_path / "s.html")],
        capture_output=True, check=True, timeout=120,
    )  # fmt: skip
    pages = PdfReader(tmp_path / "s.pdf").pages
    assert len(pages) == 1
    width, height = (float(side) * 25.4 / 72 for side in pages[0].mediabox[2:])
    assert (width, height) == pytest.approx(PAGES[page], abs=1)
    printed = " ".join(pages[0].extract_text().split())
    for words in ("Cautions", "Event rules", "Made by fieldtune", load_robot(name).spots[0].name):
        assert words in printed


def test_the_command_writes_a_file_once(run, home, tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "pit.html"
    assert run("sheet", "heron", "--out", path).code == 0
    before = path.read_bytes()
    refused = run("sheet", "heron", "--out", path)
    assert refused.code == 2
    assert "--force" in refused.err
    assert path.read_bytes() == before
    assert run("sheet", "heron", "--out", path, "--force", "--long", "--with", "otter").code == 0
    assert run("sheet", "heron", "--out", tmp_path).code == 2
    assert run("sheet", "nobody", "--out", path, "--force").code == 2
