"""Runs acts in forked children of one warm process, each with a fault at its n-th change of a file; prints JSON.

Start it with ``faults.c`` in LD_PRELOAD. Nothing is armed in this process itself, which judges what is left.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import signal
import sys
from contextlib import closing
from pathlib import Path

from fieldtune.cli import main
from fieldtune.commands import FAMILIES
from fieldtune.robot import find_profiles, load_robot
from fieldtune.store import Store

FAULTS = {"kill": 0, "EIO": errno.EIO, "ENOSPC": errno.ENOSPC}
SHOT = ["shot", "heron", "--distance", "2 m", "--setpoint", "1400", "--result", "in"]
ACTS: dict[str, list[str]] = {
    "first shot": SHOT,
    "n-th shot": SHOT,
    "undo": ["undo", "heron"],
    "redo": ["redo", "heron"],
    "correction": ["correct", "heron", "1", "--result", "short"],
    "leaving out": ["exclude", "heron", "--shot", "1", "--reason", "bounced"],
    "battery change": ["swap", "heron", "--label", "B"],
    "merge into nothing": ["merge", "{folder}/pack.json"],
    "merge into a log": ["merge", "{folder}/pack.json"],
    "export": ["sheet", "heron", "--out", "{home}/pit.html"],
}
FRESH = ("first shot", "merge into nothing")


def child(words: list[str], home: Path, at: int = 0, kind: int = 0) -> tuple[int, int]:
    """Exit code (negative: killed) of a command in a child, and how many changes of files it made."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.environ["FIELDTUNE_PROFILES"] = str(home)
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        shim = ctypes.CDLL(None)
        shim.fault_arm(str(home).encode(), ctypes.c_long(at), kind)
        code = main(words)
        os.write(writer, str(shim.fault_seen()).encode())
        os._exit(code)
    os.close(writer)
    _, status = os.waitpid(pid, 0)
    with os.fdopen(reader) as said:
        seen = int(said.read() or 0)
    return os.waitstatus_to_exitcode(status), seen


def uids(home: Path) -> set[str]:
    path = home / "heron.db"
    if not path.exists():
        return set()
    with closing(Store(path)) as log:
        return {shot.uid for shot in log.shots()}


def judge(name: str, words: list[str], home: Path, before: set[str], code: int, packed: set[str]) -> list[str]:
    """What is wrong after a fault: stuck, lost, doubled, or said to be done and not there."""
    wrong = []
    names = [entry.name for entry in find_profiles(home)]
    if "heron" not in names or (name != "merge into nothing" and names != ["crane", "heron", "otter"]):
        wrong.append(f"robots {names}")
    load_robot("heron", home)
    after = uids(home)
    if not before <= after:
        wrong.append("lost")
    more = packed if name.startswith("merge") else after - before
    if len(more) > (len(packed) if name.startswith("merge") else 1) or (code == 0 and "shot" in name and not more):
        wrong.append(f"{len(more)} more, code {code}")
    if name.startswith("merge") and code == 0 and not packed <= after:
        wrong.append("merged, and not there")
    again, _ = child(words, home)
    last = uids(home)
    if name == "export":
        page = (home / "pit.html").read_text("utf-8")
        if not page.rstrip().endswith("</html>") or again not in (0, 2):
            wrong.append(f"half a page, code {again}")
    elif again not in (0, 1) or not after <= last:
        wrong.append(f"stuck, code {again}")
    if name.startswith("merge") and packed | before != last:
        wrong.append("not all merged at last")
    if "shot" in name and len(last) != len(after) + 1:
        wrong.append("stuck")
    return wrong


def torture(folder: Path) -> dict[str, object]:
    known = {command for commands in FAMILIES.values() for command in commands}
    base, other = folder / "base", folder / "other"
    for home, shots in ((base, 3), (other, 2)):
        for _ in range(shots):
            assert child(SHOT, home)[0] == 0
    if "redo" in known:
        assert child(["undo", "heron"], base)[0] == 0
    assert child(["pack", "heron", str(folder / "pack.json")], other)[0] == 0
    packed, found = uids(other), {}
    for name, template in ACTS.items():
        if template[0] not in known:
            continue
        points, failures = 0, []
        for fault, kind in FAULTS.items():
            at = 0
            while True:
                at += 1
                home = folder / "home"
                shutil.rmtree(home, ignore_errors=True)
                if name not in FRESH:
                    shutil.copytree(base, home)
                before = uids(home)
                words = [word.format(folder=folder, home=home) for word in template]
                code, seen = child(words, home, at, kind)
                if code >= 0 and seen < at:
                    break  # it made fewer changes than that: every point was met
                points += 1
                assert (code == -signal.SIGKILL) == (kind == 0), (name, fault, at, code)
                wrong = judge(name, words, home, before, code, packed)
                failures += [f"{fault} at {at}: {what}" for what in wrong]
        found[name] = {"points": points, "failures": failures}
    return found


if __name__ == "__main__":
    print(json.dumps(torture(Path(sys.argv[1]))))
