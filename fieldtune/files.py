"""Files read and written whole or not at all: a name never stands for half a file, and nothing is lost by a slip."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from fieldtune.errors import InputError, OutputError


def read_whole(path: Path, expected: str, most: int, error: type[InputError] = InputError) -> bytes:
    """All bytes of a file of at most ``most``; ``expected`` says what it should be, for the message.

    Raises ``error`` with one line for what is no file (a pipe would be waited for in vain), too long or unreadable.
    """
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise error(f"{path}: is a folder; expected {expected}")
        if not stat.S_ISREG(found.st_mode):
            raise error(f"{path}: is a pipe or device; expected {expected}")
        if found.st_size > most:
            raise error(f"{path}: is {found.st_size} bytes long; expected {expected} of at most {most}")
        return path.read_bytes()
    except FileNotFoundError:
        raise error(f"{path}: no such file; expected {expected}") from None
    except (OSError, ValueError) as fault:  # ValueError: a path with a null character
        raise error(f"{path}: can't be read ({getattr(fault, 'strerror', None) or fault})") from None


def write_whole(path: Path | str, content: str | bytes, *, force: bool = False) -> Path:
    """Writes an output file beside its place and moves it there; returns its path.

    A file that is there is kept unless ``force``; one that is write-protected is kept in any case. Raises
    ``OutputError`` with one line that names the file and the remedy.
    """
    path = Path(path)
    data = content.encode() if isinstance(content, str) else content
    try:
        kind = _standing(path)
        if kind is not None:
            _refuse(path, kind, force)
        if kind is not None and not stat.S_ISREG(kind):  # a device or a pipe is written into, not replaced
            path.write_bytes(data)
        else:
            place_whole(path.resolve() if force else path, data, force=force)
    except FileExistsError as error:
        raise OutputError(f"{path}: is there already; give another name, or --force to write over it") from error
    except (OSError, ValueError) as error:  # ValueError: a path with a null character
        raise OutputError(f"{path}: can't be written ({_reason(path, error)})") from error
    return path


def _standing(path: Path) -> int | None:
    """Mode of what stands at the path; None where nothing does."""
    try:
        return path.stat().st_mode
    except FileNotFoundError:
        return path.lstat().st_mode if path.is_symlink() else None


def _refuse(path: Path, mode: int, force: bool) -> None:
    if stat.S_ISDIR(mode):
        raise OutputError(f"{path}: is a folder; give the name of a file in it")
    if not force:
        raise FileExistsError
    if not mode & 0o222:
        raise OutputError(f"{path}: is write-protected; allow writing it, or give another name")


def place_whole(path: Path, data: bytes, *, force: bool = False) -> None:
    """Writes a file beside its place, on the disk, and moves it there; a kill leaves the old one or the new one.

    Raises ``FileExistsError`` where one is there and it isn't to be replaced by ``force``, ``OSError`` otherwise.
    """
    import uuid

    beside = path.parent / f".fieldtune-{uuid.uuid4().hex}.part"
    try:
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if force or not _claim(beside, path):
            os.replace(beside, path)
        _sync_folder(path.parent)
    finally:
        beside.unlink(missing_ok=True)


def _claim(whole: Path, path: Path) -> bool:
    """Gives the whole file its name, or raises ``FileExistsError``.

    False where the disk knows no second names: then an empty file holds the name until the whole one replaces it. An
    empty file that is there already was left so by a kill, and has nothing to lose.
    """
    try:
        os.link(whole, path)
    except FileExistsError:
        if path.stat().st_size > 0:
            raise
        return False
    except OSError:
        path.open("xb").close()
        return False
    return True


def _sync_folder(folder: Path) -> None:
    """Puts a new name on the disk too, where the system lets folders be opened (Windows doesn't)."""
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # a network disk that can't, and says so
                raise
        finally:
            os.close(handle)


def _reason(path: Path, error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return f"there is no folder {path.parent}"
    return error.strerror or str(error) if isinstance(error, OSError) else str(error)
