"""``udp://:9000``: lines that a robot sends as UDP datagrams to a port of this laptop. Nothing is ever sent back.

Of several robots one is heard: the one at the address in ``udp://:9000?from=192.168.4.7``, else who spoke first.
"""

from __future__ import annotations

import socket
import time

from fieldtune.link.urls.datagrams import Datagrams
from fieldtune.link.urls.virtual_port import SocketPort, host_and_port

_LARGEST = 65_535
_SILENT_S = 3.0  # then another robot may speak
_MAPPED = "::ffff:"  # before an IPv4 address where both kinds are heard (RFC 4291, 2.5.5.2)


def _bound(host: str, number: int) -> socket.socket:
    """A socket that hears this address, of IPv4 and IPv6 where none is given and the system has both."""
    both = not host and socket.has_dualstack_ipv6()
    heard = socket.socket(socket.AF_INET6 if both or ":" in host else socket.AF_INET, socket.SOCK_DGRAM)
    try:
        heard.setblocking(False)
        if both:
            heard.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
        heard.bind((host, number))
    except OSError:
        heard.close()
        raise
    return heard


class Serial(SocketPort):
    """Hears one port, and reads the datagrams of one sender as lines."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        host, number = host_and_port(place, self._port, "udp://:9000")
        self._place = place
        self._wanted = options.get("from")
        self._from = self._wanted
        self._spoke: dict[str, float] = {}
        self._lines = Datagrams()
        self._socket = _bound(host, number)

    @property
    def others(self) -> tuple[str, ...]:
        """URLs of other robots that lately spoke to this port."""
        lately = time.monotonic() - _SILENT_S
        spoke = dict(self._spoke)
        return tuple(
            f"udp://{self._place}?from={address}"
            for address, at in spoke.items()
            if address != self._from and at > lately
        )

    def _take(self) -> bytes:
        pieces: list[bytes] = []
        while True:
            try:
                data, (address, *_) = self._socket.recvfrom(_LARGEST)
            except BlockingIOError:
                return b"".join(pieces)
            address = address.removeprefix(_MAPPED)
            if self._is_followed(address):
                pieces.append(self._lines.text(data))

    def _is_followed(self, address: str) -> bool:
        now = time.monotonic()
        if address != self._from and self._wanted is None and now - self._spoke.get(self._from or "", 0.0) > _SILENT_S:
            if self._from is not None:
                self.interrupted = f"another robot, at {address}"
            self._from, self._lines = address, Datagrams()
        if len(self._spoke) < 50 or address in self._spoke:
            self._spoke[address] = now
        return address == self._from
