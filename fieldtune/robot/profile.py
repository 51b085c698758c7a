"""Reads a robot profile: one TOML file to one ``Robot`` in SI, with every fault named by file and key path."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

from fieldtune.errors import ProfileError
from fieldtune.files import read_whole
from fieldtune.robot.derived import grip_doubt
from fieldtune.robot.kinds import read_launcher
from fieldtune.robot.model import Robot
from fieldtune.robot.read_drive import read_battery, read_drive, read_encoder, read_setpoint
from fieldtune.robot.read_link import read_link, read_uncertainty
from fieldtune.robot.read_target import (
    read_air,
    read_element,
    read_feeder,
    read_field,
    read_floor,
    read_hood,
    read_spots,
    read_targets,
    read_turret,
)
from fieldtune.robot.table_reader import Findings, Problem, Section
from fieldtune.units import shown

FORMAT = 1
_LARGEST, _LONGEST_LINE = 300_000, 5_000
"""Bytes of the longest profile that is read (a full one has some 5,000), and of a line in it."""


def check_profile(path: Path | str) -> tuple[Problem, ...]:
    """All problems of the profile at ``path``, in the order of reading; none of them an error if it can be used.

    Raises ``ProfileError`` only where there is no file to read.
    """
    return read_profile(path)[1]


def load_profile(path: Path | str) -> Robot:
    """The robot at ``path``; raises ``ProfileError`` with the first problem and how many more there are."""
    robot, problems = read_profile(path)
    errors = [problem for problem in problems if problem.severity == "error"]
    if robot is None or errors:
        first = min(errors, key=lambda problem: problem.message.startswith("missing"))  # a misspelt key says more
        more = len(errors) - 1
        rest = f" (+{more} more, run: fieldtune check {path})" if more else ""
        place = f"{path}:{first.key[5:]}" if first.key.startswith("line ") else f"{path}: {first.key}"
        raise ProfileError(f"{place}: {first.message}{rest}")
    return robot


def read_profile(path: Path | str) -> tuple[Robot | None, tuple[Problem, ...]]:
    """The robot, ``None`` if there is an error, and all problems."""
    path = Path(path)
    findings = Findings()
    values = _read_toml(path, findings)
    if values is None:
        return None, tuple(findings.problems)
    return read_values(values, path, findings)


def read_values(
    values: dict[str, object], path: Path, findings: Findings | None = None
) -> tuple[Robot | None, tuple[Problem, ...]]:
    """As ``read_profile``, from the tables of a profile as a TOML reader gives them; ``path`` names the robot."""
    findings = findings or Findings()
    if not is_name(path.stem):
        found = shown(path.stem)
        findings.error("file name", f"found {found}; expected a robot's name, {NAME_RULE}")
    robot = _read_robot(values, path, findings)
    return (None if findings.errors else robot), tuple(findings.problems)


def read_profile_text(raw: bytes, path: Path) -> tuple[Robot | None, tuple[Problem, ...]]:
    """As ``read_profile``, of a text that needn't be a file yet; ``path`` names the robot."""
    findings = Findings()
    values = _parsed(raw, findings)
    return (None, tuple(findings.problems)) if values is None else read_values(values, path, findings)


def _read_toml(path: Path, findings: Findings) -> dict[str, object] | None:
    return _parsed(read_whole(path, "a profile, a TOML file", _LARGEST, ProfileError), findings)


def _parsed(raw: bytes, findings: Findings) -> dict[str, object] | None:
    long = next((n for n, line in enumerate(raw.split(b"\n"), 1) if len(line) > _LONGEST_LINE), None)
    if long is not None:  # no profile has one, and reading it could take minutes
        findings.error(f"line {long}", f"is longer than the {_LONGEST_LINE} bytes that a line may have")
        return None
    try:
        return tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as fault:
        line = raw[: fault.start].count(b"\n") + 1
        findings.error(f"line {line}", "is not UTF-8 text; save the file as UTF-8")
        return None
    except tomllib.TOMLDecodeError as fault:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(fault))
        what = re.sub(r" \(at .*\)", "", str(fault))
        line = int(place[1]) if place else raw.rstrip().count(b"\n") + 1
        findings.error(f"line {line}", f"not TOML: {what[:1].lower()}{what[1:]}{_toml_hint(what)}")
        return None
    except RecursionError:
        findings.error("line 1", "not a profile: nested too deeply")
        return None
    except ValueError:  # a whole number of more digits than Python reads
        findings.error("line 1", "not a profile: holds a number of thousands of digits")
        return None


