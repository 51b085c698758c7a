"""Random keys in bursts on the program as it is started: on a real terminal, a real log and a simulated robot.

FIELDTUNE_MONKEY_KEYS and FIELDTUNE_MONKEY_SEED set how many keys, and which.
"""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import numpy as np
import pytest
from terminal import Terminal

from fieldtune.console import keys
from fieldtune.store import Store

_BYTES = {
    "left": "\x1b[D", "right": "\x1b[C", "up": "\x1b[A", "down": "\x1b[B", "escape": "\x1b", "enter": "\r",
    "f1": "\x1bOP", "question_mark": "?", "backspace": "\x7f", "delete": "\x1b[3~", "home": "\x1b[H", "end": "\x1b[F",
    "tab": "\t", "pagedown": "\x1b[6~", "plus": "+", "minus": "-",
}  # fmt: skip
_TYPED = [*"1234567890.,- mftao+p/", "enter", "enter", "backspace", "delete", "home", "end", "tab", "pagedown"]
_BAD = re.compile(r"did not work|failed:|Traceback|Error\b")
_MOST_GROWTH_MB = 12.0
"""Between the second and the last quarter of the keys, in the middle of what is measured there: it goes up and down by
far more while something is worked out."""


def resident_mb(process: int) -> float:
    """Resident memory of a running program."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.parametrize(
    "keys_pressed", [pytest.param(5_000, marks=pytest.mark.slow), pytest.param(20_000, marks=pytest.mark.torture)]
)
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_thousands_of_random_keys_on_the_real_console(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keys_pressed: int
) -> None:
    monkeypatch.chdir(tmp_path)  # where the console exports to
    count = int(os.environ.get("FIELDTUNE_MONKEY_KEYS", keys_pressed))
    seed = int(os.environ.get("FIELDTUNE_MONKEY_SEED", "1"))
    rng = np.random.default_rng(seed)
    bound = [key for _, group in keys.GROUPS for binding in group for key in binding.key.split(",")]
    known = [key for key in bound if key not in ("q", "ctrl+q")]
    views = [binding.key for binding in keys.VIEWS]
    with Terminal("console", "heron", "--port", "sim://heron", profiles=tmp_path, columns=100, rows=30) as terminal:
        terminal.wait("Before anything turns")
        terminal.press("\r")
        terminal.wait("Good range")
        done, memory, slowest = 0, {}, 0.0
        while done < count:
            for key in views:  # so that none is left out, also where only few keys lead to it
                burst = [key, *map(str, rng.choice(known + _TYPED, rng.integers(1, 12)))]
                terminal.press("".join(_BYTES.get(name, name) for name in burst))
                done += len(burst)
                time.sleep(float(rng.choice([0.0, 0.02, 0.15])))
                said = _BAD.search(terminal.text)
                assert said is None, f"seed {seed}, after {done} keys, {burst}:\n{terminal.text}"
            slowest = max(slowest, _comes_back(terminal))
            memory[done] = resident_mb(terminal.process.pid)
        second, last = (_typical(memory, count * a, count * b) for a, b in ((0.25, 0.5), (0.75, 9.0)))
        said = ", ".join(f"{mb:.0f}" for _, mb in sorted(memory.items())[:: max(1, len(memory) // 12)])
        print(f"\nseed {seed}, {done} keys: resident {said} MB; second quarter {second:.0f}, last {last:.0f} MB")
        print(f"longest way back to the main screen and to the help page {slowest:.1f} s")
        terminal.press("q", "n")
        assert terminal.process.wait(30) == 0
        assert "Traceback" not in terminal.settled()
        assert last - second < _MOST_GROWTH_MB
    with_log = Store(tmp_path / "heron.db")
    print(f"{len(with_log.shots())} shots in the log, {len(with_log.marks())} marks")


def _typical(memory: dict[int, float], first: float, last: float) -> float:
    return float(np.median([mb for keys, mb in memory.items() if first <= keys <= last]))


def _comes_back(terminal: Terminal) -> float:
    """Whatever was open, Escape leads back to the main screen, which answers; how long that took, seconds."""
    start = time.monotonic()
    for _ in range(4):
        terminal.press("\x1b")
        time.sleep(0.05)
    terminal.wait(r"(?s)From |Distance unknown", 20)
    terminal.press("?")
    terminal.wait("After a shot, on every screen", 20)
    terminal.press("\x1b")
    terminal.wait(r"(?s)From |Distance unknown", 20)
    return time.monotonic() - start
