"""Draws the README's picture of the console: eight shots at the simulated robot, confirmed by keys.

    cd tests/console && PYTHONPATH=.. python screenshot.py screen.svg [--view k]

The robot and its shots are invented. Fonts are the reader's own: the picture asks for nothing from outside.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from tempfile import TemporaryDirectory

from console_driver import drive, until
from textual.pilot import Pilot

from fieldtune import Session, load_robot
from fieldtune.console import ConsoleApp
from fieldtune.link.monitor import Monitor

RESULT_KEYS = {"in": "i", "short": "s", "long": "l", "left": "left", "right": "right"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--robot", default="heron")
    parser.add_argument("--shots", type=int, default=8)
    parser.add_argument("--view", help="key of a view to open at the end")
    options = parser.parse_args()
    robot = load_robot(options.robot)
    with TemporaryDirectory() as folder, Session(robot, Path(folder) / "log.db") as session:
        monitor = Monitor(robot, "sim://?seed=7")
        app = ConsoleApp(robot, session, monitor)
        drive(app, lambda app, pilot: _play(app, pilot, options))


async def _play(app: ConsoleApp, pilot: Pilot[None], options: argparse.Namespace) -> None:
    await until(app, pilot, "Before anything turns")
    await pilot.press("enter")
    for shot in range(options.shots):
        await pilot.press(str(shot % len(app.controller.robot.spots) + 1), "g")
        await until(app, pilot, "press f to fire", 60)
        before = len(app.controller.line.seen_in_simulation())
        await pilot.press("f")
        await until(app, pilot, lambda before=before: len(app.controller.line.seen_in_simulation()) > before, 60)
        await until(app, pilot, "seen", 60)
        await pilot.press(RESULT_KEYS[app.controller.line.seen_in_simulation()[-1].result])
        await until(app, pilot, lambda shot=shot: len(app.controller.session.log.shots()) > shot, 60)
    await pilot.press("2", "g")
    await until(app, pilot, "press f to fire", 60)
    if options.view:
        await pilot.press(options.view)
        await pilot.pause(2)
    svg = app.export_screenshot(title="fieldtune")
    svg = re.sub(r"<!--.*?-->\n?", "", svg, flags=re.S)
    svg = re.sub(r"@font-face \{.*?\}\n?", "", svg, flags=re.S)
    options.file.write_text(svg.replace("Fira Code", "DejaVu Sans Mono, Menlo, Consolas"), encoding="utf-8")


if __name__ == "__main__":
    main()
