"""Where profiles and shot logs live, and how a robot's name finds its profile."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from fieldtune.errors import OutputError, ProfileError, UnknownRobotError
from fieldtune.files import place_whole
from fieldtune.frozen import frozen
from fieldtune.robot.profile import is_name
from fieldtune.units import closest, shown

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

HOME_VARIABLE = "FIELDTUNE_PROFILES"


@frozen
class ProfileEntry:
    """A profile that was found: its robot's name, its file, and whether it is a packaged demonstration."""

    name: str
    path: Path
    demo: bool


def profile_home(home: Path | str | None = None) -> Path:
    """The folder of profiles and shot logs; it need not exist yet.

    ``home`` if given, else the environment's FIELDTUNE_PROFILES, else ./profiles if there is one, else the platform's
    user data folder.
    """
    if home is not None:
        return Path(home).expanduser()
    if told := os.environ.get(HOME_VARIABLE):
        return Path(told).expanduser()
    here = Path("profiles")
    try:
        return here if here.is_dir() else Path(platformdirs.user_data_dir("fieldtune", appauthor=False)) / "profiles"
    except (OSError, RuntimeError) as fault:  # no HOME and no entry for the user
        raise ProfileError(f"no folder for profiles: {fault}; name one with --profiles or {HOME_VARIABLE}") from None


def demo_home() -> Path:
    """The packaged demonstration robots, read-only.

    An installed package carries them inside; in a source tree (and an editable install) they lie beside it.
    """
    package = Path(__file__).parent.parent
    inside = package / "profiles"
    return inside if inside.is_dir() else package.parent / "profiles"


def find_profiles(home: Path | str | None = None) -> tuple[ProfileEntry, ...]:
    """The profiles at home, by name; the packaged demonstration robots where there are none.

    Raises ``ProfileError`` for a home that is no folder or can't be read.
    """
    folder = profile_home(home)
    try:
        if folder.is_file():
            raise ProfileError(f"{folder}: is a file; expected the folder of profiles and shot logs")
        if (folder / _COPYING).exists():
            with contextlib.suppress(OutputError):  # a home that was left half made; what is missing is lent meanwhile
                _copy_demos(folder)
    except OSError as fault:
        raise ProfileError(f"{folder}: can't be read: {fault.strerror or fault}") from None
    own = _profiles_in(folder, demo=False)
    if own and not (folder / _COPYING).exists():
        return own
    names = {entry.name for entry in own}
    lent = [entry for entry in _profiles_in(demo_home(), demo=True) if entry.name not in names]
    return tuple(sorted((*own, *lent), key=lambda entry: entry.name))


def _profiles_in(folder: Path, demo: bool) -> tuple[ProfileEntry, ...]:
    try:
        if not folder.is_dir():
            return ()
        found = sorted(path for path in folder.glob("*.toml") if is_name(path.stem) and path.is_file())
    except OSError as fault:
        raise ProfileError(f"{folder}: can't be read: {fault.strerror or fault}") from None
    return tuple(ProfileEntry(path.stem, path, demo) for path in found)


def unusable_names(folder: Path) -> tuple[Path, ...]:
    """Files in a folder of profiles that look like one but whose name no robot can have, so that none finds them."""
    return tuple(sorted(path for path in folder.glob("*.toml") if not is_name(path.stem) and path.is_file()))


def find_profile(name: str, home: Path | str | None = None) -> Path:
    """The file of the robot called ``name``; raises ``UnknownRobotError`` naming those there are."""
    known = find_profiles(home)
    for entry in known:
        if entry.name == name:
            return entry.path
    names = [entry.name for entry in known]
    hint = closest(name, names)
    there = ", ".join(names) if names else "none yet, start with: fieldtune new NAME"
    raise UnknownRobotError(f"no robot {shown(name)}{hint}; robots in {profile_home(home)}: {there}")


def load_robot(name_or_path: str | Path, home: Path | str | None = None) -> Robot:
    """The robot of that name, or of the profile at that path (anything with a slash or ending in .toml).

    Raises ``UnknownRobotError`` for a name that no profile has, ``ProfileError`` for a profile that can't be used.
    """
    text = os.fspath(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or os.sep in text:
        path = Path(text).expanduser()
    # os.path.isfile answers for any text, where Path.is_file raises for one that no file can be called.
    elif os.path.isfile(text) and all(entry.name != text for entry in find_profiles(home)):
        path = Path(text)
    else:
        path = find_profile(text, home)
    from fieldtune.robot.profile import load_profile  # here, so that an unknown name needs no more than folders

    return load_profile(path)


def store_path(robot: Robot, home: Path | str | None = None) -> Path:
    """Where the robot's shots are kept: beside its profile, or at home for a packaged demonstration robot."""
    if robot.path is None:
        return profile_home(home) / f"{robot.name}.db"
    if is_demo(robot):
        return writable_home(home) / f"{robot.name}.db"
    return robot.path.with_suffix(".db")


def is_demo(robot: Robot) -> bool:
    """Whether the robot is a packaged demonstration, whose folder is left as it is."""
    return robot.path is not None and robot.path.parent.resolve() == demo_home().resolve()


def writable_home(home: Path | str | None = None) -> Path:
    """The folder that is the user's to write into: ``profile_home``.

    In a source tree the demonstration robots' own folder is that one, and its shot logs stay out of the package.
    """
    return profile_home(home)


def claim_profile(robot: Robot, home: Path | str | None = None) -> Path:
    """Makes the folder of the robot's store and, for a demonstration robot, copies the demonstrations there; its path.

    Call it before the first shot is kept. All of them are copied, since a home that holds profiles hides the packaged
    ones. An existing profile is never written over. Raises ``OutputError``.
    """
    folder = store_path(robot, home).parent
    profile = folder / f"{robot.name}.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(
            f"{folder}: can't be made ({fault.strerror or fault}); name another with --profiles"
        ) from None
    if is_demo(robot) and not profile.exists():
        _copy_demos(folder)
    return profile


_COPYING = ".copying-demonstration-robots"
"""A file of that name stands in a home whose profiles aren't all there yet; the next start finishes it."""


def _copy_demos(folder: Path) -> None:
    """Copies the demonstration profiles that aren't there, each whole or not at all. Raises ``OutputError``."""
    mark = folder / _COPYING
    try:
        mark.touch()
        for entry in _profiles_in(demo_home(), demo=True):
            with contextlib.suppress(FileExistsError):
                place_whole(folder / entry.path.name, entry.path.read_bytes())
        mark.unlink(missing_ok=True)
    except OSError as fault:
        raise OutputError(f"{folder}: can't be written: {fault.strerror or fault}") from None
