"""One of several at one log: a console, commands, or a merge. Prints each shot that was confirmed, on the disk by then.

Arguments: kind, path of the log, how many acts, seed.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

from fieldtune.errors import StoreError
from fieldtune.records import Epoch, Shot
from fieldtune.store import Store

RESULTS = ("in", "short", "long", "left", "right")


def act(store: Store, chance: random.Random, own: list[int]) -> str | None:
    """One act; the uid of the shot that it confirmed."""
    kind = chance.choices(("shot", "undo", "redo", "correct", "swap", "exclude"), (50, 20, 10, 12, 3, 5))[0]
    if kind == "shot" or not own:
        shot = store.add(chance.uniform(1, 4), 1400.0, chance.choice(RESULTS))
        own.append(shot.shot)
        return shot.uid
    if kind == "undo":
        store.undo()
    elif kind == "redo":
        store.redo()
    elif kind == "correct":
        store.correct(chance.choice(own), chance.choice(RESULTS), None, None)
    elif kind == "swap":
        store.swap(f"battery {chance.randrange(9)}")
    else:
        store.exclude(chance.choice(own), "bounced")
    return None


def main() -> None:
    kind, path, count, seed = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    chance, own = random.Random(seed), []
    if kind == "console":
        store = Store(path)
        store.open_console(f"console {seed}")
    print("ready", flush=True)
    sys.stdin.readline()
    busy = 0
    for number in range(count):
        while True:
            try:
                if kind == "merge":
                    uid = f"merged {number}"
                    shot = Shot(1, uid, "2026-01-01T00:00:00.000Z", 2.0, 1400.0, "in", 1)
                    period = Epoch(1, "2026-01-01T00:00:00.000Z", None, "merged period")
                    here = Store(path)
                    here.merge([shot], [], [period], "another laptop")
                    here.close()
                    said: str | None = uid
                elif kind == "console":
                    said = act(store, chance, own)
                else:  # a process of its own each time
                    here = Store(path)
                    said = act(here, chance, own)
                    here.close()
                break
            except StoreError as error:  # told plainly, and nothing was written
                if "locked" not in str(error):
                    raise
                busy += 1
        if said is not None:
            print(said, flush=True)
    print(f"busy {busy}", flush=True)
    sys.stdin.readline()  # open until all are through: what an ended console did may be undone by commands
    if kind == "console":
        store.close_console()


main()
