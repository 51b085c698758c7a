"""Bringing two laptops' logs together: nothing lost, nothing twice, nobody's profile written over."""

from __future__ import annotations

import difflib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fieldtune.errors import InputError, OutputError
from fieldtune.files import write_whole
from fieldtune.frozen import frozen
from fieldtune.port_names import PORT_FROM_ELSEWHERE
from fieldtune.robot import load_robot, profile_home
from fieldtune.session import Session
from fieldtune.units import shown

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.share.pack import Pack


@frozen
class Merged:
    """What a merge brought: counts of what was new here, and what became of the profile.

    ``profile``: ``same``, ``differs`` (the one here is kept; ``difference`` holds a unified diff, line by line) or
    ``written`` (there was none here). ``path`` is the profile here.
    """

    robot: str
    by: str
    shots: int
    marks: int
    batteries: int
    profile: Literal["same", "differs", "written"]
    difference: tuple[str, ...]
    path: Path | None


def merge_home(pack: Pack, home: Path | str | None = None) -> Merged:
    """Merges into the folder of profiles and logs; a robot that has no profile there gets the pack's.

    Raises ``InputError`` where the profile there is of another robot, ``OutputError`` and ``StoreError`` where
    nothing can be written; then nothing has changed.
    """
    path = profile_home(home) / f"{pack.robot.name}.toml"
    if path.exists():
        with Session.beside_profile(load_robot(path), home) as session:
            return merge(session, pack)
    # The log before its profile: a robot without one isn't there yet, and merging once more finishes what was cut off.
    _make_folder(path.parent)
    with Session(replace(pack.robot, path=None), path.with_suffix(".db")) as session:
        merged = merge(session, pack)
        if pack.robot.link.port != "auto":  # asked about before it is opened
            session.log.remember(PORT_FROM_ELSEWHERE, pack.robot.link.port)
        write_whole(path, pack.profile)
    return replace(merged, profile="written", path=path)


def merge(session: Session, pack: Pack) -> Merged:
    """Merges into an open session's log, in one transaction; the profile is only compared."""
    robot = session.robot
    _same_robot(robot, pack)
    before = len(session.log.batteries())
    shots, marks = session.log.merge(pack.shots, pack.marks, pack.epochs, pack.by, pack.batteries, pack.present)
    difference = profile_difference(robot, pack)
    return Merged(
        robot.name,
        pack.by,
        shots,
        marks,
        len(session.log.batteries()) - before,
        "differs" if difference else "same",
        difference,
        robot.path,
    )


def profile_difference(robot: Robot, pack: Pack) -> tuple[str, ...]:
    """Unified diff from the profile here to the one in the pack; empty where they are the same."""
    if robot.path is None:
        return ()
    here = robot.path.read_text("utf-8-sig").splitlines()
    theirs = pack.profile.splitlines()
    name = f"{robot.name}.toml"
    return tuple(difflib.unified_diff(here, theirs, f"{name} here", f"{name} in the pack", lineterm=""))


def _same_robot(robot: Robot, pack: Pack) -> None:
    theirs = pack.robot
    if robot.name != theirs.name:
        raise InputError(f"the pack is of robot {theirs.name}, not of {robot.name}; merge it without naming a robot")
    for what, ours, other in (
        ("a launcher of kind", robot.launcher.kind, theirs.launcher.kind),
        ("setpoints in", robot.setpoint.unit, theirs.setpoint.unit),
    ):
        if ours != other:
            raise InputError(
                f"another robot of the same name: {robot.name} here has {what} {ours}, the one in the pack {other}; "
                "rename one of the two profiles and its log"
            )
    known = {target.name for target in robot.targets} | {None}
    for shot in pack.shots:
        if shot.target not in known:
            raise InputError(
                f"shot {shot.shot} in the pack was aimed at {shown(shot.target)}, a target that {robot.name}'s profile "
                "here doesn't have; add it to the profile, then merge again"
            )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: can't be made ({error.strerror or error})") from error
