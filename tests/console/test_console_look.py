"""Contrast, the 256-colour palette, big digits, and the rules every key keeps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, until
from console_world import thrower
from textual.binding import Binding
from textual.color import Color
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp, keys, screens, themes
from fieldtune.console.drawing import Drawing
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.braille import Canvas
from fieldtune.console.widgets.chart_view import INKS, PATH_LAYERS
from fieldtune.console.widgets.readout import big_digits, width_of
from fieldtune.console.widgets.tints import TINTS, Palette, paint
from fieldtune.session import Session

# xterm's 256 colours: a 6 x 6 x 6 cube of these levels and 24 greys 8, 18, ... 238 (xterm's ctlseqs; common practice).
LEVELS = (0, 95, 135, 175, 215, 255)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it (W3C Recommendation, 5 June 2018, glossary)."""
    parts = [c / 255 for c in Color.parse(colour).rgb]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.1."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_meets_its_published_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # W3C's usual example, just short of 4.5


ALL = {**themes.PALETTES, **{f"{name}, sixteen colours": colours for name, colours in themes.SIXTEEN.items()}}


@pytest.mark.parametrize("name", ALL)
def test_text_has_seven_to_one_on_paper(name: str) -> None:
    colours = ALL[name]
    for ink in themes.INKS:
        for paper in themes.PAPERS:
            assert contrast(colours[ink], colours[paper]) >= 7.0, (ink, paper)
    assert contrast(colours["act-ink"], colours["act"]) >= 7.0
    assert contrast(colours["ink"], colours["field"]) >= 7.0


@pytest.mark.parametrize("name", themes.PALETTES)
def test_every_pair_that_a_picture_can_show_has_seven_to_one(name: str) -> None:
    colours = themes.PALETTES[name]
    for tint in ("band", "fill", "good"):  # what matters, against the paper beside it
        assert contrast(colours[tint], colours["paper"]) >= 7.0, tint
    for tint in themes.TINTS:  # the path on every tint; no other ink stands on one
        assert contrast(colours.get(f"path-on-{tint}", colours["path"]), colours[tint]) >= 7.0, tint


@pytest.mark.parametrize("name", themes.PALETTES)
def test_levels_of_hit_chance_stand_out_more_the_higher_they_are(name: str) -> None:
    colours = themes.PALETTES[name]
    greys = [contrast(colours[f"chance{level}"], colours["paper"]) for level in range(1, 5)]
    assert greys == sorted(greys)
    assert greys[0] > 1.09
    assert all(high / low > 1.2 for low, high in pairwise(greys))


@pytest.mark.parametrize("name", ALL)
def test_only_good_is_green(name: str) -> None:
    for role, colour in ALL[name].items():
        red, green, blue = Color.parse(colour).rgb
        if green > 1.2 * max(red, blue):
            assert role in ("good", "chance6", "chance5"), role


def test_a_palette_is_drawn_with_no_other_pairs() -> None:
    """Whatever ink lies on whatever tint, a painted cell has a pair that the tests above hold."""
    canvas = Canvas(9, 2 * len(TINTS))
    for tint in range(len(TINTS)):
        canvas.tint[:, 2 * tint : 2 * tint + 2] = tint
    canvas.tint[-2, :] = np.roll(canvas.tint[-2, :], 2)
    for layer in range(1, len(INKS)):
        canvas.layer(layer)[4 * layer - 4 : 4 * layer - 1, ::3] = True
    palette = Palette(themes.PALETTES[themes.DARK], Drawing())
    colours = {value: name for name, value in palette.colours.items()}
    for strip in paint(canvas, INKS, PATH_LAYERS, palette):
        for segment in strip:
            if segment.style is None or not segment.text.strip(" "):
                continue
            ink, paper = (c.get_truecolor().hex for c in (segment.style.color, segment.style.bgcolor) if c)
            if any(0x2800 < ord(character) < 0x2900 for character in segment.text):
                assert contrast(ink, paper) >= 7.0, (colours[ink], colours[paper])


@pytest.mark.parametrize("name", themes.PALETTES)
def test_every_colour_stands_in_the_256_colour_palette(name: str) -> None:
    for role, colour in themes.PALETTES[name].items():
        red, green, blue = Color.parse(colour).rgb
        grey = red == green == blue and (red - 8) % 10 == 0 and 8 <= red <= 238
        assert grey or all(part in LEVELS for part in (red, green, blue)), (role, colour)


@pytest.mark.parametrize("rows", [3, 4, 5, 6])
def test_big_digits_are_all_different_and_as_high_as_asked(rows: int) -> None:
    shapes = {big_digits(digit, rows) for digit in "0123456789"}
    assert len(shapes) == 10
    for shape in shapes:
        assert len(shape) == rows
        assert len({len(line) for line in shape}) == 1
    assert width_of("2450", rows) == len(big_digits("2450", rows)[0])


def all_bindings() -> list[Binding]:
    own = [binding for name in screens.NAMES for binding in screens.screen_class(name).OWN]
    return [binding for _, bindings in keys.GROUPS for binding in bindings] + own


def test_every_key_has_an_id_of_its_own_a_name_and_a_tooltip() -> None:
    bindings = all_bindings()
    assert len({binding.id for binding in bindings}) == len(bindings)
    for binding in bindings:
        assert binding.id
        assert binding.description
        assert len(binding.tooltip) > 8, binding


def test_no_key_is_taken_twice_and_the_space_bar_never() -> None:
    for group in ([b for _, bindings in keys.GROUPS for b in bindings],):
        taken = [key for binding in group for key in binding.key.split(",")]
        assert len(set(taken)) == len(taken)
        assert "space" not in taken


def test_every_view_key_leads_to_a_view() -> None:
    for binding in [one for one in [*keys.VIEWS, *keys.ALWAYS] if one.action.startswith("view(")]:
        name = binding.action.split("'")[1]
        assert issubclass(screens.screen_class(name), ConsoleScreen)


@pytest.mark.parametrize("theme", [themes.DARK, themes.SUNLIGHT, themes.CONTRAST])
def test_the_chosen_row_of_the_log_can_be_read(theme: str) -> None:
    session = Session(thrower())
    session.confirm(2.0, 1300.0, "in")
    session.log.remember("caution understood", "yes")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        app.theme = theme
        await pilot.press("h", "1")
        await until(app, pilot, "1 ● in")
        for strip in app.screen._compositor.render_strips():
            for segment in strip:
                if "● in" in segment.text and segment.style is not None:
                    ink, paper = (c.get_truecolor().hex for c in (segment.style.color, segment.style.bgcolor) if c)
                    assert contrast(ink, paper) >= 7.0
                    return
        raise AssertionError("the row is not on the screen")

    drive(ConsoleApp(session.robot, session, ScriptedLine()), script, (80, 24))
