"""Shot logs damaged in bits, bytes, sectors and stretches: refused, read as they were, or what is gone is named."""

from __future__ import annotations

import random
import shutil
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import StoreError
from fieldtune.robot.home import demo_home
from fieldtune.store import Store

pytestmark = pytest.mark.torture
SEED, DAMAGED, LONGEST_S, SECTOR = 20261128, 6_000, 5.0, 512


def bit(data: bytearray, at: int, chance: random.Random) -> None:
    data[at] ^= 1 << chance.randrange(8)


def byte(data: bytearray, at: int, chance: random.Random) -> None:
    data[at] = chance.randrange(256)


def sector(data: bytearray, at: int, _: random.Random) -> None:
    start = at - at % SECTOR
    data[start : start + SECTOR] = bytes(SECTOR)


def stretch(data: bytearray, at: int, chance: random.Random) -> None:
    length = min(chance.randrange(1, 40), len(data) - at)
    data[at : at + length] = chance.randbytes(length)


def cut(data: bytearray, at: int, _: random.Random) -> None:
    del data[at:]


DAMAGE: tuple[Callable[[bytearray, int, random.Random], None], ...] = (bit, byte, sector, stretch, cut)


def log(path: Path) -> bytes:
    with Session(load_robot(demo_home() / "otter.toml"), path) as session:
        for number in range(14):
            missed = {"miss_m": -0.2} if number % 3 == 0 else {"result": "in"}
            session.confirm(1.2 + 0.1 * number, 30.0 + number, **missed)
            if number == 4:
                session.exclude(2, "bounced")
            if number == 6:
                session.swap("red")
            if number == 8:
                session.correct(3, "short")
            if number == 10:
                session.undo()
            if number == 11:
                session.log.add_battery("red", 0.1, 12.6)
    return path.read_bytes()


def read(path: Path) -> tuple[tuple[object, ...], tuple[str, ...]]:
    store = Store(path)
    try:
        return (store.shots(), store.marks(), store.epochs(), store.epoch, store.batteries()), store.damaged()
    finally:
        store.close()


def test_no_damaged_log_is_read_with_other_shots_in_silence(tmp_path: Path) -> None:
    whole = log(tmp_path / "otter.db")
    good, nothing = read(tmp_path / "otter.db")
    assert not nothing
    written = [at for at, value in enumerate(whole) if value]
    chance, found, slowest, changed, silent = random.Random(SEED), Counter[str](), 0.0, 0, []
    for number in range(DAMAGED):
        data, at = bytearray(whole), chance.choice(written)
        DAMAGE[number % len(DAMAGE)](data, at, chance)
        folder = tmp_path / "damaged"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        (folder / "otter.db").write_bytes(data)
        started = time.monotonic()
        try:
            held, told = read(folder / "otter.db")
        except StoreError as error:
            found["refused in one line" if "\n" not in str(error) else "refused in several"] += 1
            changed += (folder / "otter.db").read_bytes() != data
        else:
            same = held == good
            found["read as it was" if same else "read, the damage named" if told else "read otherwise in silence"] += 1
            if not same and not told:
                silent.append((DAMAGE[number % len(DAMAGE)].__name__, at))
        slowest = max(slowest, time.monotonic() - started)
    print(f"\nseed {SEED}: {DAMAGED} damaged logs of {len(whole)} bytes: {dict(found)}; slowest {slowest:.2f} s")
    assert silent == []
    assert not found["refused in several"]
    assert not changed  # what is refused is left as it was
    assert slowest < LONGEST_S
