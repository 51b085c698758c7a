"""A robot set up by answers alone: values kept with their comments, nonsense refused in words, nothing ever lost."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldtune import load_robot
from fieldtune.console.typed import read_distance, read_miss
from fieldtune.errors import FieldtuneError
from fieldtune.setup.profile_text import ProfileText
from fieldtune.setup.set_up import DRAFT, SetUp

FLYWHEEL = (
    "kite", "flywheel", "sphere", "58", "40", "smooth", "2", "88", None, "", "52", None, "38", "yes", "speed", "2",
    "9.6", "6100", "0.125", "9.5", "0.5", "22:33 20:28", "nimh", "8", None, "yes", "96", "motor", "basket", "95", "36",
    "600", "2500", "10", "near line 1.8", "far line 2.8 m", "",
)  # fmt: skip
STRIKER = (
    "plover", "striker", "disc", "90", "18", "75", "strike", "120", "0.9", "4", "18", "8", "52", "no", None, "zone",
    "40 x 50", "0.22", "8", "52", "0.5", "1.0", "2.4", "",
)  # fmt: skip
ARM = (
    "stork", "arm", "sphere", "58", "40", "felt", "40", "0.012", "45", "70", "20", "3", "15", "60", "no", None,
    "window", "1.1 m", "60 x 50", "150", "600", "2", "1.5", "2.5", "",
)  # fmt: skip
NONSENSE = (
    "",
    " ",
    "💥",
    "x" * 10_000,
    "\x1b[31m",
    "12 parsecs",
    "[bold]",
    "1e999",
    "-",
    "'; drop",
    "5 V A W",
    "nan m",
)


def answered(home: Path, texts: tuple[str | None, ...], us: bool = False) -> SetUp:
    made = SetUp(home, us)
    for text in texts:
        asked = made.here
        assert asked is not None
        reply = made.skip() if text is None else made.answer(text)
        assert reply.taken, (asked.key, text, reply)
    return made


@pytest.mark.parametrize(("texts", "kind"), [(FLYWHEEL, "flywheel"), (STRIKER, "striker"), (ARM, "arm")])
def test_answers_make_a_profile_with_its_comments(tmp_path: Path, texts: tuple[str | None, ...], kind: str) -> None:
    made = answered(tmp_path, texts)
    assert made.here is None
    path = made.finish()
    robot = load_robot(path)
    assert robot.launcher.mechanism.kind == kind
    assert robot.element.mass == pytest.approx(0.075 if kind == "striker" else 0.040)
    assert [round(spot.distance, 3) for spot in robot.spots] == {
        "flywheel": [1.8, 2.8], "striker": [1.0, 2.4], "arm": [1.5, 2.5],
    }[kind]  # fmt: skip
    assert (robot.battery is None) == (kind != "flywheel")
    text = path.read_text()
    assert "# kitchen scale: weigh ten, divide by ten" in text
    assert not (tmp_path / f"{texts[0]}{DRAFT}").exists()


def test_a_hood_is_two_angles(tmp_path: Path) -> None:
    """Its table stands in the profile as a comment until someone has one."""
    made = answered(tmp_path, (*FLYWHEEL[:11], "38", "66", *FLYWHEEL[12:]))
    robot = load_robot(made.finish())
    assert robot.hood is not None
    assert (robot.hood.low, robot.hood.high, robot.hood.step) == (38, 66, 1)
    again = answered(tmp_path, ("ruff", *FLYWHEEL[1:11]))
    assert again.here is not None
    assert again.here.key == "hood.low"
    assert again.answer("60").taken is False  # steeper than the exit angle just given
    assert load_robot(answered(tmp_path, ("knot", *FLYWHEEL[1:])).finish()).hood is None


def test_us_units_as_typed(tmp_path: Path) -> None:
    made = SetUp(tmp_path, us=True)
    for text in ("kite", "flywheel", "sphere"):
        made.answer(text)
    assert made.preview("2.3") == "2.3 in = 58.4 mm"
    assert made.answer("2.3").said == "2.3 in = 58.4 mm"
    assert made.answer("1.4").said == "1.4 oz = 39.69 g"
    assert made.profile is not None
    assert made.profile.value("element.diameter") == "2.3 in"


def test_what_was_probably_meant_is_offered(tmp_path: Path) -> None:
    made = answered(tmp_path, FLYWHEEL[:-3])
    reply = made.answer("240")
    assert not reply.taken
    assert reply.offer == "240 cm"
    assert "did you mean 240 cm?" in reply.said
    assert made.answer(reply.offer).taken
    assert made.answer("far line 280").offer == "far line 280 cm"


@pytest.mark.parametrize(
    ("typed", "metres"), [("7'10\"", 2.3876), ("7 ft 10 in", 2.3876), ("95", 0.95), ("37.5 in", 0.9525)]
)
def test_feet_and_inches_are_understood(tmp_path: Path, typed: str, metres: float) -> None:
    made = answered(tmp_path, FLYWHEEL[:29])
    assert made.here is not None
    assert made.here.key == "target.height"
    assert made.answer(typed).taken
    assert made.profile is not None
    robot, _ = made.profile.check()
    assert robot is not None
    assert robot.targets[0].height == pytest.approx(metres)


def test_skipped_means_wide(tmp_path: Path) -> None:
    made = answered(tmp_path, (*FLYWHEEL[:7], None, *FLYWHEEL[8:10], None, *FLYWHEEL[11:]))
    text = made.finish().read_text()
    robot = load_robot(tmp_path / "kite.toml")
    assert robot.uncertainty.grip == pytest.approx(0.25)
    assert robot.uncertainty.exit_angle == pytest.approx(0.1396, abs=1e-3)
    assert text.count("(not measured)") == 2
    made = SetUp(tmp_path, profile=ProfileText.at(tmp_path / "kite.toml"), editing=True)
    unknown = [one.key for one in made.all if not made.answered(one)]
    assert unknown == ["launcher.wheel_diameter", "launcher.exit_angle"]
    made.go_to("launcher.wheel_diameter")
    assert made.answer("90 mm").taken
    made.finish()
    assert (tmp_path / "kite.toml").read_text().count("(not measured)") == 1


def test_left_half_way_and_gone_on_with(tmp_path: Path) -> None:
    answered(tmp_path, FLYWHEEL[:21])
    again = SetUp.resumed(tmp_path / f"kite{DRAFT}")
    assert again.here is not None
    assert again.here.key == "drive.gears"
    assert again.back()
    assert again.here.key == "drive.no_load_current"
    assert again.now(again.here) == "0.5 A"
    for text in FLYWHEEL[20:]:
        assert (again.skip() if text is None else again.answer(text)).taken
    assert again.finish() == tmp_path / "kite.toml"


@pytest.mark.parametrize("name", ["con", "COM7", "nul", "../up", "", "a" * 40, "💥"])
def test_names_that_no_file_can_have(tmp_path: Path, name: str) -> None:
    made = SetUp(tmp_path)
    assert not made.answer(name).taken
    assert made.here is not None
    assert made.here.key == "name"
    (tmp_path / "heron.toml").write_text("")
    assert "already" in made.answer("Heron").said


@pytest.mark.parametrize("texts", [FLYWHEEL, STRIKER, ARM])
def test_nonsense_in_every_field_is_refused_and_changes_nothing(tmp_path: Path, texts: tuple[str | None, ...]) -> None:
    made = SetUp(tmp_path)
    for text in texts:
        asked = made.here
        assert asked is not None
        before = "" if made.profile is None else made.profile.text
        for wrong in NONSENSE:
            if asked.key == "name" and any(letter.isalnum() for letter in wrong[:32]):
                continue  # may be a name, if an odd one; those that can't be have a test of their own
            if (wrong.strip() or asked.usual is None) and not (asked.form == "spots" and not wrong.strip()):
                reply = made.answer(wrong)
                assert not reply.taken, (asked.key, wrong)
                assert "\n" not in reply.said
                assert len(reply.said) < 400
        assert before == ("" if made.profile is None else made.profile.text)
        assert made.skip().taken if text is None else made.answer(text).taken
    made.finish()


@settings(max_examples=15, deadline=None)
@given(typed=st.text(max_size=30) | st.from_regex(r"-?[0-9.]{1,6} ?[a-z%\"']{0,4}"))
def test_whatever_is_typed_gets_an_answer_in_words(typed: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    made = SetUp(tmp_path_factory.mktemp("home"))
    for text in FLYWHEEL[:4]:
        made.answer(str(text))
    made.editing = True  # nothing is kept, so that it is quick
    for question in made.all[len(typed) % 4 :: 4]:
        made.go_to(question.key)
        made.answer(typed)
    assert made.profile is not None
    made.profile.check()


def test_a_full_disk_is_said_and_nothing_is_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = answered(tmp_path, FLYWHEEL)
    real = os.fsync

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FieldtuneError, match="No space left"):
        made.finish()
    made.go_to("element.mass")
    reply = made.answer("41 g")
    assert reply.taken
    assert "No space left" in reply.said
    monkeypatch.setattr(os, "fsync", real)
    assert [path.name for path in tmp_path.iterdir()] == [f"kite{DRAFT}"]
    assert made.finish().exists()


def test_a_file_edited_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    path = answered(tmp_path, FLYWHEEL).finish()
    made = SetUp(tmp_path, profile=ProfileText.at(path), editing=True)
    path.write_text(path.read_text() + "# mine\n")
    made.go_to("element.mass")
    assert made.answer("41 g").taken
    with pytest.raises(FieldtuneError, match="changed by someone else"):
        made.finish()
    assert path.read_text().endswith("# mine\n")


def test_hand_written_layouts_survive(tmp_path: Path) -> None:
    text = answered(tmp_path, FLYWHEEL).finish().read_text()
    text = text.replace("gears = [[22, 33], [20, 28]]", "gears = [\n  [22, 33], # first\n  [20, 28],\n]")
    text = text.replace("\nmass =", "\n# weighed on Tuesday\nmass    =").replace("\n", "\r\n")
    path = tmp_path / "kite.toml"
    path.write_bytes(text.encode())
    made = SetUp(tmp_path, profile=ProfileText.at(path), editing=True)
    made.go_to("element.mass")
    assert made.answer("41.5 g").taken
    kept = made.finish().read_text()
    assert "[22, 33], # first" in kept
    assert "# weighed on Tuesday" in kept
    assert load_robot(path).element.mass == pytest.approx(0.0415)


@pytest.mark.parametrize(
    ("typed", "miss"),
    [("5 in", (0.127, None)), ("-5 in left 2 in", (-0.127, -0.0508)), ("short 1 ft 2 in", (-0.3556, None)),
     ("1'2\"", (0.3556, None)), ("40 mm", (0.04, None)), ("12 cm", (0.12, None))],
)  # fmt: skip
def test_a_miss_may_be_typed_in_any_unit_of_length(typed: str, miss: tuple[float, float | None]) -> None:
    assert read_miss(typed) == (pytest.approx(miss[0]), None if miss[1] is None else pytest.approx(miss[1]))


def test_a_distance_in_centimetres_is_offered() -> None:
    with pytest.raises(FieldtuneError, match="did you mean 240 cm"):
        read_distance("240", load_robot("heron"))
    assert read_distance("7'10\"", load_robot("heron")).value_m == pytest.approx(2.3876)


def test_a_set_up_knows_every_kind_there_is() -> None:
    from fieldtune.robot import kinds
    from fieldtune.setup import questions_launcher, questions_target

    assert questions_launcher.LAUNCHERS.keys() == kinds.LAUNCHERS.keys()
    assert questions_target.TARGETS.keys() == kinds.TARGETS.keys()
