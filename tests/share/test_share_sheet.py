"""The pit sheet: valid HTML that asks for nothing from outside, on both sides of A4 or Letter by a real browser."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import unicodedata
from dataclasses import replace
from pathlib import Path

import html5lib
import numpy as np
import pytest
from pypdf import PageObject, PdfReader
from thorough import thorough

from fieldtune import Session, load_robot
from fieldtune.robot.model import Spot
from fieldtune.share import sheet_contents
from fieldtune.share.sheet import sheet
from fieldtune.share.sheet_back import gather_back
from fieldtune.share.why import why

NASTY = 'Bad "title" */ <script>alert(1)</script>\n🎯 & more'
PAGES = {"A4": (210, 297), "letter": (215.9, 279.4)}


def written(name: str, shots: int = 0, long: bool = False, title: str | None = None, explain: bool = False) -> str:
    robot = load_robot(name)
    with Session(robot if title is None else replace(robot, title=title)) as session:
        for k in range(shots):
            distance = robot.spots[k % len(robot.spots)].distance
            session.confirm(distance, session.aim(distance).setpoint.value, ("in", "short", "long")[k % 3], match="Q7")
        others = [Session(load_robot("otter"))] if long else []
        return sheet(session, long=long, others=others, explain=explain)


@pytest.mark.parametrize(("name", "shots", "long"), [("heron", 3, True), ("otter", 0, False), ("crane", 0, False)])
def test_it_is_valid_and_asks_for_nothing(name: str, shots: int, long: bool) -> None:
    """By html5lib's strict parser (the WHATWG's parsing rules)."""
    text = written(name, shots, long, title=NASTY, explain=True)
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


@pytest.mark.parametrize("page", ["A4", *thorough("letter")])
@pytest.mark.parametrize(("name", "shots"), [("heron", 6), ("otter", 0), *thorough(("crane", 0))])
def test_it_prints_on_both_sides_of_one_page(name: str, shots: int, page: str, tmp_path: Path) -> None:
    title = "A robot of a rather long name, practice build of the second autumn"
    pages = printed(written(name, shots, title=title, explain=True), page, tmp_path).pages
    assert len(pages) == 3
    width, height = (float(side) * 25.4 / 72 for side in pages[0].mediabox[2:])
    assert (width, height) == pytest.approx(PAGES[page], abs=1)
    words = said_on(pages[0])
    for said in ("Cautions", "Event rules", "Made by fieldtune", load_robot(name).spots[0].name):
        assert said in words
    back = said_on(pages[1])
    for said in ("Before the match", "Where do the misses come from?", "Which battery is fit?", "Shots to enter later"):
        assert said in back
    assert ("Q7 4 of 6" in back or "Q7 2 of 6" in back) == (shots == 6)
    assert "Where does the energy of one shot go?" in said_on(pages[2])


def test_the_fullest_sheet_prints_on_both_sides_of_one_page(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
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
    assert len(pages) == 2
    assert "in, short, long, left, right" in said_on(pages[1])
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


def test_the_back_says_what_the_session_says() -> None:
    """Each number on the back is that of the answer it stands for."""
    with Session(load_robot("heron")) as session:
        session.swap("red")
        for ohm in (0.09, 0.15):
            session.log.add_battery("red", ohm, 10.3)
        for k in range(12):
            session.confirm(2.0, 1480, "in" if k < 6 else "short")
        back = gather_back(session)
        budget, hits = session.budget(2.0), session.hits("spot")
    near = back.budget_head.index("near line")
    for cause, cells in back.causes:
        found = next(c for c in budget.spots[0].causes if c.cause == cause)
        assert cells[near][0] == f"{100 * found.miss_m:.1f}"
    largest = [cause for cause, cells in back.causes if cells[near][1]]
    assert largest == [budget.spots[0].causes[0].cause]
    # 0.15 over 0.09 ohm is two thirds more; Wilson's interval of 6 of 12 is 25 to 75 % (Wilson 1927, by hand).
    assert back.batteries == (("red", "150", "+67 %", "10.30 V", back.batteries[0][-1]),)
    assert back.batteries[0][-1].startswith("ageing; ")
    assert ("all", "6 of 12", "25 to 75 %") in back.hits
    assert back.trend == hits.trend.words.replace("fewer", "Fewer", 1)
    assert back.grid is None


def test_the_parabola_on_the_teaching_page() -> None:
    """Its height over the target's distance by hand, from the exit speed and angle that the page names."""
    with Session(load_robot("heron")) as session:
        said, path = why(session, 2.0), session.picture(2.0, session.aim(2.0).setpoint.value)
    angle = math.radians(said.exit_angle_deg)
    bare = 0.38 + 2.0 * math.tan(angle) - 9.80665 * 4.0 / (2 * (said.exit_speed_mps * math.cos(angle)) ** 2)
    real = float(np.interp(2.0, path.x, path.y))
    assert said.no_air_high_m == pytest.approx(bare - real, abs=2e-3)
    assert said.no_air_high_m > 0.02
    assert said.no_air_setpoint < said.setpoint
