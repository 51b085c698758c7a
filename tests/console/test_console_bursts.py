"""Keys in bursts, as one read of a terminal brings them; small windows; what stands where when keys come fast."""

from __future__ import annotations

import os
import re
import time
import tracemalloc
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import live, seen, thrower
from fixed_answers import FixedAnswers
from terminal import Terminal
from textual.events import Key
from textual.keys import _character_to_key
from textual.pilot import Pilot
from thorough import thorough

from fieldtune.console import ConsoleApp, keys, themes
from fieldtune.console.drawing import Drawing
from fieldtune.console.terminal import EscapeParser, Paper
from fieldtune.session import Session

ROBOT = thrower()
NAMED = {"escape", "enter", "left", "right", "up", "down", "backspace"}
SIZES = [(40, 12), (80, 24), (120, 40), (200, 60)]


@pytest.fixture
def session(tmp_path: Path) -> FixedAnswers:
    kept = FixedAnswers(ROBOT, tmp_path / "heron.db")
    kept.log.remember("caution understood", "yes")
    return kept


def burst(app: ConsoleApp, pressed: Iterable[str]) -> None:
    """All keys before any of them is acted on."""
    for key in pressed:
        app.post_message(Key(key if key in NAMED else _character_to_key(key), None if key in NAMED else key))


@pytest.mark.parametrize(
    ("reads", "light", "pressed"),
    [
        (["\x1b]11;rgb:ffff/ffff/ffff\x1b\\"], True, []),
        (["\x1b]11;rgb:1e1e/1e1e/1e1e\x07"], False, []),
        (["i\x1b]11;rgb:ff/fa/e8\x1b\\s"], True, ["i", "s"]),
        (["\x1b]11;rgb:ffff/f", "fff/ffff\x1b", "\\u"], True, ["u"]),
        (["\x1b]", "1", "1;rgb:0/0/0\x07"], False, []),
        (["\x1b]11;#ffffff\x07x"], False, ["x"]),  # not as asked, and yet no keys
    ],
)
def test_the_background_that_was_asked_for_is_no_keys(reads: list[str], light: bool, pressed: list[str]) -> None:
    EscapeParser.asked = True
    parser = EscapeParser()
    events = [event for read in reads for event in parser.feed(read)]
    assert [event.light for event in events if isinstance(event, Paper)] == [light]
    assert [event.key for event in events if isinstance(event, Key)] == pressed
    assert not EscapeParser.asked


def test_each_part_of_an_answer_in_a_read_of_its_own_presses_no_letter() -> None:
    EscapeParser.asked = True
    parser, answer = EscapeParser(), "\x1b]11;rgb:ffff/ffff/ffff\x1b\\"
    events = [event for character in answer for event in parser.feed(character)]
    assert [type(event) for event in events if not (isinstance(event, Key) and event.key == "escape")] == [Paper]


def test_a_light_background_gets_the_theme_for_it_unless_one_was_chosen(session: FixedAnswers, tmp_path: Path) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        app.post_message(Paper(light=True))
        await pilot.pause(0.1)

    def theme_with(settings: Path, asks: bool) -> str:
        app = ConsoleApp(ROBOT, session, ScriptedLine(), settings=settings, drawing=Drawing(asks=asks))  # type: ignore[arg-type]
        drive(app, script)
        return app.theme

    assert theme_with(tmp_path / "none.json", asks=True) == themes.SUNLIGHT
    assert theme_with(tmp_path / "none.json", asks=False) == themes.DARK
    themes.keep_theme(tmp_path / "kept.json", themes.CONTRAST)
    assert theme_with(tmp_path / "kept.json", asks=True) == themes.CONTRAST


def parsed(*reads: str) -> list[str]:
    parser = EscapeParser()
    return [event.key for read in reads for event in parser.feed(read)]


