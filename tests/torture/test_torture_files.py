"""Files from elsewhere, damaged in every way: packs cut at each byte and flipped in each bit, profiles mutated."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import FieldtuneError, InputError
from fieldtune.robot import check_profile, load_profile
from fieldtune.robot.home import demo_home
from fieldtune.share.pack import Pack, pack, read_pack

pytestmark = pytest.mark.torture
SEED, MUTANTS, LONGEST_S = 20261128, 50_000, 2.0


def taken(path: Path, data: bytes) -> Pack | None:
    path.write_bytes(data)
    try:
        return read_pack(path)
    except InputError:
        return None


def test_every_cut_and_every_flipped_bit_of_a_pack(tmp_path: Path) -> None:
    with Session(load_robot(demo_home() / "otter.toml"), tmp_path / "otter.db") as session:
        session.confirm(1.2, 30.0, "in")
        session.confirm(1.8, 31.0, miss_m=-0.3)
        session.exclude(2, "bounced")
        whole = pack(session, "pit").encode()
    path = tmp_path / "otter.json"
    told = taken(path, whole)
    assert told is not None
    cuts = [n for n in range(len(whole)) if taken(path, whole[:n]) not in (None, told)]
    wrong, same = [], 0
    for bit in range(8 * len(whole)):
        data = bytearray(whole)
        data[bit // 8] ^= 1 << bit % 8
        found = taken(path, bytes(data))
        same += found == told
        if found not in (None, told):
            wrong.append(bit)
    print(f"\npack of {len(whole)} bytes: {len(whole)} cuts, {len(cuts)} taken as another log")
    print(f"{8 * len(whole)} flipped bits, {same} changed nothing, {len(wrong)} taken as another log")
    assert not cuts
    assert not wrong


ODD = ["", "-1", "0", "1e-200", "1e308", "nan", "inf", "true", '"', "[", "]", "{}", "\x00", "\u202e", "9" * 400, "[[]]",
       '"1 m"', '"-1 m"', '"1e-200 m"', '"1 kg"', '"1,5 mm"', "2026-01-01", "'''", "#", "=", "\r",
       "[[spots]]"]  # fmt: skip


def mutated(text: str, chance: random.Random) -> str:
    """One to four changes: characters, values, lines, or parts of another place."""
    lines = text.split("\n")
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(lines))
        line, kind = lines[at], chance.randrange(7)
        if kind == 0 and line:
            k = chance.randrange(len(line))
            lines[at] = line[:k] + chr(chance.choice([chance.randrange(128), chance.randrange(0xD800)])) + line[k + 1 :]
        elif kind == 1 and "=" in line:
            lines[at] = line.split("=")[0] + "= " + chance.choice(ODD)
        elif kind == 2:
            del lines[at]
            lines = lines or [""]
        elif kind == 3:
            lines.insert(at, chance.choice(lines))
        elif kind == 4:
            other = chance.randrange(len(lines))
            lines[at], lines[other] = lines[other], line
        elif kind == 5:
            lines[at] = "".join(str(chance.randrange(10)) if c.isdigit() else c for c in line)
        else:
            k = chance.randrange(len(line) + 1)
            lines[at] = line[:k] + chance.choice(ODD) + line[k:]
    return "\n".join(lines)


def test_mutated_profiles_are_read_or_refused(tmp_path: Path) -> None:
    chance = random.Random(SEED)
    texts = [path.read_text("utf-8") for path in sorted(demo_home().glob("*.toml"))]
    path = tmp_path / "tern.toml"
    foreign: list[tuple[int, str]] = []
    usable, slowest = 0, 0.0
    for number in range(MUTANTS):
        path.write_text(mutated(chance.choice(texts), chance), encoding="utf-8", errors="surrogatepass")
        begun = time.perf_counter()
        try:
            problems = check_profile(path)
            usable += not any(problem.severity == "error" for problem in problems)
            assert all(problem.key.isprintable() or problem.message for problem in problems)
            load_profile(path)
        except FieldtuneError:
            pass
        except Exception as error:
            foreign.append((number, f"{type(error).__name__}: {error}"))
        slowest = max(slowest, time.perf_counter() - begun)
    print(f"\nseed {SEED}: {MUTANTS} mutated profiles, {usable} usable, {len(foreign)} foreign exceptions, "
          f"slowest {slowest:.2f} s")  # fmt: skip
    assert not foreign, foreign[:5]
    assert slowest < LONGEST_S
