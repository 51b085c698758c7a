"""Every view at five sizes in three themes: kept as text, with 7:1 in every colour, and no safety text cut.

After a wanted change: FIELDTUNE_SCREENS=write, and look at the pictures that ``every_view.py`` draws.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from every_view import SIZES, Shown, views
from test_console_look import contrast

from fieldtune import load_robot
from fieldtune.console import themes
from fieldtune.robot.model import Robot

pytestmark = pytest.mark.slow
KEPT = Path(__file__).parent / "screens" / "every"
_FIELDS = set("█▀▄▌▐▉▊▋▍▎▏▁▂▃▅▆▇▔ ")
"""Drawn with colours, not written."""
ROBOTS = {"heron": None, "otter": ("main", "wheel", "sizes"), "crane": ("main", "wheel", "sizes")}


def pale(shown: Shown) -> list[tuple[str, str, str, float]]:
    """What is written with less than 7:1, and in which colours."""
    found = []
    for strip in shown.strips:
        for text, style, _ in strip:
            if style is None or style.color is None or style.bgcolor is None or not set(text) - _FIELDS:
                continue
            ink, paper = style.color.get_truecolor().hex, style.bgcolor.get_truecolor().hex
            ratio = contrast(ink, paper)
            if ratio < 7.0:
                found.append((text, ink, paper, ratio))
    return found


@pytest.mark.parametrize("name", ROBOTS)
def test_every_view_is_as_it_was_looked_at(name: str) -> None:
    robot: Robot = load_robot(name)
    only = ROBOTS[name]
    shown = list(views(robot, wanted=lambda view: only is None or view in only))
    texts: dict[str, dict[tuple[int, int], str]] = {}
    for one in shown:
        words = " ".join(one.text.split())
        assert "hands off, range clear, eye protection on" in words, one.text
        assert pale(one) == [], (one.view, one.theme, one.size)
        kept = texts.setdefault(one.view, {})
        assert kept.setdefault(one.size, one.text) == one.text, f"{one.view} says something else in {one.theme}"
    assert len(shown) == len(texts) * len(SIZES) * len(themes.PALETTES)
    for view, by_size in texts.items():
        path = KEPT / f"{name}-{view}.txt"
        text = "\n".join(f"== {wide} x {high}\n{by_size[wide, high]}\n" for wide, high in SIZES)
        if os.environ.get("FIELDTUNE_SCREENS") == "write":
            KEPT.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        assert path.read_text(encoding="utf-8") == text, view
