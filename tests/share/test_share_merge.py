"""Merging logs of several laptops, on real files: commutative, associative, idempotent, nothing lost, nothing twice."""

from __future__ import annotations

import itertools
import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldtune import Session, load_robot
from fieldtune.robot.home import demo_home
from fieldtune.share.merge import merge
from fieldtune.share.pack import pack
from fieldtune.share.read_pack import read_pack
from fieldtune.store import Store

HERON = load_robot(demo_home() / "heron.toml")
ODD = 'it "hit" \\ ü 🎯'
STEP = st.one_of(
    st.tuples(st.just("add"), st.floats(0.5, 5, allow_nan=False), st.sampled_from(["in", "short", "left"])),
    st.tuples(st.sampled_from(["undo", "redo"]), st.just(0), st.just("")),
    st.tuples(st.just("correct"), st.integers(1, 6), st.sampled_from(["in", "short", "left"])),
    st.tuples(st.sampled_from(["exclude", "include"]), st.integers(1, 6), st.sampled_from(["bounced", ODD])),
    st.tuples(st.just("swap"), st.just(0), st.sampled_from(["B", "C"])),
    st.tuples(st.just("battery"), st.floats(0.01, 0.5), st.just("")),
)  # fmt: skip
STEPS = st.lists(STEP, max_size=7)
QUICK = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


class World:
    """Laptops with logs in one folder. All clocks stand still and tick seldom, so that many things share a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._numbers = itertools.count()
        self._time = datetime(2026, 3, 1, tzinfo=UTC)

    def _clock(self) -> datetime:
        self._time += timedelta(milliseconds=next(self._numbers) % 3 == 0)
        return self._time

    def laptop(self, steps: list[tuple[str, Any, str]], of: Session | None = None) -> Session:
        """A new log, with what another already holds, and what then happens on this laptop."""
        session = Session(HERON, Store(self.folder / f"{next(self._numbers)}.db", self._clock))
        if of is not None:
            self.pour(of, session)
        for step in steps:
            _do(session, *step)
        return session

    def pour(self, source: Session, into: Session) -> None:
        path = self.folder / f"{next(self._numbers)}.json"
        path.write_text(pack(source, "other"), encoding="utf-8")
        merge(into, read_pack(path))

    def together(self, *sources: Session) -> Session:
        """A fresh log with those of the sources, poured in that order."""
        session = self.laptop([])
        for source in sources:
            self.pour(source, session)
        return session


def _do(session: Session, kind: str, value: Any, word: str) -> None:
    store, shots = session.log, session.log.shots()
    if kind == "add":
        store.add(value, 1000 + 100 * value, word, miss_m=None if word == "left" else -0.1)
    elif kind in ("undo", "redo"):
        getattr(session, kind)()
    elif kind == "correct" and value <= len(shots):
        store.correct(value, word, None, None)
    elif kind == "exclude" and value <= len(shots):
        store.exclude(value, word)
    elif kind == "include" and value <= len(shots):
        store.include(value)
    elif kind == "swap":
        session.swap(word)
    elif kind == "battery":
        store.add_battery(word or None, value, 12.9)


def content(session: Session) -> dict[str, Any]:
    """All that counts, by uid: numbers and origins are each copy's own."""
    epochs = {epoch.epoch: epoch.uid for epoch in session.log.epochs()}
    return {
        "shots": {
            shot.uid: (replace(shot, shot=0, epoch=0, origin=None), epochs[shot.epoch]) for shot in session.log.shots()
        },
        "epochs": {epoch.uid: (epoch.time, epoch.label) for epoch in session.log.epochs()},
        "marks": set(session.log.marks()),
        "batteries": set(session.log.batteries()),
    }


@contextmanager
def worlds() -> Iterator[World]:
    folder = Path(tempfile.mkdtemp())
    try:
        yield World(folder)
    finally:
        shutil.rmtree(folder)


@QUICK
@given(STEPS, STEPS, STEPS)
def test_merging_is_commutative_and_loses_nothing(base: Any, left: Any, right: Any) -> None:
    with worlds() as world:
        shared = world.laptop(base)
        a, b = world.laptop(left, shared), world.laptop(right, shared)
        before = content(a), content(b)
        world.pour(a, b)
        world.pour(world.together(a), a)  # its own pack brings nothing
        assert content(a) == before[0]
        back = world.laptop([], None)
        world.pour(b, a)
        world.pour(a, back)
        assert content(a) == content(b) == content(back)
        for key in ("shots", "epochs", "batteries", "marks"):
            assert set(content(a)[key]) == set(before[0][key]) | set(before[1][key])
        if any(kind == "redo" for kind, _, _ in (*left, *right)):
            return  # then the later word counts, whoever said it
        undone = [{uid for uid, (shot, _) in side["shots"].items() if shot.undone} for side in (*before, content(a))]
        assert undone[2] == undone[0] | undone[1]


