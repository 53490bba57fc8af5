"""Files, read and written: a file is whole or not there, a set of them all or none, and nothing is lost on the way.

A file is written under a temporary name in its own folder, flushed to the disk, and then renamed. What a process that
was killed left behind is taken away when the next file is written into that folder.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import platform
import re
import secrets
import shutil
import stat
import tempfile
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from flatness.errors import ArgumentError, FlatnessError

LARGEST_BYTES = 50_000_000  # of a file that is read
LARGEST_REPLACED = 500_000_000  # bytes of a file that is looked at before it is replaced
SOFTWARE = "surface-flatness-kit"  # stamped into each file, which tells it from what others wrote
LONGEST_NAME = 255  # bytes; the file systems of Linux, macOS and Windows agree on it
KEPT_END = 60  # bytes of a long name's end that stay: they tell what the file is
OLD_S = 24 * 3600.0  # after which a temporary file is nobody's, whichever machine wrote it
ANOTHER_NAME = "choose another name, or say overwrite=True"

_HOST = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
_RUN = secrets.token_hex(4)  # tells this process from a dead one of the same number
_NUMBERS = count(1)
_PART = re.compile(r"\.flatness-([0-9a-f]{8})-(\d{1,9})-([0-9a-f]{8})-\d+\.part")


@dataclass(frozen=True)
class _Staged:
    """A file that lies whole under its temporary name."""

    part: Path
    target: Path
    overwrite: bool
    exists: type[FlatnessError]
    remedy: str


_SET: ContextVar[list[_Staged] | None] = ContextVar("files that are written together", default=None)


def write_new(
    path: str | os.PathLike[str],
    data: bytes,
    overwrite: bool = False,
    *,
    exists: type[FlatnessError] = ArgumentError,
    remedy: str = ANOTHER_NAME,
) -> Path:
    """Write ``data`` to a file of a new name; over one that is there only where ``overwrite`` says so.

    Whatever goes wrong, a file that was there stays as it was. Within :func:`written_together` the file appears when
    all of them do.

    Raises
    ------
    FlatnessError : of the kind ``exists``, with ``remedy``: there is a file of this name
    ArgumentError : the file cannot be written
    """
    target = Path(path)
    try:
        _check(target, overwrite, exists, remedy)
        target = Path(os.path.realpath(target))  # a link stays one, and what it points to is replaced
        sweep(target.parent)
        part = _fill(target, data)
    except FlatnessError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise _cannot(target, error) from error
    staged = _Staged(part, target, overwrite, exists, remedy)
    together = _SET.get()
    if together is not None:
        together.append(staged)
    else:
        _put([staged])
    return Path(path)


@contextmanager
def written_together() -> Iterator[None]:
    """All files that are written within appear at its end, or none of them does.

    A process that is killed between two renames may leave some of them; each of these is whole.
    """
    if _SET.get() is not None:  # of a larger set
        yield
        return
    staged: list[_Staged] = []
    token = _SET.set(staged)
    try:
        try:
            yield
        finally:
            _SET.reset(token)
        _put(staged)
    finally:
        for one in staged:
            one.part.unlink(missing_ok=True)


def read_file(path: str | os.PathLike[str], most: int = LARGEST_BYTES) -> bytes:
    """The bytes of a regular file.

    Raises
    ------
    OSError : there is none, or it cannot be read; a folder, a pipe or a device, whose ``strerror`` says so; one of more
        than ``most`` bytes (``errno.EFBIG``)
    """
    name = os.fspath(path)
    try:
        _check_regular(os.stat(name).st_mode, name)
        # a pipe that took the file's place meanwhile, and that nobody writes to, would be waited for
        number = os.open(name, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except ValueError as error:
        raise OSError(errno.EINVAL, "no file can have this name", name) from error
    with os.fdopen(number, "rb") as file:
        _check_regular(os.fstat(number).st_mode, name)
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"the file is larger than {most / 1e6:g} MB", name)
    return data


def write_ours(
    path: str | os.PathLike[str], data: bytes, *, overwrite: bool = False, head: bytes | None = None
) -> Path:
    """Write a file of the kit, over an older one of the kit where that is asked for.

    Parameters
    ----------
    path : where to
    data : what the file holds
    overwrite : replace a file that is there, where the kit wrote it
    head : first line by which a file of the kit is known, for kinds that cannot carry a stamp

    Raises
    ------
    ArgumentError : a file is there already, or one that the kit did not write; or it cannot be written
    """
    target = Path(path)
    check_free(target, overwrite=overwrite, head=head)
    return write_new(target, data, overwrite)


def check_free(path: Path, *, overwrite: bool, head: bytes | None = None) -> None:
    """Refuse a name that is taken: by any file, or with ``overwrite`` by one that the kit did not write."""
    if not stands(path):
        return
    if not overwrite:
        raise ArgumentError(
            "there is a file of this name already",
            file=path.name,
            expected="a new name",
            remedy="choose another name, or let it be replaced: --overwrite, overwrite=True in Python",
        )
    if not _is_ours(path, head):
        raise ArgumentError(
            "a file stands there that this kit did not write",
            value=str(path),
            remedy="move it away, or choose another name",
        )


def _is_ours(path: Path, head: bytes | None) -> bool:
    try:
        data = read_file(path, LARGEST_REPLACED)
    except OSError as error:
        raise ArgumentError(f"the file there cannot be replaced: {why(error)}", value=str(path)) from error
    if head is not None:
        return data.startswith(head)
    if path.suffix.lower() != ".xlsx":
        return SOFTWARE.encode() in data
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            return SOFTWARE.encode() in book.read("docProps/core.xml")
    except (zipfile.BadZipFile, KeyError):
        return False


def file_size(path: str | os.PathLike[str]) -> int:
    """Bytes of a regular file.

    Raises
    ------
    OSError : there is none; a folder, a pipe or a device, whose ``strerror`` says so
    """
    try:
        found = os.stat(path)
    except ValueError as error:
        raise OSError(errno.EINVAL, "no file can have this name", os.fspath(path)) from error
    _check_regular(found.st_mode, path)
    return found.st_size


def _check_regular(mode: int, name: str | os.PathLike[str]) -> None:
    if not stat.S_ISREG(mode):
        kind = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
        raise OSError(errno.EINVAL, f"this is {kind}, not a file", name)


def why(error: OSError | ValueError) -> str:
    """What the system says of an error, in its words."""
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


@contextmanager
def drafted(what: str) -> Iterator[None]:
    """For what libraries make by way of temporary files: ArgumentError, naming ``what``, where they have no room."""
    try:
        yield
    except OSError as error:
        raise ArgumentError(
            f"{what} cannot be written: {why(error)}",
            value=tempfile.gettempdir(),
            expected="a folder for temporary files with some MB free",
            remedy="make room there, or name another folder in the environment variable TMPDIR",
        ) from error


def stands(path: str | os.PathLike[str]) -> bool:
    """Whether something of this name is there; False for a name that nothing can have."""
    return os.path.lexists(path)


def named(folder: str | os.PathLike[str], name: str) -> Path:
    """The file of this name in a folder; a name longer than a file's may be is cut in its middle.

    >>> named("out", "x" * 300 + "-heights.png").name[-13:], len(named("out", "x" * 300).name)
    ('x-heights.png', 255)
    """
    whole = os.fsencode(name)
    if len(whole) <= LONGEST_NAME:
        return Path(folder) / name
    mark = f"~{hashlib.sha256(whole).hexdigest()[:8]}~"  # two long names stay two
    start = whole[: LONGEST_NAME - KEPT_END - len(mark)].decode("utf-8", "ignore")
    return Path(folder) / f"{start}{mark}{whole[-KEPT_END:].decode('utf-8', 'ignore')}"


def sweep(folder: Path) -> None:
    """Take away what dead processes left of files that they did not finish."""
    with os.scandir(folder) as entries:
        parts = [(entry.path, found) for entry in entries if (found := _PART.fullmatch(entry.name))]
    for path, found in parts:
        try:
            if _is_left(found, os.stat(path).st_mtime):
                os.unlink(path)
        except OSError:  # another process was first, or may alone
            continue


def _is_left(found: re.Match[str], changed: float) -> bool:
    host, number, run = found[1], int(found[2]), found[3]
    if time.time() - changed > OLD_S:
        return True
    if host != _HOST or run == _RUN or os.name != "posix":
        return False
    if number == os.getpid():
        return True
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _part(folder: Path) -> Path:
    return folder / f".flatness-{_HOST}-{os.getpid()}-{_RUN}-{next(_NUMBERS)}.part"


def _check(target: Path, overwrite: bool, exists: type[FlatnessError], remedy: str) -> None:
    try:
        mode = os.stat(target).st_mode
    except (FileNotFoundError, NotADirectoryError):
        if overwrite or not stands(target):
            return
        mode = 0  # a link to nothing
    if not overwrite:
        raise _there(target, exists, remedy)
    _check_regular(mode, target)
    if not os.access(target, os.W_OK):
        raise OSError(errno.EACCES, "the file there is write-protected")


def _fill(target: Path, data: bytes) -> Path:
    """The data under a temporary name, on the disk, with the rights of the file that it is to replace."""
    os.fsencode(target.name)
    if len(os.fsencode(target.name)) > LONGEST_NAME:
        raise OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG))
    part = _part(target.parent)
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            shutil.copymode(target, part)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part


def _put(staged: list[_Staged]) -> None:
    """Give each file its name; where one cannot have it, all others are taken back."""
    done: list[tuple[Path, Path | None]] = []  # a target, and what stood there before
    one: _Staged | None = None
    try:
        for one in staged:
            before = _kept(one.target) if len(staged) > 1 and one.overwrite and one.target.exists() else None
            done.append((one.target, before))
            try:
                _rename(one)
            except BaseException:
                done.pop()
                if before is not None:
                    before.unlink(missing_ok=True)
                raise
        for folder in {one.target.parent for one in staged}:
            _flush(folder)
    except BaseException as error:
        for target, before in reversed(done):
            if before is None:
                target.unlink(missing_ok=True)
            else:
                os.replace(before, target)
        done.clear()
        for other in staged:
            other.part.unlink(missing_ok=True)
        if one is not None and isinstance(error, FileExistsError):
            raise _there(one.target, one.exists, one.remedy) from error
        if one is not None and isinstance(error, OSError):
            raise _cannot(one.target, error) from error
        raise
    finally:
        for _, before in done:
            if before is not None:
                before.unlink(missing_ok=True)


def _rename(one: _Staged) -> None:
    if one.overwrite:
        os.replace(one.part, one.target)
        return
    try:
        os.link(one.part, one.target)  # unlike a rename, it never takes the place of another file
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no links
        if stands(one.target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(one.target)) from None
        os.replace(one.part, one.target)
    else:
        one.part.unlink()


def _kept(target: Path) -> Path:
    """A second name of a file that is about to be replaced."""
    kept = _part(target.parent)
    try:
        os.link(target, kept)
    except OSError:
        shutil.copy2(target, kept)
    return kept


def _flush(folder: Path) -> None:
    """The names on the disk, where the system can be asked for it."""
    if os.name != "posix":
        return
    with suppress(OSError):  # some file systems cannot, and some folders may not be looked into
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _there(target: Path, exists: type[FlatnessError], remedy: str) -> FlatnessError:
    return exists("there is a file of this name already", file=target.name, expected="a new name", remedy=remedy)


def _cannot(target: Path, error: OSError | ValueError) -> ArgumentError:
    expected = "a folder that can be written to, and room on its disk"
    value, remedy = str(target), "make room, or choose another name or folder; what stood there is as it was"
    return ArgumentError(f"the file cannot be written: {why(error)}", value=value, expected=expected, remedy=remedy)
