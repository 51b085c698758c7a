"""The pit sheet: one HTML file without scripts or links to anywhere, that prints on one page of A4 or Letter."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from fieldtune.robot.model import Robot
from fieldtune.session import Session
from fieldtune.share.pack import today
from fieldtune.share.page_words import line, setpoint_text, tag
from fieldtune.share.path_svg import picture
from fieldtune.share.sheet_contents import CAUTION_MOST, FACT_MOST, LONG_TITLE, SheetParts, SheetRow, Shown, gather
from fieldtune.share.sheet_notebook import notebook
from fieldtune.share.sheet_style import STYLE
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
    title = line(parts.robot.title, 90)
    body = [
        _head(parts, today(session)),
        tag("div", "".join(_figure(parts.robot, shown) for shown in parts.pictures), "arcs"),
        _drive_table(parts),
        _notes(parts),
        _cautions(parts),
        tag("footer", html.escape(_footer(parts, battery_v))),
    ]
    if long:
        body.append(notebook(session, parts.learned, others))
    return "\n".join([
        "<!DOCTYPE html>", '<html lang="en">', "<head>", '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{html.escape(title)}: pit sheet</title>", f"<style>{STYLE}</style>", "</head>", "<body>",
        *body, "</body>", "</html>", "",
    ])  # fmt: skip


def _head(parts: SheetParts, date: str) -> str:
    learned, title = parts.learned, line(parts.robot.title, 90)
    shots = f"{learned.shots_used} shot{'' if learned.shots_used == 1 else 's'} used"
    battery = f", battery {line(parts.battery_label, 24)}" if parts.battery_label else ""
    target = f", target {line(parts.target, 24)}" if parts.target else ""
    lines = (f"{shots}", f"epoch {learned.epoch}{battery}", f"robot {parts.robot.name}{target}")
    right = f"<strong>{html.escape(date)}</strong>, " + "<br>".join(map(html.escape, lines))
    return tag("header", f"{tag('h1', html.escape(title), 'long' if len(title) > LONG_TITLE else '')}<p>{right}</p>")


def _figure(robot: Robot, shown: Shown) -> str:
    aim = shown.aim
    where = f"{aim.distance_m:.2f} m" + (f" {line(shown.spot, 18)}" if shown.spot else "")
    small = [f"scores {100 * aim.hit_probability:.0f} %" if aim.hit_probability is not None else ""]
    if aim.entry_angle_deg is not None and shown.scene.target.by_way(lambda: True, lambda: False):
        small.append(f"comes in at {aim.entry_angle_deg:.0f} deg")
    if aim.time_s is not None:
        small.append(f"{aim.time_s:.2f} s")
    caption = f"<span>{html.escape(where)}</span><b>{html.escape(setpoint_text(robot, aim.setpoint.value))}</b>"
    under = "".join(f"<span>{html.escape(words)}</span>" for words in small if words)
    return tag(
        "figure",
        tag("figcaption", caption) + picture(shown.scene) + tag("div", under, "small"),
    )


_SPOT = ' class="spot"'


def _drive_table(parts: SheetParts) -> str:
    unit = parts.robot.setpoint.unit
    head = ("distance (m)", "", "spot", f"setpoint ({unit})", "nearly as good", "scores", "by hand")
    cells = "".join(f'<th scope="col"{_SPOT if words == "spot" else ""}>{words}</th>' for words in head)
    return (
        f'<table class="drive"><thead><tr>{cells}</tr></thead><tbody>'
        + "".join(_drive_row(parts.robot, row) for row in parts.rows)
        + "</tbody></table>"
    )


def _drive_row(robot: Robot, shown: SheetRow) -> str:
    row = shown.row
    nearly = ""
    if row.low is not None:
        nearly = f"{setpoint_text(robot, row.low, False)} to {setpoint_text(robot, row.high, False)}"
    scores = "" if row.hit_probability is None else f"{100 * row.hit_probability:.0f} %"
    cells = [
        ("", f"{row.distance_m:.2f}"),
        ("near", html.escape(feet_inches(row.distance_m))),
        ("spot", html.escape(line(shown.spot or "", 24))),
        ("set", setpoint_text(robot, row.setpoint, False) if row.setpoint is not None else "none"),
        ("near", nearly),
        ("near", scores),
        ("hand", ""),
    ]
    return tag("tr", "".join(tag("td", words, name) for name, words in cells), "named" if shown.spot else "")


def _notes(parts: SheetParts) -> str:
    kind = parts.robot.launcher.mechanism.heading
    drive = _pairs(parts.figures) if parts.figures else "<p>The profile says too little of the drive.</p>"
    learned = _list(parts.facts) if parts.learned.shots_used else _list([_NO_SHOTS, *parts.facts[:3]])
    return tag(
        "div",
        tag("section", f"<h2>{kind}</h2>{drive}", "narrow")
        + tag("section", f"<h2>What the shots taught</h2>{learned}")
        + tag("section", f"<h2>Batteries</h2>{_batteries(parts)}", "narrow"),
        "notes",
    )


_NO_SHOTS = "nothing yet: all figures rest on the profile alone; confirm a few shots"


def _batteries(parts: SheetParts) -> str:
    if not parts.batteries:
        return _list(["none measured yet; run the battery test in the console"])
    rows = []
    for label, date, ohm, volts, moved in parts.batteries:
        left = f"{html.escape(line(label, 16))}<br>{html.escape(date)}"
        right = "<br>".join(html.escape(words) for words in (", ".join(w for w in (ohm, volts) if w), moved))
        rows.append(tag("tr", tag("td", left, "label") + tag("td", right)))
    return tag("table", tag("tbody", "".join(rows)))


def _cautions(parts: SheetParts) -> str:
    return tag("section", f"<h2>Cautions</h2>{_list(parts.cautions, CAUTION_MOST)}", "cautions")


def _pairs(rows: Sequence[tuple[str, str]]) -> str:
    cells = (tag("tr", tag("td", html.escape(name)) + tag("td", html.escape(words))) for name, words in rows)
    return tag("table", tag("tbody", "".join(cells)))


def _list(items: Iterable[str], most: int = FACT_MOST) -> str:
    return tag("ul", "".join(tag("li", tag("span", html.escape(line(item, most)))) for item in items))


def _footer(parts: SheetParts, battery_v: float | None) -> str:
    volts = f" Battery {battery_v:.1f} V." if battery_v is not None else ""
    return (
        "Distance is horizontal, from the element's centre at exit to the target. Grey: where 90 % of shots go. "
        f"Nearly as good: setpoints within reach of the best hit probability.{volts} Made by fieldtune."
    )
