"""A profile is data, never a way in: ports of known schemes only, and one that came with a pack is asked about."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldtune import load_robot
from fieldtune.errors import LinkError
from fieldtune.link.ports import open_port
from fieldtune.port_names import SCHEMES, port_problem
from fieldtune.robot.home import demo_home

Run = Callable[..., Any]


def packed_with_port(run: Run, folder: Path, port: str) -> Path:
    """A pack from elsewhere whose profile names a port."""
    path = folder / "heron.json"
    assert run("pack", "heron", path, "--force").code == 0
    values = json.loads(path.read_text("utf-8"))
    del values["digest"]
    found = [k for k, line in enumerate(values["profile"]) if line.startswith("port = ")]
    line = f"port = {json.dumps(port)}"
    values["profile"][found[0]] = line
    path.write_text(json.dumps(values), encoding="utf-8")
    return path


@pytest.fixture
def victim(tmp_path: Path) -> Path:
    path = tmp_path / "victim.txt"
    path.write_text("mine", encoding="utf-8")
    return path


WAYS_IN = [
    "spy://sim://heron?file={}",
    "SPY://sim://heron?file={}",
    " spy://loop://?file={}",
    "alt://{}",
    "hwgrep://{}",
]


@pytest.mark.parametrize("way", WAYS_IN)
def test_no_port_writes_into_a_file(
    way: str, victim: Path, run: Run, fails: Callable[..., str], home: Path, tmp_path: Path
) -> None:
    """pyserial's spy:// opens its ``file`` for writing, whatever else happens."""
    port = way.format(victim)
    assert "expected" in fails("listen", "heron", "--port", port, "--seconds", "0.2")
    assert "link.port" in fails("merge", packed_with_port(run, tmp_path, port))
    profile = tmp_path / "tern.toml"
    text = (demo_home() / "heron.toml").read_text("utf-8")
    profile.write_text(text.replace('port = "auto"', f"port = {json.dumps(port)}"), encoding="utf-8")
    assert run("check", profile).code == 2
    assert "link.port" in fails("listen", profile, "--seconds", "0.2")
    with pytest.raises(LinkError, match="port"):
        open_port(port, 115200, load_robot(demo_home() / "heron.toml"))
    assert victim.read_text("utf-8") == "mine"


def test_ports_that_may_be_named() -> None:
    for name in ("auto", "/dev/ttyUSB0", "COM7", "sim://heron", "SIM://heron", "replay:///x y.rec", *SCHEMES.values()):
        assert port_problem(name) is None, name
    for name in ("", " ", "a\nb", "http://x", "loop://"):
        assert port_problem(name) is not None, name


def test_a_port_that_came_with_a_pack_is_asked_about_once(
    run: Run, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack = packed_with_port(run, tmp_path, "sim://heron?seed=3")
    assert run("merge", pack).code == 0
    listen = ("listen", "heron", "--seconds", "0.5")
    refused = run(*listen)
    assert refused.code == 1
    assert "came with a pack" in refused.err
    assert run(*listen, "--port", "sim://heron?seed=4").code == 0  # another port, which a person named
    assert run(*listen).code == 1
    assert run(*listen, "--port", "sim://heron?seed=3").code == 0
    assert run(*listen).code == 0
    assert run("merge", pack).code == 0
    assert run(*listen).code == 0


@pytest.mark.parametrize(("answer", "code"), [(b"y\n", 0), (b"\n", 1), (b"\x04", 1)])
def test_at_a_terminal_the_question_is_asked(answer: bytes, code: int, run: Run, home: Path, tmp_path: Path) -> None:
    run("merge", packed_with_port(run, tmp_path, "sim://heron?seed=3"))
    master, slave = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "fieldtune", "listen", "heron", "--seconds", "0.5"], stdin=slave, stdout=slave,
        stderr=slave, env={**os.environ, "FIELDTUNE_PROFILES": str(home)},
    ) as process:  # fmt: skip
        os.close(slave)
        said = b""
        while b"[y/N]" not in said:
            said += os.read(master, 1000)
        os.write(master, answer)
        try:
            while data := os.read(master, 1000):
                said += data
        except OSError:
            pass
        assert process.wait(30) == code
    os.close(master)
    assert b"names the port" in said
