"""The console's own themes: indoors, sunlight, and high contrast for the night.

Every ink keeps a contrast of 7:1 or more on its paper, and so do the band and what fills the target, and the path on
every tint (WCAG 2.1, success criterion 1.4.6, asks 7:1 for text); other inks never stand on a tint
(``widgets.tints``). Levels of hit chance are steps of a scale: the number stands beside the point that is read.
Every colour stands in the 256-colour palette of xterm, so that a plain terminal shows the same; terminals of sixteen
colours have palettes of their own. Hues keep to those that colour-blind people can tell apart (after Okabe and Ito's
set of 2008). ``good`` means good and nothing else, and nothing else is green.
"""

from __future__ import annotations

import json
from pathlib import Path

import platformdirs
from textual.theme import Theme

DARK, SUNLIGHT, CONTRAST = "harbour-dusk", "harbour-sun", "harbour-night"
NAMES = {DARK: "dark", SUNLIGHT: "sunlight", CONTRAST: "high contrast"}

# ink: text; quiet: what may be overlooked; act: what to do now; path: the predicted path; mark: the target;
# good, bad: states; paper: background; raised: raised parts; field: where one types; band, fill, chance1 to chance6:
# tints, with the path's colour on some of them.
_DUSK = {
    "ink": "#eeeeee",
    "quiet": "#b2b2b2",
    "act": "#ffaf00",
    "act-ink": "#000000",
    "path": "#ffffff",
    "mark": "#5fd7ff",
    "good": "#5fffaf",
    "bad": "#ffaf87",
    "paper": "#121212",
    "raised": "#1c1c1c",
    "band": "#5fafd7",
    "fill": "#a8a8a8",
    **dict.fromkeys(("path-on-band", "path-on-fill", "path-on-good"), "#000000"),
    "field": "#444444",
    "rule": "#a8a8a8",
    "chance1": "#1c1c1c",
    "chance2": "#303030",
    "chance3": "#444444",
    "chance4": "#585858",
    "chance5": "#005f5f",
    "chance6": "#005f00",
}
_SUN = {
    "ink": "#000000",
    "quiet": "#303030",
    "act": "#00005f",
    "act-ink": "#ffffff",
    "path": "#000000",
    "mark": "#00005f",
    "good": "#005f00",
    "bad": "#870000",
    "paper": "#ffffff",
    "raised": "#ffffff",
    "band": "#005f87",
    "fill": "#585858",
    **dict.fromkeys(("path-on-band", "path-on-fill", "path-on-good"), "#ffffff"),
    "field": "#e4e4e4",
    "rule": "#444444",
    "chance1": "#eeeeee",
    "chance2": "#d0d0d0",
    "chance3": "#b2b2b2",
    "chance4": "#9e9e9e",
    "chance5": "#87d787",
    "chance6": "#5faf5f",
}
_NIGHT = {
    **_DUSK,
    "ink": "#ffffff",
    "quiet": "#dadada",
    "act": "#ffd700",
    "mark": "#87ffff",
    "good": "#00ff87",
    "bad": "#ffafaf",
    "paper": "#000000",
    "raised": "#000000",
    "rule": "#bcbcbc",
    "chance1": "#121212",
}
# The sixteen colours as Rich takes them to be; a terminal may show them otherwise.
_SIXTEEN_DARK = {
    **dict.fromkeys(("ink", "path"), "#ffffff"),
    **dict.fromkeys(("quiet", "rule", "fill", "chance1", "chance2", "chance3", "chance4"), "#aaaaaa"),
    **dict.fromkeys(("paper", "raised", "act-ink"), "#000000"),
    **dict.fromkeys(("good", "chance5", "chance6"), "#55ff55"),
    "act": "#ffff55",
    "mark": "#55ffff",
    "bad": "#ff55ff",
    "field": "#000000",
    "band": "#5555ff",
}
_SIXTEEN_LIGHT = {
    **dict.fromkeys(("ink", "path", "quiet", "rule", "fill", "act"), "#000000"),
    **dict.fromkeys(("chance1", "chance2", "chance3", "chance4"), "#555555"),
    **dict.fromkeys(("paper", "raised", "act-ink"), "#ffffff"),
    **dict.fromkeys(("good", "chance5", "chance6", "mark", "band"), "#0000aa"),
    "bad": "#aa0000",
    "field": "#ffffff",
}
PALETTES = {DARK: _DUSK, SUNLIGHT: _SUN, CONTRAST: _NIGHT}
SIXTEEN = {DARK: _SIXTEEN_DARK, SUNLIGHT: _SIXTEEN_LIGHT, CONTRAST: {**_SIXTEEN_DARK, "quiet": "#ffffff"}}
INKS = ("ink", "quiet", "act", "path", "mark", "good", "bad", "rule")
PAPERS = ("paper", "raised")
TINTS = ("band", "fill", "good", "chance1", "chance2", "chance3", "chance4", "chance5", "chance6")


def _theme(name: str, colours: dict[str, str]) -> Theme:
    return Theme(
        name=name,
        primary=colours["act"],
        secondary=colours["mark"],
        accent=colours["act"],
        success=colours["good"],
        warning=colours["act"],
        error=colours["bad"],
        foreground=colours["ink"],
        background=colours["paper"],
        surface=colours["raised"],
        panel=colours["raised"],
        dark=name != SUNLIGHT,
        variables={
            **colours,
            "input-cursor-background": colours["ink"],
            "input-cursor-foreground": colours["paper"],
            "input-selection-background": colours["band"],
            "scrollbar": colours["rule"],
            "scrollbar-background": colours["raised"],
            "scrollbar-hover": colours["ink"],
            "scrollbar-active": colours["ink"],
            "link-color": colours["ink"],
            "link-background": colours["raised"],
        },
    )


def colours_of(name: str, sixteen: bool = False) -> dict[str, str]:
    """The colours of a theme by their names; those of the dark theme where it isn't ours."""
    return (SIXTEEN if sixteen else PALETTES).get(name, _SIXTEEN_DARK if sixteen else _DUSK)


def themes(sixteen: bool = False) -> tuple[Theme, ...]:
    """Dark, sunlight, high contrast."""
    return tuple(_theme(name, colours_of(name, sixteen)) for name in PALETTES)


def following(name: str) -> str:
    """The theme that comes after this one."""
    names = tuple(PALETTES)
    return names[(names.index(name) + 1) % len(names)] if name in names else DARK


def defaults() -> dict[str, str]:
    """The named colours for any theme that isn't ours."""
    return dict(_DUSK)


def settings_path() -> Path:
    """Where the person's choice of theme is kept, whichever robot is connected."""
    return Path(platformdirs.user_config_dir("fieldtune", appauthor=False)) / "console.json"


def chosen(settings: Path | None) -> str | None:
    """The theme that the person chose last; None where none was."""
    try:
        name = json.loads(settings.read_text(encoding="utf-8"))["theme"] if settings is not None else None
    except (OSError, ValueError, KeyError, TypeError):
        name = None
    return name if name in PALETTES else None


def usual(light: bool = False) -> str:
    """The theme that goes with a light or a dark background."""
    return SUNLIGHT if light else DARK


def keep_theme(settings: Path | None, name: str) -> None:
    """Keeps the choice for the next time; raises ``OSError`` where that can't be written."""
    if settings is not None:
        settings.parent.mkdir(parents=True, exist_ok=True)
        settings.write_text(json.dumps({"theme": name}) + "\n", encoding="utf-8")
