"""A damaged pack is refused, and on request its sound shots are merged: never another log in silence."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import InputError
from fieldtune.robot.home import demo_home
from fieldtune.share.pack import Pack, pack, read_pack

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    with Session(load_robot(demo_home() / "otter.toml"), tmp_path_factory.mktemp("pit") / "otter.db") as session:
        for k in range(6):
            session.confirm(1.2 + 0.1 * k, 30.0 + k, ("in", "short", "left")[k % 3])
        session.exclude(2, "bounced")
        session.swap("B")
        session.confirm(1.9, 31.0, miss_m=-0.3)
        session.undo()
        return pack(session, "pit").encode()


def read(folder: Path, data: bytes, sound_only: bool = False) -> Pack | None:
    path = folder / "otter.json"
    path.write_bytes(data)
    try:
        return read_pack(path, sound_only)
    except InputError:
        return None


def test_a_flipped_bit_is_noticed_or_changes_nothing(whole: bytes, tmp_path: Path) -> None:
    """A sample here; every bit in the torture suite."""
    told, chance = read(tmp_path, whole), random.Random(5)
    for bit in chance.sample(range(8 * len(whole)), 400):
        data = bytearray(whole)
        data[bit // 8] ^= 1 << bit % 8
        assert read(tmp_path, bytes(data)) in (None, told), bit


def test_other_line_ends_are_no_damage(whole: bytes, tmp_path: Path) -> None:
    assert read(tmp_path, whole.replace(b"\n", b"\r\n")) == read(tmp_path, whole)
    assert read(tmp_path, b"\xef\xbb\xbf" + whole) == read(tmp_path, whole)


@pytest.mark.parametrize("place", [b'"setpoint": 32.0', b'"setpoint": 34.0'])
def test_one_damaged_shot_is_left_out_on_request(
    place: bytes, whole: bytes, run: Run, home: Path, tmp_path: Path
) -> None:
    path = tmp_path / "otter.json"
    path.write_bytes(whole.replace(place, place[:-4] + b"9.0 "))
    refused = run("merge", path)
    assert refused.code == 2
    assert "--sound-only" in refused.err
    assert not home.exists()
    found = run("merge", path, "--sound-only", "--json").json
    sound = read(tmp_path, whole)
    assert sound is not None
    assert found["shots"] == len(sound.shots) - 1
    assert found["left_out"] >= 1
    kept = {shot["setpoint"] for shot in run("shots", "otter", "--json").json["shots"]}
    assert float(place.split()[1]) not in kept
    assert 9.0 not in kept


def test_what_is_no_json_any_more_is_read_line_by_line(whole: bytes, tmp_path: Path) -> None:
    lines = whole.split(b"\n")
    at = next(k for k, line in enumerate(lines) if b'"setpoint": 33.0' in line)
    lines[at] = lines[at][:40]
    data = b"\n".join(lines)
    assert read(tmp_path, data) is None
    found, sound = read(tmp_path, data, sound_only=True), read(tmp_path, whole)
    assert found is not None
    assert sound is not None
    assert [shot for shot in sound.shots if shot.setpoint != 33.0] == list(found.shots)


def test_without_its_profile_nothing_is_taken(whole: bytes, tmp_path: Path) -> None:
    data = whole.replace(b"friction = 0.", b"friction = 1.", 1)
    assert data != whole
    assert read(tmp_path, data, sound_only=True) is None


def test_a_pack_of_an_older_fieldtune_has_no_digest(whole: bytes, tmp_path: Path) -> None:
    values = json.loads(whole)
    del values["digest"]
    assert read(tmp_path, json.dumps(values).encode()) == read(tmp_path, whole)
