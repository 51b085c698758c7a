"""The pit sheet: valid HTML that asks for nothing from outside, and one page in A4 and in Letter by a real browser."""

from __future__ import annotations

import re
import shutil
import subprocess
import unicodedata
from dataclasses import replace
from pathlib import Path

import html5lib
import pytest
from pypdf import PageObject, PdfReader

from fieldtune import Session, load_robot
from fieldtune.robot.model import Spot
from fieldtune.share import sheet_contents
from fieldtune.share.sheet import sheet

NASTY = 'Bad "title" */ <script>alert(1)</script>\n🎯 & more'
PAGES = {"A4": (210, 297), "letter": (215.9, 279.4)}


def written(name: str, shots: int = 0, long: bool = False, title: str | None = None) -> str:
    robot = load_robot(name)
    with Session(robot if title is None else replace(robot, title=title)) as session:
        for k in range(shots):
            distance = robot.spots[k % len(robot.spots)].distance
            session.confirm(distance, session.aim(distance).setpoint.value, ("in", "short", "long")[k % 3])
        return sheet(session, long=long, others=[Session(load_robot("otter"))] if long else [])


@pytest.mark.parametrize(("name", "shots", "long"), [("heron", 3, True), ("otter", 0, False), ("crane", 0, False)])
def test_it_is_valid_and_asks_for_nothing(name: str, shots: int, long: bool) -> None:
    """By html5lib's strict parser (the WHATWG's parsing rules)."""
    text = written(name, shots, long, title=NASTY)
    html5lib.HTMLParser(strict=True).parse(text)
    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert not re.search(r"https?:|url\(|@import|\bsrc=|<link|<iframe|<object", text)


def printed(text: str, page: str, folder: Path) -> PdfReader:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("chromium is not installed")
    (folder / "s.html").write_text(text.replace("<style>", f"<style>@page {{ size: {page}; }}"), encoding="utf-8")
    subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", f"--user-data-dir={folder / 'u'}", "--no-pdf-header-footer",
         f"--print-to-pdf={folder / 's.pdf'}", str(folder / "s.html")],
        capture_output=True, check=True, timeout=120,
    )  # fmt: skip
    return PdfReader(folder / "s.pdf")


def said_on(page: PageObject) -> str:
    """The words of a page; fonts may set two letters as one sign."""
    return " ".join(unicodedata.normalize("NFKC", page.extract_text()).split())


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(("name", "shots"), [("heron", 6), ("otter", 0), ("crane", 0)])
def test_it_prints_on_one_page(name: str, shots: int, page: str, tmp_path: Path) -> None:
    text = written(name, shots, title="A robot of a rather long name, practice build of the second autumn")
    pages = printed(text, page, tmp_path).pages
    assert len(pages) == 1
    width, height = (float(side) * 25.4 / 72 for side in pages[0].mediabox[2:])
    assert (width, height) == pytest.approx(PAGES[page], abs=1)
    words = said_on(pages[0])
    for said in ("Cautions", "Event rules", "Made by fieldtune", load_robot(name).spots[0].name):
        assert said in words


def test_the_fullest_sheet_prints_on_one_page(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """More spots, facts, cautions and batteries than fit, all of them long, on the shorter of the two pages."""
    wordy = "wordy " * 60
    heron = load_robot("heron")
    spots = tuple(Spot(f"a spot of a long name {k}", 1.5 + 0.1 * k) for k in range(16))
    monkeypatch.setattr(sheet_contents, "cautions", lambda robot: (wordy,) * 7 + ("the last of the cautions",))
    with Session(replace(heron, title="WIDE MM " * 12, spots=spots)) as session:
        for k in range(6):
            session.swap(f"battery of a name {k}")
            session.log.add_battery(session.log.battery_label, 0.1, 10.5)
            session.log.add_battery(session.log.battery_label, 0.11, 10.4)
        learned, measured_on = session.learned(), session.log.batteries()[-1].time[:10]
        told = replace(learned, shots_used=12345, facts=(replace(learned.facts[0], words=wordy),) * 9)
        monkeypatch.setattr(Session, "learned", lambda self: told)
        text, parts = sheet(session), sheet_contents.gather(session)
    pages = printed(text, "letter", tmp_path).pages
    assert len(pages) == 1
    words = said_on(pages[0])
    assert "the last of the cautions" in words
    # Eight full cells, 1.4 V each, less 0.5 A through each motor (9.6 V / 9.5 A) and twice that through 90 mohm:
    # 10.605 V, where 9.095 V make 6100 rpm, geared 2.1:1.
    for whole in ("110 mΩ, 10.40 V", "+10 since first", measured_on, "3387 rpm"):
        assert whole in words
    assert "Made by fieldtune" in said_on(pages[0])
    assert parts.rows[0].row.distance_m == pytest.approx(1.5)
    assert parts.rows[-1].row.distance_m == pytest.approx(3.0)
    assert all(row.spot for row in parts.rows)


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
