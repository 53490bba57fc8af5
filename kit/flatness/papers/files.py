"""Papers and tables as files: whole or not at all, and never over a file that the kit did not write."""

from __future__ import annotations

import os
import zipfile
from dataclasses import dataclass
from pathlib import Path

from flatness.charts.axes import SOFTWARE
from flatness.errors import ArgumentError
from flatness.survey.files import write_new


@dataclass(frozen=True)
class Paper:
    """A finished paper.

    Attributes
    ----------
    title : what it is
    pdf : the file as PDF
    html : the same as one HTML page that needs nothing else, or None where there is none
    """

    title: str
    pdf: bytes
    html: str | None = None

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write it as ``.pdf``, or as ``.html`` where the paper has that form.

        Parameters
        ----------
        path : its suffix tells the form
        overwrite : replace an older file there, where the kit wrote it

        Raises
        ------
        ArgumentError : another suffix, a file that is there already, or one that cannot be written
        """
        suffix = Path(path).suffix.lower()
        if suffix == ".pdf":
            return write_ours(path, self.pdf, overwrite=overwrite)
        if suffix == ".html" and self.html is not None:
            return write_ours(path, self.html.encode("utf-8"), overwrite=overwrite)
        forms = ".pdf" if self.html is None else ".pdf or .html"
        raise ArgumentError(
            "unknown form of this paper", value=Path(path).name, expected=f"a name that ends in {forms}"
        )


def write_ours(
    path: str | os.PathLike[str], data: bytes, *, overwrite: bool = False, head: bytes | None = None
) -> Path:
    """Write a file under a temporary name and then give it its own.

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
    partial = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        write_new(partial, data, False)
        partial.replace(target)
    except OSError as error:
        raise ArgumentError(f"the file cannot be written: {error.strerror}", value=str(target)) from error
    finally:
        partial.unlink(missing_ok=True)
    return target


def check_free(path: Path, *, overwrite: bool, head: bytes | None = None) -> None:
    """Refuse a name that is taken: by any file, or with ``overwrite`` by one that the kit did not write."""
    if not path.exists():
        return
    if not overwrite:
        raise ArgumentError(
            "there is a file of this name already",
            file=path.name,
            expected="a new name",
            remedy="choose another name, or let it be replaced: --overwrite, overwrite=True in Python",
        )
    if not path.is_file() or not _is_ours(path, head):
        raise ArgumentError(
            "a file stands there that this kit did not write",
            value=str(path),
            remedy="move it away, or choose another name",
        )


def _is_ours(path: Path, head: bytes | None) -> bool:
    data = path.read_bytes()
    if head is not None:
        return data.startswith(head)
    if path.suffix.lower() != ".xlsx":
        return SOFTWARE.encode() in data
    try:
        with zipfile.ZipFile(path) as book:
            return SOFTWARE.encode() in book.read("docProps/core.xml")
    except (zipfile.BadZipFile, KeyError):
        return False
