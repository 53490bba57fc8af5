"""Points as text: a row a point, ``x y z`` with blanks or commas between, more columns or not, a heading or not."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.lengths import MM_PER, unit_named
from flatness.scans.files import LOOKS, PointFile, spread

BYTES = 16_000_000  # of a block of text
LOOK_BYTES = 40_000  # of one look
HEAD_BYTES = 65_536
COMMENT = (b"#", b"//")
_BLANK = bytes.maketrans(b",;\t", b"   ")
_NUMBER = re.compile(rb"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?")
EXPECTED = "three numbers or more in a row, as many in each: x y z"


class Rows:
    """Rows of numbers in a file, from a place in it on.

    Parameters
    ----------
    owner : says what is wrong with the file
    start : byte of the first row
    row : number of that row in the file
    width : numbers in a row
    columns : which of them are x, y and z
    most : rows that there are, or None: all to the end of the file
    """

    def __init__(
        self, owner: PointFile, start: int, row: int, width: int, columns: list[int], most: int | None = None
    ) -> None:
        self.owner, self.start, self.row = owner, start, row
        self.width, self.columns, self.most = width, columns, most

    def look(self) -> Iterator[Floats]:
        """Points from places spread through the file; rows that are cut by a place's ends are left out."""
        size = self.owner.path.stat().st_size - self.start
        places = spread(size, LOOKS, LOOK_BYTES)
        most = size if len(places) == 1 else LOOK_BYTES
        with self.owner.path.open("rb") as file:
            for place in places:
                file.seek(self.start + place)
                data = file.read(most)
                first = data.find(b"\n") + 1 if place else 0
                last = len(data) if place + most >= size else data.rfind(b"\n") + 1
                # what is wrong with a row is said, with its number, when all of them are read
                found = self._parsed(data[first:last])
                if found is not None:
                    yield found

    def blocks(self) -> Iterator[tuple[float, Floats]]:
        """All points, block by block, with the share of the file that is read.

        Raises
        ------
        ScanFileError : a row that holds something else, by its number
        """
        size = self.owner.path.stat().st_size
        row, left = self.row, self.most
        with self.owner.path.open("rb") as file:
            file.seek(self.start)
            for data in _whole_rows(file):
                if left is not None:
                    data = _first_rows(data, left)
                found = self._parsed(data)
                if found is None:
                    raise self._wrong_row(data, row)
                row += data.count(b"\n")
                yield file.tell() / size, found
                if left is not None:
                    left -= len(found)
                    if left <= 0:
                        return
        if left:
            raise self.owner.wrong(
                "the file ends before its last point",
                row=row,
                value=f"{self.most - left} points" if self.most else None,
                expected=f"{self.most} points, as its header says",
                remedy="copy or save the file again",
            )

    def _parsed(self, data: bytes) -> Floats | None:
        """Points [n, 3]; None where a row is not what it should be."""
        if not data.strip():
            return np.empty((0, 3))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                table = pd.read_csv(
                    io.BytesIO(data.translate(_BLANK)),
                    sep=r"\s+",
                    header=None,
                    names=list(range(self.width + 1)),
                    engine="c",
                    na_filter=True,
                    quoting=3,
                )
        except (ValueError, pd.errors.ParserError, pd.errors.ParserWarning, UnicodeDecodeError):
            return None
        # the column beyond the last holds nothing unless a row has a number too many
        if not table[self.width].isna().all():
            return None
        last = table[self.width - 1]
        wanted = table[self.columns]
        if any(kind.kind not in "fi" for kind in wanted.dtypes) or bool(last.isna().any()):
            return None
        found = wanted.to_numpy(dtype=np.float64)
        return found if np.isfinite(found).all() else None

    def _wrong_row(self, data: bytes, row: int) -> Exception:
        """What is wrong with the first row of a block that is not what it should be."""
        for k, line in enumerate(data.split(b"\n")):
            parts = line.translate(_BLANK).split()
            what = ""
            if parts and len(parts) != self.width:
                what = f"a row of {len(parts)} values"
            elif parts and not all(_NUMBER.fullmatch(parts[column]) for column in self.columns):
                what = "a row whose x, y and z are not all numbers"
            if what:
                return self.owner.wrong(
                    what,
                    row=row + k,
                    value=line.decode("utf-8", "replace").strip(),
                    expected=f"{self.width} values with blanks or commas between, x, y and z finite numbers",
                    remedy="correct the row or delete it, or save the scan again",
                )
        return self.owner.wrong(
            "rows that cannot be read as numbers", row=row, expected=EXPECTED, remedy="save the scan again"
        )