@QUICK
@given(STEPS, STEPS, STEPS)
def test_merging_is_associative_and_idempotent(first: Any, second: Any, third: Any) -> None:
    with worlds() as world:
        a, b, c = world.laptop(first), world.laptop(second), world.laptop(third)
        one = world.together(world.together(a, b), c)
        other = world.together(a, world.together(c, b))
        assert content(one) == content(other)
        again = content(one)
        world.pour(a, one)
        world.pour(other, one)
        assert content(one) == again


def test_the_last_mark_holds_in_every_order(tmp_path: Path) -> None:
    """Two laptops mark one shot within the same millisecond: every copy settles on the same one."""
    world = World(tmp_path)
    shared = world.laptop([("add", 2.0, "in")])
    world._clock = lambda: datetime(2026, 3, 2, tzinfo=UTC)  # type: ignore[method-assign]
    for _ in range(8):
        a = world.laptop([("exclude", 1, "bounced")], shared)
        b = world.laptop([("include", 1, "")], shared)
        assert content(world.together(a, b)) == content(world.together(b, a))
    twice = world.laptop([("exclude", 1, "bounced"), ("include", 1, ""), ("exclude", 1, "again")], shared)
    assert twice.log.shots()[0].excluded == "again"


def test_a_log_goes_on_in_the_epoch_of_the_pack(tmp_path: Path) -> None:
    world = World(tmp_path)
    a, b = world.laptop([("add", 1.0, "in")]), world.laptop([("add", 1.0, "in"), ("swap", 0, "B")])
    world.pour(b, a)  # a goes on in its own epoch, which is not the newest in its log
    here = {epoch.epoch: epoch.uid for epoch in a.log.epochs()}
    fresh = world.together(a)
    assert {epoch.epoch: epoch.uid for epoch in fresh.log.epochs()}[fresh.log.epoch] == here[a.log.epoch]