@pytest.mark.parametrize(
    ("reads", "pressed"),
    [
        (["\x1bi"], ["escape", "i"]),
        (["\x1b\r"], ["escape", "enter"]),
        (["\x1bb"], ["escape", "b"]),  # Alt and b is a movement by words elsewhere
        (["\x1b1"], ["escape", "1"]),
        (["\x1b?"], ["escape", "question_mark"]),
        (["\x1b", "i"], ["escape", "i"]),
        (["\x1b[D"], ["left"]),
        (["\x1b", "[D"], ["left"]),
        (["\x1bi\x1b[D"], ["escape", "i", "left"]),
        (["i\x1b[C\x1bx"], ["i", "right", "escape", "x"]),
        (["\x1bOP"], ["f1"]),
        (["d2.4\r\x1bu"], ["d", "2", "full_stop", "4", "enter", "escape", "u"]),
    ],
)
def test_escape_and_the_key_behind_it_are_two_keys(reads: list[str], pressed: list[str]) -> None:
    assert parsed(*reads) == pressed


@pytest.mark.parametrize(
    ("pressed", "there"),
    [
        (["d", "2", ".", "4", "enter", "i"], "confirmed: shot 1, in"),
        (["d", "2", ".", "4", "enter", "enter", "enter"], "From 2.40 m  typed"),  # two Enters in one read
        (["d", "9", "escape", "s"], "confirmed: shot 1, short"),
        (["m", "-", "8", "enter", "u"], "undone: shot 1"),
        (["i", "u", "r"], "done again: shot 1"),
        (["w", "l", "escape"], "confirmed: shot 1, long"),
        (["e", "escape", "e", "escape", "i"], "confirmed: shot 1, in"),
        (["b", "escape", "k", "escape", "n", "escape", "z", "escape", "i"], "confirmed: shot 1, in"),
        (["d", "x", "enter", "backspace", "2", "enter"], "From 2.00 m  typed"),
        (["w", "d"], "Distance: on the main screen, press Esc first"),
    ],
)
def test_a_burst_does_what_its_keys_say_in_their_order(session: FixedAnswers, pressed: list[str], there: str) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        burst(app, pressed)
        await until(app, pilot, there)

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)


@pytest.mark.parametrize("key", ["h", "w", "k", "n", "b", "c", "z", "e", "?"])
def test_a_result_works_on_every_screen_also_while_it_opens(session: FixedAnswers, key: str) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        burst(app, [key, "left"])
        await until(app, pilot, "confirmed: shot 1, left")
        burst(app, ["right"])
        await until(app, pilot, "confirmed: shot 2, right")
        burst(app, ["u"])
        await until(app, pilot, "undone: shot 2")
        burst(app, ["escape"])

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)
    assert [(shot.result, shot.undone) for shot in session.log.shots()] == [("left", False), ("right", True)]


def test_a_result_and_quit_in_one_go_lose_nothing(session: FixedAnswers) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        burst(app, ["i", "q"])
        while not app._exit:
            await pilot.pause(0.01)

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)
    assert [shot.result for shot in session.log.shots()] == ["in"]


def test_quitting_asks_about_shots_without_a_result_and_keeps_them(session: FixedAnswers) -> None:
    line = ScriptedLine()

    async def first(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        line.now = live(shots=(seen(1), seen(2, speed_rpm=2430.0)))
        await until(app, pilot, "Where did it go?")
        burst(app, ["q"])
        await until(app, pilot, "2 shots have no result yet")
        burst(app, ["escape"])
        await until(app, pilot, "Where did it go?")
        burst(app, ["q", "y"])
        while not app._exit:
            await pilot.pause(0.01)

    drive(ConsoleApp(ROBOT, session, line), first)

    async def again(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "left at 2430 rpm")
        burst(app, ["i", "s"])
        await until(app, pilot, "confirmed: shot 2, short")
        assert "Where did it go?" not in screen_text(app)

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), again)
    assert [(shot.speed, shot.result) for shot in session.log.shots()] == [(2430.0, "in"), (2440.0, "short")]


