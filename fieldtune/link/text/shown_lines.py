"""Raw lines as they are shown to a person, and back: nothing of the wire may act on a terminal."""

from __future__ import annotations

from fieldtune.link.text.wire_numbers import in_ascii

MARK = "·"
"""What is shown for a letter that not every keyboard has; in a name of the profile it stands for any such letter."""


def marked(name: str) -> str:
    """A name as raw lines show it."""
    return "".join(letter if letter.isascii() else MARK for letter in name)


def shown(line: bytes) -> str:
    """A raw line for the eye: a tab, and what a keyboard has another key for, as that; else each letter but printable
    ASCII becomes a visible ``·``, so that nothing acts."""
    text = in_ascii(line.decode("utf-8", "replace")).replace("\t", " ")
    return "".join(letter if " " <= letter <= "~" else MARK for letter in text)


_CAUSE = "   ["


def told(line: bytes, cause: str | None) -> str:
    """A raw line made harmless to show; a refused one ends in its cause."""
    return shown(line) + (f"{_CAUSE}{cause}]" if cause else "")


def as_sent(text: str) -> bytes:
    """What ``told`` made a text of, with its end of line."""
    return text.partition(_CAUSE)[0].encode() + b"\n"