# -- the commands -----------------------------------------------------------------------------------------------------

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def pack_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A pack of a robot with two shots, one taken back."""
    with Session(load_robot(demo_home() / "otter.toml"), tmp_path_factory.mktemp("pit") / "otter.db") as session:
        session.confirm(1.8, 30.0, "in")
        session.confirm(1.8, 30.0, miss_m=-0.3)
        session.undo()
        return pack(session, "pit")


def without_digest(text: str) -> str:
    """As an older fieldtune wrote it, so that what lies below the digest is tested."""
    values = json.loads(text)
    for key in ("digest", "profile_check"):
        del values[key]
    for section in ("epochs", "shots", "marks", "batteries"):
        for entry in values[section]:
            del entry["check"]
    return json.dumps(values)


@pytest.fixture
def packed(pack_text: str, tmp_path: Path) -> Path:
    path = tmp_path / "otter.json"
    path.write_text(pack_text, encoding="utf-8")
    return path


def test_a_pack_makes_the_robot_known_elsewhere(run: Run, home: Path, packed: Path) -> None:
    ran = run("merge", packed, "--json")
    assert (ran.code, ran.json["shots"], ran.json["marks"], ran.json["profile"]) == (0, 2, 1, "written")
    assert (home / "otter.toml").read_bytes() == (demo_home() / "otter.toml").read_bytes()
    assert [shot["undone"] for shot in run("shots", "otter", "--json").json["shots"]] == [False, True]
    assert run("merge", packed, "--json").json["shots"] == 0
    assert "0 new shots" in run("merge", packed).out
    assert len(run("shots", "otter", "--json").json["shots"]) == 2


def test_a_profile_that_differs_is_shown_and_kept(run: Run, home: Path, packed: Path) -> None:
    home.mkdir()
    own = (demo_home() / "otter.toml").read_text("utf-8").replace("friction = 0.22 ", "friction = 0.31 ", 1)
    (home / "otter.toml").write_text(own, encoding="utf-8")
    ran = run("merge", packed, "--json").json
    assert ran["profile"] == "differs"
    changed = [line for line in ran["difference"] if line[0] in "+-" and line[:3] not in ("+++", "---")]
    assert [line[:16] for line in changed] == ["-friction = 0.31", "+friction = 0.22"]
    assert (home / "otter.toml").read_text("utf-8") == own
    assert "friction = 0.31" in run("merge", packed).out


def _edit(**changes: Any) -> Callable[[str], str]:
    return lambda text: json.dumps({**json.loads(text), **changes})


def _in_shot(**changes: Any) -> Callable[[str], str]:
    def edit(text: str) -> str:
        values = json.loads(text)
        values["shots"][1].update(changes)
        return json.dumps(values)

    return edit


BAD: list[tuple[Callable[[str], str], str]] = [
    (lambda text: text[: len(text) // 2], "copy it again"),
    (lambda text: "", "not JSON"),
    (lambda text: "[1, 2]", "not a pack"),
    (lambda text: "{}", "not a pack"),
    (lambda text: "[" * 100_000, "nested too deeply"),
    (lambda text: text.replace('"robot"', '"robot": "x",\n"robot"', 1), '"robot" stands twice'),
    (lambda text: text.replace('"distance_m": 1.8', '"distance_m": 1.8, "distance_m": 2.8', 1), "stands twice"),
    (lambda text: text.replace('"distance_m": 1.8', '"distance_m": NaN', 1), "no number"),
    (lambda text: text.replace('"distance_m": 1.8', '"distance_m": 1e999', 1), "distance_m"),
    (lambda text: text.replace('"distance_m": 1.8', f'"distance_m": {"9" * 400}', 1), ""),
    (lambda text: text.replace('"distance_m": 1.8', f'"distance_m": {"9" * 5000}', 1), ""),
    (_edit(version=3), "newer fieldtune"),
    (_edit(version="1"), "version"),
    (_edit(version=0), "version"),
    (_edit(robot="../otter"), "robot"),
    (_edit(robot=7), "robot"),
    (_edit(profile=["format = 1", "oops"]), "profile"),
    (_edit(profile="text"), "profile"),
    (_edit(epochs=[]), "epoch 1 isn't in the pack"),
    (_edit(shots=[]), "on something that isn't"),
    (_edit(extra=1), "extra"),
    (_in_shot(distance_m="1.8 m"), "shots[1].distance_m"),
    (_in_shot(distance_m=-1), "shots[1].distance_m"),
    (_in_shot(setpoint=0), "setpoint"),
    (_in_shot(result="hit"), "result"),
    (_in_shot(time="yesterday"), "time"),
    (_in_shot(time="2026-02-31T00:00:00.000Z"), "time"),
    (_in_shot(uid=""), "uid"),
    (_in_shot(colour="red"), "colour"),
    (_in_shot(target="upper"), '"upper"'),
    (_in_shot(origin="\x1b[2J"), "origin"),
    (_in_shot(origin="\ud800"), "half a letter"),
    (_in_shot(shot=10**400), "shots[1].shot"),
    (_in_shot(epoch=10**400), "shots[1].epoch"),
]


@pytest.mark.parametrize("number", range(len(BAD)))
def test_a_bad_pack_is_refused_whole(number: int, fails: Callable[..., str], home: Path, packed: Path) -> None:
    edit, says = BAD[number]
    packed.write_text(edit(without_digest(packed.read_text("utf-8"))), encoding="utf-8")
    line = fails("merge", packed)
    assert says in line
    assert len(line) < 400
    assert not home.exists() or not list(home.iterdir())


def test_other_bad_files(fails: Callable[..., str], run: Run, home: Path, packed: Path, tmp_path: Path) -> None:
    assert "no such file" in fails("merge", tmp_path / "none.json")
    assert "is a folder" in fails("merge", tmp_path)
    binary = tmp_path / "b.json"
    binary.write_bytes(b"\xff\x00\xfe")
    assert "not UTF-8" in fails("merge", binary)
    assert "--force" in fails("pack", "otter", packed)
    assert run("pack", "otter", packed, "--force").code == 0
    assert json.loads(packed.read_text("utf-8"))["shots"] == []
    assert "robot otter, not of heron" in fails("merge", packed, "--robot", "heron")


def test_another_robot_of_the_same_name(fails: Callable[..., str], home: Path, packed: Path) -> None:
    home.mkdir()
    shutil.copyfile(demo_home() / "heron.toml", home / "otter.toml")
    assert "another robot of the same name" in fails("merge", packed)
    assert [path.name for path in home.iterdir()] == ["otter.toml"]


def test_an_edited_shot_is_refused_and_nothing_of_the_pack_kept(
    fails: Callable[..., str], run: Run, home: Path, packed: Path
) -> None:
    run("merge", packed)
    values = json.loads(without_digest(packed.read_text("utf-8")))
    values["shots"].insert(0, {**values["shots"][0], "uid": "new", "shot": 9})
    values["shots"][2]["setpoint"] = 44.0
    packed.write_text(json.dumps(values), encoding="utf-8")
    assert "other figures" in fails("merge", packed)
    assert len(run("shots", "otter", "--json").json["shots"]) == 2


def test_reading_takes_what_packing_wrote(tmp_path: Path) -> None:
    world = World(tmp_path)
    a = world.laptop([("add", 1.0, "in"), ("exclude", 1, ODD)])
    path = tmp_path / "p.json"
    path.write_text(pack(a, "Bo's\nlaptop\x07"), encoding="utf-8")
    found = read_pack(path)
    assert found.by == "Bo's laptop"
    assert found.profile == (demo_home() / "heron.toml").read_text("utf-8")
    assert found.marks == a.log.marks()