@pytest.mark.parametrize("key", ["y", "n"])
def test_an_odd_result_and_quit_in_one_go_ask_first(session: FixedAnswers, key: str) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        burst(app, ["i", "q"])
        await until(app, pilot, "Confirm in all the same?")
        burst(app, [key])
        while not app._exit:
            await pilot.pause(0.01)

    drive(ConsoleApp(ROBOT, session, ScriptedLine(wheel_rpm=1500.0)), script)
    assert [shot.result for shot in session.log.shots()] == (["in"] if key == "y" else [])


@pytest.mark.parametrize("key", ["s", "x", "escape"])
def test_all_open_shots_are_answered_or_dropped_at_once(session: FixedAnswers, key: str) -> None:
    line = ScriptedLine()
    shots = [seen(number, speed_rpm=2440.0 + number) for number in range(1, 5)]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        for number in range(1, 5):
            line.now = live(shots=tuple(shots[:number]))
            await until(app, pilot, lambda n=number: len(app.controller.shooting.unanswered) == n)  # type: ignore[misc]
        burst(app, ["h", "a"])
        text = await until(app, pilot, "4 shots chosen. Where did they go?")
        assert text.count("▶ ? no result") == 4
        burst(app, [key])
        if key == "escape":
            await until(app, pilot, "(3 more: h)")
            return
        await until(app, pilot, lambda: not app.controller.shooting.unanswered and not app.controller.recorder.writing)
        burst(app, ["u"])
        await until(app, pilot, lambda: len(app.controller.shooting.unanswered) == 1)
        burst(app, ["r"])
        await until(app, pilot, lambda: not app.controller.shooting.unanswered)

    drive(ConsoleApp(ROBOT, session, line), script)
    found = [(shot.speed, shot.result) for shot in session.log.shots()]
    assert found == ([(2440.0 + n, "short") for n in range(1, 5)] if key == "s" else [])  # oldest first


def test_odd_shots_answered_at_once_wait_for_one_word(session: FixedAnswers) -> None:
    line = ScriptedLine()
    speeds = [2440.0, 2000.0, 1990.0]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        line.now = live(shots=tuple(seen(n, speed_rpm=rpm) for n, rpm in enumerate(speeds, 1)))
        await until(app, pilot, "(2 more: h)")
        burst(app, ["h", "a", "s"])
        await until(app, pilot, "2 shots are odd, the oldest: it left at 2000 rpm")
        await until(app, pilot, lambda: "y short all the same x no" in " ".join(screen_text(app).split()))
        burst(app, ["y"])
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 3)

    drive(ConsoleApp(ROBOT, session, line), script)
    assert [(shot.speed, shot.result) for shot in session.log.shots()] == [(rpm, "short") for rpm in speeds]


def test_a_warm_up_shot_does_not_shift_the_answer_for_the_next(session: FixedAnswers) -> None:
    line = ScriptedLine()

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        line.now = live(shots=(seen(1, speed_rpm=2300.0),))  # nobody answers this one
        await until(app, pilot, "left at 2300 rpm")
        line.now = live(shots=(seen(1, speed_rpm=2300.0), seen(2, speed_rpm=2440.0)))
        text = await until(app, pilot, "left at 2440 rpm")
        assert "(1 more: h)" in text
        burst(app, ["i"])
        await until(app, pilot, "confirmed: shot 1")
        burst(app, ["h"])
        text = await until(app, pilot, "? no result")
        assert "2.60 m" not in text
        burst(app, ["1", "x"])
        await until(app, pilot, "discarded: 1 shot")

    drive(ConsoleApp(ROBOT, session, line), script)
    assert [shot.speed for shot in session.log.shots()] == [2440.0]


