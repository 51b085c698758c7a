"""The pit sheet: one HTML file without scripts or links to anywhere, that prints on one page of A4 or Letter."""

from __future__ import annotations

from collections.abc import Sequence

from fieldtune.figures import FIGURES
from fieldtune.robot.model import Robot
from fieldtune.session import Session
from fieldtune.share.pack import today
from fieldtune.share.path_svg import picture
from fieldtune.share.sheet_contents import CAUTION_MOST, FACT_MOST, LONG_TITLE, gather
from fieldtune.share.sheet_notebook import notebook
from fieldtune.share.templating import filled, one_line
from fieldtune.units import feet_inches


def sheet(
    session: Session,
    battery_v: float | None = None,
    target: str | None = None,
    long: bool = False,
    others: Sequence[Robot] = (),
) -> str:
    """The sheet as HTML text. ``long`` adds the notebook's pages: residuals, shot log, decision among ``others``.

    Raises ``OutOfReachError`` where the robot scores from nowhere.
    """
    parts = gather(session, battery_v, target)
    decimals = session.robot.setpoint.decimals
    return filled(
        "sheet.html.j2",
        title=one_line(parts.robot.title, 90),
        date=today(session),
        parts=parts,
        heading="Wheel and drive" if parts.robot.launcher.kind == "flywheel" else "Spring and drive",
        unit=session.robot.setpoint.unit,
        battery_v=battery_v,
        figures=FIGURES,
        notebook=notebook(session, parts.learned, others) if long else None,
        fact_most=FACT_MOST,
        caution_most=CAUTION_MOST,
        long_title=LONG_TITLE,
        picture=lambda shown: picture(shown.scene),
        setpoint=lambda value: f"{value:.{decimals}f}",
        feet_inches=feet_inches,
    )
