"""Taking something from the screen: a picture as SVG, the view as text, the recommended setpoint as digits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.console import words
from fieldtune.errors import InputError, OutputError
from fieldtune.files import write_whole

if TYPE_CHECKING:
    from textual.screen import Screen

    from fieldtune.console.controller import Controller
    from fieldtune.console.widgets.pictures import Pictures


def view_text(screen: Screen[None]) -> str:
    """What stands on the screen, blanks at the ends of rows left out."""
    strips = screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips) + "\n"


def setpoint_digits(controller: Controller) -> str:
    """The recommended setpoint's digits; raises ``InputError`` where there is none."""
    wanted = controller.shooting.recommended
    if wanted is None or not controller.shooting.aim_holds:
        raise InputError("no setpoint is recommended here yet: nothing was copied")
    return words.number(wanted, controller.robot)


def save_picture(pictures: Pictures | None, controller: Controller, view: str, folder: Path) -> Path:
    """Writes the picture that stands first to a new SVG file in ``folder`` and says where.

    Raises ``InputError`` where the view has no picture, ``OutputError`` where it can't be written.
    """
    from fieldtune.share.chart_svg import picture_file

    picture = None if pictures is None else pictures.first
    if picture is None:
        raise InputError("there is no picture on this view to save")
    name = f"{controller.robot.name}-{view.lower().replace(' ', '-') or 'path'}"
    path = next(p for n in range(1, 10_000) if not (p := folder / f"{name}-{n}.svg").exists())
    said = f"{controller.robot.title or controller.robot.name}: {view or 'path'}"
    try:
        write_whole(path, picture_file(picture, said))
    except OSError as error:
        raise OutputError(f"{path}: {error.strerror}; start the console in a folder that can be written") from error
    return path.resolve()