def test_an_odd_result_is_settled_by_one_key(session: FixedAnswers) -> None:
    line = ScriptedLine(distance_m=2.6)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "robot's reading")
        burst(app, ["d", *"1.5", "enter"])
        await until(app, pilot, "robot reads 2.60 m: 0 follows it")
        for number, key in enumerate(["y", "0", "escape", "x"], 1):
            line.now = live(distance_m=2.6, shots=(seen(number),))
            await until(app, pilot, "Where did it go?")
            burst(app, ["i"])
            await until(app, pilot, "Typed 1.50 m, the robot read 2.60 m. y in all the same   0 with the robot's")
            burst(app, [key])
            if key in ("y", "0"):
                await until(app, pilot, f"confirmed: shot {number}")
            elif key == "escape":
                await until(app, pilot, "Where did it go?")
                burst(app, ["x"])
                await until(app, pilot, "discarded: 1 shot")
            else:
                await until(app, pilot, "discarded: 1 shot")
        burst(app, ["0"])
        await until(app, pilot, "From 2.60 m  robot's reading")
        line.now = live(distance_m=2.6, shots=(seen(5, speed_rpm=2000.0),))
        await until(app, pilot, "Where did it go?")
        burst(app, ["i"])
        await until(app, pilot, "It left at 2000 rpm, but the setpoint was 2450 rpm")
        burst(app, ["x", "i"])
        await until(app, pilot, "No shot was seen. y in all the same")
        burst(app, ["y"])
        await until(app, pilot, "confirmed: shot 3")

    drive(ConsoleApp(ROBOT, session, line), script)
    assert [(shot.distance_m, shot.distance_from) for shot in session.log.shots()] == [
        (1.5, "typed"), (2.6, "robot"), (2.6, "robot"),
    ]  # fmt: skip


def test_after_a_result_the_number_is_old_until_the_new_one_stands(session: FixedAnswers) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: app.controller.shooting.aim_holds)
        seen_old = []
        asked = session.aim

        def aim(*args: object, **kwargs: object) -> object:
            if not kwargs.get("unread"):  # as the answer for the next start is worked out
                seen_old.append((app.controller.shooting.aim_holds, "Working out" in screen_text(app)))
            return asked(*args, **kwargs)  # type: ignore[arg-type]

        session.aim = aim  # type: ignore[method-assign, assignment]
        burst(app, ["i"])
        await until(app, pilot, lambda: bool(seen_old) and app.controller.shooting.aim_holds)
        assert seen_old[-1][0] is False

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)


def test_keys_it_takes(session: FixedAnswers) -> None:
    """Adjust at a spot and confirm; correct a wrong result two shots back; see the readback."""
    for result in ("in", "in", "in"):
        session.confirm(2.0, 2450.0, result)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Wheel now 2410 rpm")  # no key at all
        burst(app, ["2", "l"])
        await until(app, pilot, "confirmed: shot 4, long")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 4)
        burst(app, ["h", "3", "s"])
        await until(app, pilot, "corrected: shot 2 is short now")

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)
    assert [shot.result for shot in session.log.shots()] == ["in", "short", "in", "long"]


def test_what_another_console_confirms_is_seen_at_once(session: FixedAnswers) -> None:
    other = Session(ROBOT, session.log.path)
    other.log.open_console("there")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "No shots confirmed yet")
        other.confirm(2.0, 2440.0, "short")
        await until(app, pilot, "▼ short")
        burst(app, ["u"])
        await until(app, pilot, "there is nothing to undo")
        other.swap("blue")
        await until(app, pilot, lambda: app.controller.shooting.epoch == 2)

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)


@pytest.mark.parametrize("size", SIZES)
def test_every_size_says_the_essential_and_its_keys_work(session: FixedAnswers, size: tuple[int, int]) -> None:
    line = ScriptedLine(wheel_rpm=2350.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: "Wait: wheel below by 100 rpm" in " ".join(screen_text(app).split()))
        text = screen_text(app)
        flat = " ".join(text.split())
        for words in (
            "Set the wheel to",
            "below by 100 rpm",
            "62 %",
            "Wait: wheel below by 100 rpm",
            "hands off",
            "eye protection",
        ):
            assert words in flat, words
        assert size[0] >= 80 or "2450 rpm" in flat
        for shown, key in re.findall(r"(?:^|  )(\S+) (In|Short|Undo|Help|Quit)\b", text.splitlines()[-2] + "\n"):
            assert (shown, key) in {("i", "In"), ("s", "Short"), ("u", "Undo")}
        burst(app, ["i"])
        await until(app, pilot, "confirmed: shot 1")
        burst(app, ["d", *"2.2", "enter"])
        await until(app, pilot, lambda: app.controller.shooting.distance.value_m == 2.2)
        line.now = live(shots=(seen(1),))
        await until(app, pilot, lambda: "Where did it go?" in " ".join(screen_text(app).split()))
        burst(app, ["w"])
        await until(app, pilot, lambda: "Where did it go?" in " ".join(screen_text(app).split()))
        burst(app, ["s", "escape"])
        await until(app, pilot, "confirmed: shot 2")
        burst(app, ["?", "escape", "h", "escape"])

    drive(ConsoleApp(ROBOT, session, line), script, size)


