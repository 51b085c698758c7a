"""The robots there are, for choosing one: launcher, shots, last used, and what is wrong with a profile."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.errors import FieldtuneError
from fieldtune.frozen import frozen
from fieldtune.robot.home import find_profiles, profile_home, unusable_names
from fieldtune.robot.profile import NAME_RULE, read_profile
from fieldtune.setup.set_up import DRAFT

if TYPE_CHECKING:
    from collections.abc import Callable


@frozen
class ListedRobot:
    """One row. ``fault``: why it can't be opened, None where it can; ``doubts``: how many warnings it has.

    ``draft``: a set-up that was left half-way. ``used``: when its log was last written to.
    """

    name: str
    path: Path
    title: str = ""
    launcher: str = ""
    shots: int | None = None
    used: datetime | None = None
    demo: bool = False
    draft: bool = False
    fault: str | None = None
    doubts: int = 0


def listed_robots(home: Path | str | None, shots_in: Callable[[Path], int]) -> tuple[ListedRobot, ...]:
    """Own robots, the latest used first, drafts, then demonstrations. A broken profile is a row like the others.

    ``shots_in`` counts the shots of a log. Raises ``ProfileError`` for a home that can't be read at all.
    """
    folder = profile_home(home)
    found = [_row(entry.path, entry.demo, folder, shots_in) for entry in find_profiles(home)]
    if folder.is_dir():
        for path in unusable_names(folder):
            found.append(ListedRobot(path.stem, path, fault=f"its file's name can't be a robot's: {NAME_RULE}"))
        found += [
            ListedRobot(path.stem, path, "set-up left half-way", draft=True)
            for path in sorted(folder.glob(f"*{DRAFT}"))
            if not path.with_suffix(".toml").exists()
        ]
    lately = {row.path: 0.0 if row.used is None else row.used.timestamp() for row in found}
    return tuple(sorted(found, key=lambda row: (row.demo, -lately[row.path], not row.draft, row.name)))


def _row(path: Path, demo: bool, home: Path, shots_in: Callable[[Path], int]) -> ListedRobot:
    log = home / f"{path.stem}.db"
    shots, used, fault = None, None, None
    try:
        robot, problems = read_profile(path)
    except FieldtuneError as error:
        return ListedRobot(path.stem, path, demo=demo, fault=str(error).removeprefix(f"{path}: "))
    try:
        if log.is_file():
            shots, used = shots_in(log), datetime.fromtimestamp(log.stat().st_mtime)
    except (FieldtuneError, OSError) as error:
        fault = f"its log: {error}"
    errors = [one for one in problems if one.severity == "error"]
    if errors:
        more = f" (+{len(errors) - 1} more)" if errors[1:] else ""
        fault = f"{errors[0].key}: {errors[0].message}{more}"
    return ListedRobot(
        path.stem, path, "" if robot is None else robot.title, "" if robot is None else robot.launcher.mechanism.kind,
        shots, used, demo, fault=fault, doubts=len(problems) - len(errors),
    )  # fmt: skip