def _toml_hint(what: str) -> str:
    if "Invalid value" in what or "Expected newline" in what:
        return '; text and quantities stand in quotes, such as "58 mm"'
    if "Illegal character '\\n'" in what:
        return "; the closing quote is missing"
    return ""


def _read_robot(values: dict[str, object], path: Path, findings: Findings) -> Robot | None:
    profile = Section(values, "", findings)
    _check_format(profile)
    title = profile.text("title", path.stem.replace("-", " ").capitalize())
    element_table, launcher_table = _needed(profile, "element"), _needed(profile, "launcher")
    drive_table = profile.section("drive")
    battery_table, encoder_table = profile.section("battery"), profile.section("encoder")
    profile.knows(
        "target", "targets", "floor", "air", "setpoint", "uncertainty", "link", "spots", "turret", "field", "feeder",
        "hood",
    )  # fmt: skip
    profile.close()
    drive = read_drive(drive_table)
    battery, encoder = read_battery(battery_table, drive), read_encoder(encoder_table)
    if element_table is None or launcher_table is None:
        return None
    element = read_element(element_table)
    launcher = read_launcher(launcher_table, element)
    if launcher is None:
        return None
    targets = read_targets(profile, element)
    slides = any(target.resistance == "friction" for target in targets)
    robot = Robot(
        name=path.stem,
        title=title,
        element=element,
        launcher=launcher,
        drive=drive,
        battery=battery,
        encoder=encoder,
        targets=targets,
        floor=read_floor(profile, slides),
        air=read_air(profile),
        setpoint=read_setpoint(profile, launcher.mechanism, drive),
        uncertainty=read_uncertainty(profile, element),
        link=read_link(profile),
        spots=read_spots(profile, findings),
        path=path,
        turret=read_turret(profile),
        hood=read_hood(profile, launcher),
        field_range=read_field(profile),
        feed_interval=read_feeder(profile, element),
    )
    if not findings.errors:
        doubt = robot.launcher.mechanism.by_motion(lambda wheel: grip_doubt(robot, wheel.grip), lambda _: None)
        if doubt is not None:
            findings.warn("launcher.grip", doubt)
    if robot.hood is not None and slides and not replace(robot, launcher=replace(launcher, exit_angle=1.0)).lands_first:
        findings.warn("hood", "has no say here: the element slides along the floor")
    for target in robot.targets:
        target.check(robot, f"targets.{target.name}" if target.name else "target", findings)
    return replace(robot, warnings=tuple((problem.key, problem.message) for problem in findings.warnings))


def _needed(profile: Section, key: str) -> Section | None:
    if key not in profile:
        profile.knows(key)
        profile.error(key, f"missing; expected a table [{key}]")
        return None
    return profile.section(key)


def _check_format(profile: Section) -> None:
    found = profile.take("format")
    if found is None:
        profile.warn("format", f"not given; taken as {FORMAT}")
    elif isinstance(found, bool) or found != FORMAT:
        profile.error("format", f"found {shown(found)}; expected {FORMAT}, the format this program reads")


# What a robot may be called: its name is the stem of its profile's and its log's file.


NAME_RULE = "1 to 32 of a-z, 0-9 and -"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
_DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")
"""What Windows keeps for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces")."""


def is_name(text: str) -> bool:
    """Whether a robot can be called so, on every system that its files may be carried to."""
    return _NAME.fullmatch(text) is not None and _DEVICE.fullmatch(text) is None
