"""The start screen and the set-up on the real app: a broken profile among others, drafts, edits, small windows."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from printing_robot import PrintingRobot
from textual.pilot import Pilot

from fieldtune.console.start_app import StartApp
from fieldtune.robot.starter import new_profile_text
from fieldtune.setup.preferences import Preferences, read_preferences
from fieldtune.setup.wishes import Opening, Wish

Script = Callable[[StartApp, Pilot[Opening]], Awaitable[None]]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    folder = tmp_path / "profiles"
    folder.mkdir()
    return folder


def shown(app: StartApp) -> str:
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


async def until(app: StartApp, pilot: Pilot[Opening], words: str) -> str:
    for _ in range(200):
        await pilot.pause()
        if words in shown(app):
            return shown(app)
        await asyncio.sleep(0.02)
    raise AssertionError(f"never saw {words!r} on\n{shown(app)}")


def drive(home: Path, script: Script, size: tuple[int, int] = (80, 24), wish: Wish | None = None) -> Opening | None:
    async def main() -> Opening | None:
        app = StartApp(home, Preferences(), wish)
        async with app.run_test(size=size) as pilot:
            await script(app, pilot)
        return app.return_value

    return asyncio.run(main())


def test_a_broken_profile_stops_nothing_and_can_be_mended(home: Path) -> None:
    (home / "kite.toml").write_text(new_profile_text("kite", "flywheel"))
    (home / "plover.toml").write_text(new_profile_text("plover", "striker").replace('mass = "75 g"', 'mass = "75 m"'))
    (home / "Bad Name.toml").write_text("")

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        text = await until(app, pilot, "plover")
        assert "kite         flywheel  no shots" in text
        assert "element.mass" in text
        assert "1 to 32 of a-z" in text
        await pilot.press("end", "enter")
        await until(app, pilot, "plover can't be opened")
        await pilot.press("e")
        await until(app, pilot, "Change plover")
        await pilot.press("down", "down", "down", "enter")
        await until(app, pilot, "How heavy is one?")
        await pilot.press(*["backspace"] * 6, *"75", "enter")
        await until(app, pilot, "changed: s saves it")
        await pilot.press("s")
        await until(app, pilot, "saved:")

    drive(home, script)
    assert 'mass = "75 g"' in (home / "plover.toml").read_text()


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (120, 40)])
def test_questions_at_every_size_and_a_draft_kept(home: Path, size: tuple[int, int]) -> None:
    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "Set up my robot")
        await pilot.press("n")
        await until(app, pilot, "What is the robot called?")
        await pilot.press(*"kite", "enter", "1", "1", *"2.3 in", "enter")
        text = await until(app, pilot, "How heavy is one?")
        assert "2.3 in" in text
        assert ("grams" in text) == (size[0] >= 70)  # the drawing, where there is room
        await pilot.press("up")
        await until(app, pilot, "How wide is the ball?")
        await pilot.press("escape")
        await until(app, pilot, "set-up left half-way")
        await pilot.press("u")
        await until(app, pilot, "US cust" if size[0] > 60 else "kite")

    drive(home, script, size)
    assert (home / "kite.set-up").exists()
    assert read_preferences().us


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (120, 40)])
def test_every_answer_that_can_be_chosen_is_seen(home: Path, size: tuple[int, int]) -> None:
    """To its last one, also after the window has become smaller and large again."""

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "Set up my robot")
        await pilot.press("n")
        await until(app, pilot, "What is the robot called?")
        await pilot.press(*"kite", "enter")
        for columns, rows in (size, (40, 12), size):
            await pilot.resize_terminal(columns, rows)
            await until(app, pilot, "How does it launch?")
            text = await until(app, pilot, "3 An arm swings")
            assert "1 Turning wheels" in text

    drive(home, script, size)


def test_the_simulated_robot_is_one_key_away(home: Path) -> None:
    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "Try the simulated robot")
        await pilot.press("enter")

    opening = drive(home, script)
    assert opening is not None
    assert opening.port is not None
    assert opening.port.startswith("sim://")


@pytest.mark.slow
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_cable_pulled_half_way_is_said_and_nothing_is_lost(home: Path, size: tuple[int, int]) -> None:
    """On a real pseudo-terminal: the port goes while its names are being mapped, and comes back never."""
    robot = PrintingRobot(lambda n: b"ms=%d spin=%d goal=1400\n" % (20 * n, 5000 + 35 * n), 0.02)
    profile = home / "kite.toml"
    profile.write_text(new_profile_text("kite", "flywheel").replace('port = "auto"', f'port = "{robot.device}"'))

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "kite")
        await pilot.press("c")
        await until(app, pilot, "sends text")
        await pilot.press("enter")
        await until(app, pilot, "spin")
        await pilot.press("down", "c")  # spin is the counter
        await until(app, pilot, "encoder in counts")
        robot.pull()
        text = await until(app, pilot, "gone")
        assert "encoder in counts" in text
        await pilot.press("enter")
        await pilot.pause(0.3)

    opening = drive(home, script, size)
    assert opening is not None
    assert 'wheel_counts = "spin"' in profile.read_text()


def test_the_port_that_was_open_is_among_those_to_map(home: Path) -> None:
    """It was named on the command line, and no search finds it: what the Line view says to press leads on."""
    (home / "kite.toml").write_text(new_profile_text("kite", "flywheel"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "kite")
        await pilot.press("end", "c")
        await until(app, pilot, f"udp://:{number}")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as robot:
            for i in range(40):
                robot.sendto(f"Wheel: {1500 + i} rpm  Batt: 9.8 V\n".encode(), ("127.0.0.1", number))
                await asyncio.sleep(0.01)
        await until(app, pilot, "sends text")
        await pilot.press("enter")
        await until(app, pilot, "wheel speed in rpm")

    drive(home, script, wish=Wish("robots", home / "kite.toml", port=f"udp://:{number}"))


@pytest.mark.parametrize("size", [(80, 24), (40, 12)])
def test_why_a_port_can_not_be_read_is_said_whole(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]
) -> None:
    """The row itself is too narrow for the remedy that stands at the end."""
    monkeypatch.chdir(tmp_path)
    (home / "kite.toml").write_text(new_profile_text("kite", "flywheel"))
    (tmp_path / "run.log").write_text("wheel_rpm=1500\n")

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "kite")
        await pilot.press("end", "c")
        text = await until(app, pilot, "no serial device")
        said = " ".join(text.split())
        assert "but a file: file://" in said
        assert "follows what is added" in said

    drive(home, script, size, Wish("robots", home / "kite.toml", port="run.log"))


def test_a_port_half_written_is_told_how_to_write_it(home: Path) -> None:
    (home / "kite.toml").write_text(new_profile_text("kite", "flywheel"))

    async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
        await until(app, pilot, "kite")
        await pilot.press("end", "c")
        text = await until(app, pilot, "No serial port found yet")
        assert "press t and type a device" in " ".join(text.split())
        await pilot.press("t", *"udp:9000", "enter")
        await until(app, pilot, "expected udp://, such as udp://:PORT")

    drive(home, script, (40, 12))
