"""The console's own themes: one for indoors, one for sunlight.

Every ink keeps a contrast of 7:1 or more on its paper, the path also on the band (WCAG 2.1, success
criterion 1.4.6, asks 7:1 for text; 1.4.11 asks 3:1 for pictures), and every colour stands in the 256-colour palette of
xterm, so that a plain terminal shows the same. Hues keep to those that colour-blind people can tell apart (after Okabe
and Ito's set of 2008); a word or a shape stands beside each of them anyway.
"""

from __future__ import annotations

from textual.theme import Theme

DARK, SUNLIGHT = "harbour-night", "harbour-sun"

# ink: text; quiet: what may be overlooked; act: what to do now; path: the predicted path; mark: the target;
# good, bad: states; paper: background; raised: raised parts; band, free: tints behind the dots.
_NIGHT = {
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
    "band": "#005f5f",
    "free": "#303030",
    "rule": "#8a8a8a",
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
    "band": "#5fafff",
    "free": "#e4e4e4",
    "rule": "#444444",
}
PALETTES = {DARK: _NIGHT, SUNLIGHT: _SUN}
INKS = ("ink", "quiet", "act", "path", "mark", "good", "bad")
PAPERS = ("paper", "raised")


def _theme(name: str, dark: bool) -> Theme:
    colours = PALETTES[name]
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
        dark=dark,
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


def themes() -> tuple[Theme, Theme]:
    """The dark theme and the one for sunlight."""
    return _theme(DARK, True), _theme(SUNLIGHT, False)


def defaults() -> dict[str, str]:
    """The named colours for any theme that isn't ours."""
    return dict(_NIGHT)
