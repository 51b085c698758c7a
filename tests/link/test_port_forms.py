"""Odd forms in which people name ports: each is read as it is meant, or refused in one line that has the right form."""

from __future__ import annotations

import pytest

from fieldtune.errors import FieldtuneError, LinkError
from fieldtune.link.urls import open_url
from fieldtune.port_names import port_name, port_problem
from fieldtune.robot import load_robot


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (" auto ", "auto"),
        ("AUTO", "auto"),
        ("/dev/ttyUSB0 ", "/dev/ttyUSB0"),
        ('"/dev/ttyUSB0"', "/dev/ttyUSB0"),
        ("'udp://:9000'", "udp://:9000"),
        (r"\\.\COM12", "COM12"),
        ("com12:", "COM12"),
        (
            "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0",
            "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0",
        ),
        ('"', '"'),
    ],
)
def test_a_port_is_read_as_it_is_meant(typed, meant):
    assert port_name(typed) == meant
    assert port_problem(meant) is None


@pytest.mark.parametrize(
    ("typed", "right"),
    [
        ("9000", "udp://:9000 to hear"),
        (":9000", "udp://:9000 to hear"),
        ("udp//:9000", "udp://"),
        ("UDP:9000", "udp://:PORT"),
        ("localhost:9000", "socket://localhost:9000 for TCP"),
        ("[::1]:9000", "socket://[::1]:9000 for TCP"),
        ("192.0.2.7", "socket://192.0.2.7:PORT for TCP"),
        ("COM3:9600", "COM3 alone; its speed is named by --baud 9600"),
        ("/dev/ttyUSB0,115200", "/dev/ttyUSB0 alone; its speed is named by --baud 115200"),
        ('""', "expected a device"),
    ],
)
def test_a_form_that_is_none_is_refused_with_the_right_one(typed, right):
    assert right in (port_problem(port_name(typed)) or "")


@pytest.mark.parametrize("url", ["udp://", "udp://:", "udp://:nine", "udp://:0", "udp://:70000", "udp://:9000/path"])
def test_udp_without_a_port_says_how_it_is_written(url):
    with pytest.raises(OSError, match=r"expected a port from 1 to 65535, such as udp://:9000"):
        open_url(url)


@pytest.mark.parametrize(
    "url", ["socket://robot", "socket://robot:", "socket://robot:9000/x", "socket://:9000", "socket://"]
)
def test_tcp_without_a_host_or_a_port_says_how_it_is_written(url):
    with pytest.raises(OSError, match=r"expected .*, such as socket://192.168.4.1:9000"):
        open_url(url)


@pytest.mark.parametrize("url", ["UDP://:{}", "udp://{}", "udp://:{}/", "udp:// :{}", "udp://127.0.0.1:{}"])
def test_udp_is_opened_however_it_is_written(url, unused_udp_port):
    open_url(url.format(unused_udp_port)).close()


@pytest.fixture
def unused_udp_port():
    import socket

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def test_a_profile_may_name_a_port_in_quotes_and_capitals(tmp_path):
    text = load_robot("heron").path.read_text(encoding="utf-8")
    before = next(line for line in text.splitlines() if line.startswith("port ="))
    mine = tmp_path / "mine.toml"
    for typed, meant in (("'Auto '", "auto"), (r"'\\.\COM7'", "COM7")):
        mine.write_text(text.replace(before, f"port = {typed}"), encoding="utf-8")
        assert load_robot(str(mine)).link.port == meant
    mine.write_text(text.replace(before, 'port = "9000"'), encoding="utf-8")
    with pytest.raises(FieldtuneError, match=r"link\.port.*udp://:9000"):
        load_robot(str(mine))
    with pytest.raises(LinkError):
        open_url("9000")
