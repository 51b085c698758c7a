"""Runs acts in forked children of one warm process and judges what a fault, or a kill at some moment, leaves of them.

``crash_driver.py FOLDER``: a fault at each change of a file; start it with ``faults.c`` in LD_PRELOAD. Nothing is armed
in this process itself. ``crash_driver.py FOLDER COUNT SEED``: so many kills at random moments. Both print JSON.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

from fieldtune.cli import main
from fieldtune.robot import find_profiles, load_robot
from fieldtune.setup.profile_text import ProfileText
from fieldtune.setup.set_up import DRAFT, SetUp
from fieldtune.store import Store

FAULTS = {"kill": 0, "EIO": errno.EIO, "ENOSPC": errno.ENOSPC}
SHOT = ["shot", "heron", "--distance", "2 m", "--setpoint", "1400", "--result", "in"]
ANSWERS = (
    "kite", "flywheel", "sphere", "58", "40", "smooth", "2", "88", None, "", "52", "38", "yes", "speed", "2", "9.6",
    "6100", "0.125", "9.5", "0.5", "22:33 20:28", "nimh", "8", None, "yes", "96", "motor", "basket", "95", "36", "600",
    "2500", "10", "near line 1.8", "far line 2.8 m", "",
)  # fmt: skip


def answer(made: SetUp, answers: Sequence[str | None]) -> None:
    for text in answers:
        assert made.here is not None
        assert (made.skip() if text is None else made.answer(text)).taken, (made.here.key, text)


def set_up(home: Path) -> int:
    """The last answers of a new robot, from where it was left."""
    made = SetUp.resumed(home / f"kite{DRAFT}")
    if made.here is not None:
        answer(made, ANSWERS[made.place[0] - 1 + made._spots :])
    made.finish()
    return 0


def edit(home: Path) -> int:
    """Another number in a profile that is there."""
    profile = ProfileText.at(home / "heron.toml")
    profile.set("launcher.grip", 0.71)
    profile.save()
    return 0


Act = list[str] | Callable[[Path], int]
ACTS: dict[str, Act] = {
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
    "set-up of a robot": set_up,
    "set-up's change": edit,
}
FRESH = ("first shot", "merge into nothing")


def child(act: Act, home: Path, at: int = 0, kind: int = 0, kill_s: float | None = None) -> tuple[int, int]:
    """Exit code (negative: killed) of an act in a child, and how many changes of files it made.

    ``kill_s``: it is killed after that time instead.
    """
    reader, writer = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.environ["FIELDTUNE_PROFILES"] = str(home)
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        shim = ctypes.CDLL(None) if kill_s is None and "LD_PRELOAD" in os.environ else None
        if shim is not None:
            shim.fault_arm(str(home).encode(), ctypes.c_long(at), kind)
        try:
            code = main(act) if isinstance(act, list) else act(home)
        except Exception:
            code = 1
        if shim is not None:
            os.write(writer, str(shim.fault_seen()).encode())
        os._exit(code)
    os.close(writer)
    if kill_s is not None:
        time.sleep(kill_s)
        os.kill(pid, signal.SIGKILL)  # not waited for yet, so the number is still this child's
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


def judge_profiles(act: Act, home: Path, code: int) -> list[str]:
    """What is wrong after a fault in a set-up: half a profile or draft, or an answer lost that was taken before."""
    wrong = []
    drafts = list(home.glob(f"*{DRAFT}"))
    done = (home / "kite.toml").exists() if act is set_up else load_robot("heron", home).launcher.mechanism.grip == 0.71
    if code == 0 and not done:
        wrong.append("said to be saved and isn't")
    for draft in drafts:
        SetUp.resumed(draft)
    if act is not set_up or not done:
        again, _ = child(act, home)
        if again != 0:
            wrong.append(f"stuck, code {again}")
    if act is set_up and load_robot("kite", home).spots[1].distance != 2.8:
        wrong.append("another robot")
    return wrong


def judge(name: str, act: Act, home: Path, before: set[str], code: int, packed: set[str]) -> list[str]:
    """What is wrong after a fault: stuck, lost, doubled, or said to be done and not there."""
    wrong = []
    names = [entry.name for entry in find_profiles(home) if entry.name != "kite"]
    if "heron" not in names or (name != "merge into nothing" and names != ["crane", "heron", "otter"]):
        wrong.append(f"robots {names}")
    load_robot("heron", home)
    if not isinstance(act, list):
        return [*wrong, *judge_profiles(act, home, code), *([] if before <= uids(home) else ["lost"])]
    after = uids(home)
    if not before <= after:
        wrong.append("lost")
    more = packed if name.startswith("merge") else after - before
    if len(more) > (len(packed) if name.startswith("merge") else 1) or (code == 0 and "shot" in name and not more):
        wrong.append(f"{len(more)} more, code {code}")
    if name.startswith("merge") and code == 0 and not packed <= after:
        wrong.append("merged, and not there")
    again, _ = child(act, home)
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


def homes(folder: Path) -> tuple[Path, set[str]]:
    """A home with a log, and the shots of a pack that lies beside it."""
    base, other = folder / "base", folder / "other"
    for home, shots in ((base, 3), (other, 2)):
        for _ in range(shots):
            assert child(SHOT, home)[0] == 0
    assert child(["undo", "heron"], base)[0] == 0
    assert child(["pack", "heron", str(folder / "pack.json")], other)[0] == 0
    answer(SetUp(base), ANSWERS[:-5])
    return base, uids(other)


def begun(name: str, folder: Path, base: Path) -> tuple[Path, Act]:
    """A home as it is before an act, and the act there."""
    home, act = folder / "home", ACTS[name]
    shutil.rmtree(home, ignore_errors=True)
    if name not in FRESH:
        shutil.copytree(base, home)
    return home, [word.format(folder=folder, home=home) for word in act] if isinstance(act, list) else act


def faults(folder: Path) -> dict[str, object]:
    base, packed = homes(folder)
    found: dict[str, object] = {}
    for name in ACTS:
        points, failures = 0, list[str]()
        for fault, kind in FAULTS.items():
            at = 0
            while True:
                at += 1
                home, act = begun(name, folder, base)
                before = uids(home)
                code, seen = child(act, home, at, kind)
                if code >= 0 and seen < at:
                    break  # it made fewer changes than that: every point was met
                points += 1
                assert (code == -signal.SIGKILL) == (kind == 0), (name, fault, at, code)
                wrong = judge(name, act, home, before, code, packed)
                failures += [f"{fault} at {at}: {what}" for what in wrong]
        found[name] = {"points": points, "failures": failures}
    return found


def kills(folder: Path, count: int, seed: int) -> dict[str, object]:
    base, packed = homes(folder)
    chance, found, lasts = random.Random(seed), {name: {"killed": 0, "failures": list[str]()} for name in ACTS}, {}
    for name in ACTS:
        home, act = begun(name, folder, base)
        start = time.monotonic()
        child(act, home)
        lasts[name] = time.monotonic() - start
    done = 0
    while done < count:
        name = chance.choice(list(ACTS))
        home, act = begun(name, folder, base)
        before, moment = uids(home), chance.uniform(0, lasts[name])
        code, _ = child(act, home, kill_s=moment)
        killed = code == -signal.SIGKILL
        lasts[name] *= 1.02 if killed else 0.97  # about as many kills at the end as at the beginning
        done += killed
        found[name]["killed"] += killed  # type: ignore[operator]
        wrong = judge(name, act, home, before, code, packed)
        found[name]["failures"] += [f"after {moment:.4f} s: {what}" for what in wrong]  # type: ignore[operator]
    return dict(found)


if __name__ == "__main__":
    folder, *how_many = sys.argv[1:]
    print(json.dumps(kills(Path(folder), *map(int, how_many)) if how_many else faults(Path(folder))))
