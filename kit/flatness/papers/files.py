"""Papers and tables as files: never over a file that the kit did not write."""

from __future__ import annotations

import io
import os
import zipfile
from dataclasses import dataclass
from pathlib import Path

from flatness.charts.axes import SOFTWARE
from flatness.errors import ArgumentError
from flatness.files import read_file, stands, why, write_new

MOST = 500_000_000  # bytes of a file that is replaced


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
        data = read_file(path, MOST)
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