def test_the_one_thing_to_do_is_whole_in_the_smallest_window(session: FixedAnswers) -> None:
    """Whatever is asked, at 40 x 12 the sentence stands there to its last word, with its keys and the caution."""
    line = ScriptedLine(wheel_rpm=2350.0, distance_m=2.6)
    slow = seen(1, speed_rpm=2000.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        async def whole(*wanted: str) -> None:
            def there() -> bool:
                flat = " ".join(screen_text(app).split())
                return all(words in flat for words in (*wanted, "2450 rpm", "hands off", "eye protection on"))

            await until(app, pilot, there)

        await whole("From 2.60 m", "▶ Wait: wheel below by 100 rpm", "Chance 62 %")
        burst(app, ["d", *"1.5", "enter"])
        await whole("From 1.50 m robot reads 2.60 m: key 0")
        line.now = live(distance_m=2.6, wheel_rpm=2350.0, shots=(slow,))
        await whole("0 s ago, 1.50 m, 2450 rpm. Where did it go?", "below by 100 rpm")
        line.now = live(distance_m=2.6, wheel_rpm=2350.0, shots=(slow, seen(2, speed_rpm=2000.0)))
        await whole("(1 more: h). Where did it go?", "62 %")
        burst(app, ["i"])
        await whole(
            "▶ Typed 1.50 m, the robot read 2.60 m; it left at 2000 rpm, but the setpoint was 2450 rpm.",
            "y in all the same 0 with the robot's distance x no", "below by 100 rpm",
        )  # fmt: skip
        burst(app, ["y"])
        await whole("Where did it go?")
        app.controller.news.say("news that takes all three rows that it may have in so small a window, and no more")
        await whole("Where did it go?", "news that takes", "▼ below by 100 rpm")
        line.now = replace(line.now, setpoint=1640.0, wheel_rpm=1640.0)  # the longest verdict on one row
        await whole("Where did it go?", "● on setpoint 1640 rpm: too low")
        line.now = replace(line.now, setpoint=2450.0, wheel_rpm=2350.0)
        burst(app, ["h", "a"])  # the shots themselves, and what is asked above them
        await whole("Where did it go?", "? no result")
        burst(app, ["x", "escape", "m", "1", "2", "enter"])
        await whole("No shot was seen; typed 1.50 m, the robot read 2.60 m. y +12 cm all the same", "x no")

    drive(ConsoleApp(ROBOT, session, line), script, (40, 12))


@pytest.mark.parametrize("size", SIZES)
def test_the_caution_can_be_read_whole_in_every_window(tmp_path: Path, size: tuple[int, int]) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        read = ""
        await until(app, pilot, "Before anything turns")
        for _ in range(20):
            read += " ".join(screen_text(app).replace("┃", " ").split()) + " "
            burst(app, ["down"])
            await pilot.pause(0.02)
        for words in ("ANSI Z87.1", "Event rules", "local codes", "understood, go on", "means that it is safe"):
            assert words in read, words
        burst(app, ["enter"])
        await until(app, pilot, "Set the wheel to")

    drive(ConsoleApp(ROBOT, FixedAnswers(ROBOT, tmp_path / "heron.db"), ScriptedLine()), script, size)


def test_bursts_in_one_write_to_a_real_terminal(tmp_path: Path) -> None:
    """The program as it is started, its keys written to the terminal in one go."""
    with Terminal("console", "heron", "--port", "sim://heron", profiles=tmp_path, columns=80, rows=24) as terminal:
        terminal.wait("Before anything turns")
        terminal.press("\r")
        terminal.wait("Good range")
        terminal.press("d2.4\r\r")
        terminal.wait(r"From 2\.40 m")
        terminal.press("e\x1bi")
        terminal.wait(r"confirmed: shot 1, in|y in all the same")
        terminal.press("d9\x1bw\x1bu")
        terminal.wait(r"undone: shot 1|nothing")
        terminal.press("q")
        if terminal.process.poll() is None:
            terminal.press("n")
        assert terminal.process.wait(30) == 0
        assert "Traceback" not in terminal.settled()


def monkey(tmp_path: Path, count: int) -> float:
    """So many random keys on the real app; memory that it gained over the second half, MB."""
    rng = np.random.default_rng(7)
    known = [key for _, group in keys.GROUPS for binding in group for key in binding.key.split(",")]
    others = [
        "enter",
        "space",
        "tab",
        "o",
        "p",
        "a",
        "backspace",
        "5",
        "full_stop",
        "end",
        "pagedown",
        "delete",
        "1",
        "2",
    ]
    pressed = [key for key in known + others if key not in ("q", "ctrl+q")]
    robot = replace(ROBOT, targets=(replace(ROBOT.target(), name="low"), replace(ROBOT.target(), name="high")))
    session = FixedAnswers(robot, tmp_path / "heron.db")
    session.log.remember("caution understood", "yes")
    line = ScriptedLine()
    gained = 0.0

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        nonlocal gained
        await until(app, pilot, "Set the wheel to")
        done, half = 0, 0
        while done < count:
            length = int(rng.integers(1, 9))
            for key in rng.choice(pressed, length):
                character = {"full_stop": ".", "space": " "}.get(key, key if len(key) == 1 else None)
                app.post_message(Key(str(key), character))
            done += length
            if rng.random() < 0.05:
                line.now = live(shots=(seen(done // 50 + 1),), distance_m=float(rng.uniform(1, 4)), wheel_rpm=0.0)
            if rng.random() < 0.02:
                line.now = live(state="lost", words="gone", wheel_rpm=None, battery_v=None, setpoint=None)
            if done % 5 == 0:
                app.look()
            await pilot.pause()
            assert "did not work" not in app.controller.news.text, app.controller.news.text
            assert "failed" not in app.controller.news.text, app.controller.news.text
            if done >= count // 2 and not half:
                tracemalloc.start()
                half = tracemalloc.get_traced_memory()[0]
        gained = (tracemalloc.get_traced_memory()[0] - half) / 1e6
        tracemalloc.stop()
        for _ in range(4):
            app.post_message(Key("escape", None))
        await until(app, pilot, lambda: len(app.screen_stack) == 1)
        await until(app, pilot, "From ")

    old = os.getcwd()
    os.chdir(tmp_path)
    try:
        drive(ConsoleApp(robot, session, line), script, (80, 24))
    finally:
        os.chdir(old)
    return gained


@pytest.mark.parametrize("count", [60, *thorough(150, 500)])
def test_a_monkey_with_some_hundred_keys(tmp_path: Path, count: int) -> None:
    monkey(tmp_path, count)


@pytest.mark.slow
def test_a_monkey_with_five_thousand_keys_leaves_memory_flat(tmp_path: Path) -> None:
    gained = monkey(tmp_path, 5000)
    print(f"\nmemory gained over the last 2,500 keys: {gained:.1f} MB")
    assert gained < 10.0


def test_a_key_long_after_escape_is_only_that_key() -> None:
    parser = EscapeParser()
    keys = [event.key for event in parser.feed("\x1b")]
    end = time.monotonic() + 5
    while "escape" not in keys and time.monotonic() < end:
        keys += [event.key for event in parser.tick()]
        time.sleep(0.01)
    keys += [event.key for event in parser.feed("b")]
    assert keys == ["escape", "b"]