def _whole_rows(file: BinaryIO) -> Iterator[bytes]:
    rest = b""
    while data := file.read(BYTES):
        cut = data.rfind(b"\n") + 1
        if cut:
            yield rest + data[:cut]
            rest = data[cut:]
        else:
            rest += data
    if rest:
        yield rest


def _first_rows(data: bytes, most: int) -> bytes:
    if data.count(b"\n") <= most:
        return data
    place = -1
    for _ in range(most):
        place = data.find(b"\n", place + 1)
    return data[: place + 1]


class TextFile(PointFile):
    """A text of ``x y z``; ``# unit: m`` at its top states the unit."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
        if b"\0" in head:
            raise self.wrong("this is not text", expected=EXPECTED, remedy="give the file the ending that it is")
        self.rows = self._read_head(head)

    def _read_head(self, head: bytes) -> Rows:
        place, columns, width = 0, [0, 1, 2], None
        for row, line in enumerate(head.splitlines(keepends=True), 1):
            text = line.removeprefix(b"\xef\xbb\xbf").strip()
            if text.startswith(COMMENT):
                self._read_comment(text, row)
            elif text:
                parts = text.translate(_BLANK).split()
                if all(_NUMBER.fullmatch(parts[column]) for column in columns if column < len(parts)):
                    self._check_first(text, parts, row)
                    if width not in (None, len(parts)):
                        what = f"a heading of {width} names over rows of {len(parts)} values"
                        raise self.wrong(what, row=row, remedy="correct the heading, or delete it")
                    return Rows(self, place, row, len(parts), columns)
                names = [part.decode("utf-8", "replace").strip('"').lower() for part in parts]
                if width is not None or any(names.count(axis) != 1 for axis in "xyz"):
                    raise self.wrong(
                        "neither numbers nor a heading with x, y and z",
                        row=row,
                        value=text.decode("utf-8", "replace"),
                        expected=EXPECTED,
                        remedy="correct the row, put # before it, or delete it",
                    )
                columns, width = [names.index(axis) for axis in "xyz"], len(names)
            place += len(line)
        raise self.wrong("the file holds no points", expected=EXPECTED, remedy="choose another file")

    def _read_comment(self, text: bytes, row: int) -> None:
        key, colon, value = text.lstrip(b"#/ ").decode("utf-8", "replace").partition(":")
        if not colon or key.strip().lower() != "unit":
            return
        unit = unit_named(value.strip())
        if unit is None:
            raise self.wrong(
                "unknown unit", row=row, value=value, expected="m, cm, mm, ft or in", remedy="correct the line"
            )
        self.stated = float(MM_PER[unit])

    def _check_first(self, text: bytes, parts: list[bytes], row: int) -> None:
        shown = text.decode("utf-8", "replace")
        if len(parts) < 3:
            what = f"a row of {len(parts)} values"
            raise self.wrong(what, row=row, value=shown, expected=EXPECTED, remedy="delete it, or save the scan again")
        if re.search(rb"\d,\d", text) and re.search(rb"\d[ \t;]+[-+.\d]", text):
            raise self.wrong(
                "commas inside numbers and between them cannot be told apart",
                row=row,
                value=shown,
                expected="a point for decimals; blanks or commas between numbers",
                remedy="save the scan with decimal points",
            )

    def raw_look(self) -> Iterator[Floats]:
        return self.rows.look()

    def raw_blocks(self) -> Iterator[tuple[float, Floats]]:
        return self.rows.blocks()
