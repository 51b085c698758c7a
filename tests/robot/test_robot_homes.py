"""Which folder serves, how a name finds its profile, and where the shots of a demonstration robot go."""

from __future__ import annotations

import errno
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from fieldtune import load_robot
from fieldtune.errors import InputError, OutputError, UnknownRobotError
from fieldtune.robot import claim_profile, demo_home, find_profiles, is_demo, new_profile_text, profile_home, store_path
from fieldtune.robot import home as home_module

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty folder, no variable set, and a user data folder of the test's own."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    monkeypatch.delenv("FIELDTUNE_PROFILES", raising=False)
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(tmp_path / "data"))


def put(folder: Path, name: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.toml"
    path.write_text(new_profile_text(name, "flywheel"), encoding="utf-8")
    return path


def test_the_home_is_the_first_of_four(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert profile_home() == tmp_path / "data" / "profiles"
    Path("profiles").mkdir()
    assert profile_home() == Path("profiles")
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(tmp_path / "told"))
    assert profile_home() == tmp_path / "told"
    assert profile_home(tmp_path / "given") == tmp_path / "given"


def test_demonstrations_serve_an_empty_home_only(tmp_path: Path) -> None:
    assert [(entry.name, entry.demo) for entry in find_profiles()] == [
        ("crane", True), ("egret", True), ("heron", True), ("otter", True)
    ]  # fmt: skip
    put(tmp_path / "data" / "profiles", "tern")
    assert [(entry.name, entry.demo) for entry in find_profiles()] == [("tern", False)]


def test_files_that_can_be_no_profile_are_passed_over(tmp_path: Path) -> None:
    folder = tmp_path / "data" / "profiles"
    put(folder, "tern")
    (folder / "tern.db").touch()
    (folder / "Notes.toml").touch()
    (folder / "dir.toml").mkdir()
    assert [entry.name for entry in find_profiles()] == ["tern"]


def test_an_unknown_name_lists_the_known_ones(tmp_path: Path) -> None:
    with pytest.raises(
        UnknownRobotError, match=r'no robot "herron" \(did you mean "heron"\?\); .*: crane, egret, heron, otter'
    ):
        load_robot("herron")
    with pytest.raises(UnknownRobotError, match='no robot ""'):
        load_robot("")


def test_a_robot_by_name_or_by_path(tmp_path: Path) -> None:
    path = put(tmp_path / "mine", "tern")
    assert load_robot("tern", tmp_path / "mine").name == "tern"
    assert load_robot(path) == load_robot(str(path))
    assert store_path(load_robot(path)) == tmp_path / "mine" / "tern.db"


def test_the_first_shot_of_a_demonstration_moves_home(tmp_path: Path) -> None:
    robot, home = load_robot("heron"), tmp_path / "data" / "profiles"
    assert is_demo(robot)
    assert store_path(robot) == home / "heron.db"
    assert not home.exists()
    assert claim_profile(robot) == home / "heron.toml"
    assert (home / "heron.toml").read_bytes() == (demo_home() / "heron.toml").read_bytes()
    again = load_robot("heron")
    assert not is_demo(again)
    assert store_path(again) == store_path(robot)
    assert [entry.name for entry in find_profiles()] == ["crane", "egret", "heron", "otter"]  # the others stay in reach


def test_a_profile_of_the_users_own_is_never_written_over(tmp_path: Path) -> None:
    robot = load_robot("heron")
    home = tmp_path / "data" / "profiles"
    home.mkdir(parents=True)
    (home / "heron.toml").write_text("mine", encoding="utf-8")
    claim_profile(robot)
    assert (home / "heron.toml").read_text("utf-8") == "mine"


def test_a_home_left_half_made_is_finished_on_the_next_start(tmp_path: Path) -> None:
    """As a kill leaves it: the mark, one profile of three, and one that is empty where a disk knows no second names."""
    robot, home = load_robot("heron"), tmp_path / "data" / "profiles"
    claim_profile(robot)
    whole = {path.name: path.read_bytes() for path in home.iterdir()}
    (home / "otter.toml").unlink()
    (home / "crane.toml").write_bytes(b"")
    (home / home_module._COPYING).touch()
    assert [entry.name for entry in find_profiles()] == ["crane", "egret", "heron", "otter"]
    assert {path.name: path.read_bytes() for path in home.iterdir()} == whole


def test_a_half_made_home_that_cant_be_written_lends_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "data" / "profiles"
    claim_profile(load_robot("heron"))
    (home / "otter.toml").unlink()
    (home / home_module._COPYING).touch()
    monkeypatch.setattr(home_module, "place_whole", _full)
    assert [(entry.name, entry.demo) for entry in find_profiles()] == [
        ("crane", False), ("egret", False), ("heron", False), ("otter", True)
    ]  # fmt: skip


def _full(path: Path, data: bytes) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_home_that_cant_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file stands where the folder should be", encoding="utf-8")
    with pytest.raises(OutputError, match="can't be made"):
        claim_profile(load_robot("heron"))


@pytest.mark.parametrize("name", ["Heron", "", "a b", "../x", "x" * 33, "-x"])
def test_names_that_cant_be_are_refused(name: str) -> None:
    with pytest.raises(InputError, match="expected a robot's name"):
        new_profile_text(name, "flywheel")


def test_a_kind_that_cant_be_is_refused() -> None:
    with pytest.raises(InputError, match='did you mean "striker"'):
        new_profile_text("tern", "stricker")


def test_every_folder_with_code_is_in_the_built_package() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    folders = {path.parent.relative_to(ROOT) for path in (ROOT / "fieldtune").rglob("*.py")}
    assert set(settings["packages"]) == {".".join(folder.parts) for folder in folders} | {"fieldtune.profiles"}
    assert settings["package-dir"] == {"fieldtune.profiles": "profiles"}


@pytest.mark.slow
def test_an_installed_wheel_finds_its_demonstrations(tmp_path: Path) -> None:
    """Builds the wheel, unpacks it as pip does and asks it from an empty folder; needs the package registry."""
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", tmp_path, ROOT], check=True)
    (wheel,) = tmp_path.glob("*.whl")
    subprocess.run([*pip, "install", "--no-deps", "--target", tmp_path / "site", wheel], check=True)
    carried = sorted(path.name for path in (tmp_path / "site" / "fieldtune" / "profiles").iterdir())
    assert carried == ["crane.toml", "egret.toml", "heron.toml", "otter.toml"]
    code = "import sys; sys.path.insert(0, sys.argv[1]); import fieldtune as f; print(f.load_robot('heron').path)"
    words = [sys.executable, "-I", "-c", code, str(tmp_path / "site")]
    said = subprocess.run(words, check=True, capture_output=True, text=True, cwd=tmp_path / "here")
    assert Path(said.stdout.strip()) == tmp_path / "site" / "fieldtune" / "profiles" / "heron.toml"
