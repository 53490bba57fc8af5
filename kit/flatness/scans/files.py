"""Files of points, opened: what kind each is, its unit, a look at points spread through it, all of it in blocks.

A file of points is larger than memory may be. It is never held whole: :meth:`PointFile.look` reads a few thousand
points at places spread evenly through the file, by seeking to them, and :meth:`PointFile.blocks` gives all points once,
block by block. So what the points are sorted by, as scanners and programs sort them, does not matter to the look.
"""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from flatness.arrays import Floats
from flatness.errors import FlatnessError, Problem
from flatness.files import file_size, why
from flatness.lengths import MM_PER, unit_named
from flatness.notes import Note

BLOCK = 500_000  # points of a block
LOOKS, LOOK_POINTS = 250, 1000  # places through the file that are looked at, and points read at each
BINARY = {b"LASF": ".las or .laz", b"ASTM-E57": ".e57", b"ply": ".ply", b"PK\x03\x04": ".xlsx"}
FARTHEST = 1e11  # in any unit: farther than across the earth, in mm
US_FOOT_MM = 1200 / 3937 * 1000  # US survey foot, as LAS files state it (National Bureau of Standards, 1959)
# what a room is like: its largest side and its height [mm], as it may be, and as it usually is; the kit's own
ROOM_SIDE, ROOM_HIGH = (1800.0, 60_000.0), 15_000.0
USUAL_SIDE, USUAL_HIGH = (2400.0, 30_000.0), 6000.0
AGAIN = "copy or save the file again"


class ScanFileError(FlatnessError, ValueError):
    """A file of points that cannot be taken as it is."""


class PointFile(ABC):
    """A file of points that can be looked into and read once, in blocks.

    Attributes
    ----------
    path : of the file
    stated : millimetres of the unit that the file itself states, or None
    factor : millimetres of the unit that is used
    count : points that the file says it holds, or None
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.stated: float | None = None
        self.factor = 1.0
        self.count: int | None = None

    @abstractmethod
    def raw_look(self) -> Iterator[Floats]:
        """Points [n, 3] from places spread through the file, in the file's unit."""

    @abstractmethod
    def raw_blocks(self) -> Iterator[tuple[float, Floats]]:
        """All points, in the file's unit: the share of the file that is read with a block, and the block [n, 3]."""

    def look(self) -> Floats:
        """Points [n, 3] in mm from places spread through the file; :meth:`blocks` tells of those that are nowhere."""
        parts = [part for part in self.raw_look() if len(part)]
        found: Floats = np.concatenate(parts) if parts else np.empty((0, 3))
        found = found[(np.abs(found) < FARTHEST).all(axis=1)] * self.factor
        if not len(found):
            for _ in self.blocks():  # says what is wrong with which row
                pass
            raise self.wrong("the file holds no points", expected="x, y and z of each point", remedy="scan again")
        return found

    def blocks(self) -> Iterator[tuple[float, Floats]]:
        """All points in mm, with the share of the file that is read.

        Raises
        ------
        ScanFileError : a point that is nowhere, by its number in the file
        """
        read = 0
        for share, block in self.raw_blocks():
            if len(block) and not np.abs(block).max() < FARTHEST:  # what is no number is not less
                k = int(np.argmin((np.abs(block) < FARTHEST).all(axis=1)))
                raise self.wrong(
                    "a point that is nowhere",
                    column=f"point {read + k + 1}",
                    value=" ".join(f"{v:g}" for v in block[k]),
                    expected="three finite numbers",
                    remedy="leave points without a return out when the scan is saved",
                )
            read += len(block)
            yield share, block if self.factor == 1.0 else block * self.factor

    def wrong(self, what: str, **more: object) -> ScanFileError:
        """What is wrong with the file."""
        return ScanFileError(what, file=self.path.name, **more)

    def _check_size(self, needed: int) -> None:
        size = self.path.stat().st_size
        if size < needed:
            raise self.wrong(
                "the file ends before its last point",
                value=f"{size} bytes",
                expected=f"{needed} bytes for {self.count} points, as its header says",
                remedy=AGAIN,
            )


def open_points(path: str | os.PathLike[str], unit: str | None = None) -> PointFile:
    """The file of points at a path, of the kind that its ending says.

    Parameters
    ----------
    path : of a text of x y z (.xyz, .txt, .csv, .asc, .pts), .ply, .las, .laz or .e57
    unit : of its numbers: ``m``, ``cm``, ``mm``, ``ft`` or ``in``; None where the file states it

    Raises
    ------
    ScanFileError : a file that is none of these, or whose unit is not known
    """
    from flatness.scans.binary import E57File, LasFile, PlyFile
    from flatness.scans.text import TextFile

    path = Path(path)
    kinds: dict[str, type[PointFile]] = {
        **dict.fromkeys((".xyz", ".txt", ".csv", ".asc", ".pts"), TextFile),
        ".ply": PlyFile,
        ".las": LasFile,
        ".laz": LasFile,
        ".e57": E57File,
    }
    ending = path.suffix.lower()
    if ending not in kinds:
        raise ScanFileError(
            "not a kind of file of points that is read",
            file=path.name,
            value=ending or "no ending",
            expected=", ".join(kinds),
            remedy="save the scan as LAS, PLY or x y z text",
        )
    try:
        size = file_size(path)
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as error:
        what = f"the file cannot be read: {why(error)}"
        raise ScanFileError(what, file=str(path), remedy="check the name and the folder") from error
    if not size:
        raise ScanFileError("the file is empty", file=path.name, expected="points", remedy="choose another file")
    for mark, endings in BINARY.items():
        if start.startswith(mark) and ending not in endings:
            what = f"this is a {endings} file, whatever its name says"
            raise ScanFileError(what, file=path.name, value=ending, remedy="give it the ending that it is")
    found = kinds[ending](path)
    _settle_unit(found, unit)
    return found


def _settle_unit(found: PointFile, unit: str | None) -> None:
    named = None if unit is None else unit_named(unit)
    if unit is not None and named is None:
        raise FlatnessError("unknown unit", column="unit", value=unit, expected="m, cm, mm, ft or in")
    given = None if named is None else float(MM_PER[named])
    if given is None and found.stated is None:
        raise found.wrong(
            "the file does not say the unit of its numbers",
            expected="m, cm, mm, ft or in",
            remedy="name it: --unit m, or unit='m'",
        )
    if given is not None and found.stated is not None and abs(given / found.stated - 1) > 1e-5:
        raise found.wrong(
            "the file states another unit than the one that is named",
            value=f"{found.stated:g} mm to its unit",
            expected=f"{given:g} mm, as {unit} has",
            remedy="leave the unit out, or save the scan again in that unit",
        )
    found.factor = found.stated or given or 1.0


def unit_doubt(look: Floats, factor: float) -> Note | None:
    """A note where points [n, 3] in mm, read with ``factor`` mm to the file's unit, span no room but would in another.

    >>> room = np.random.default_rng(0).uniform(0, (4.3, 3.7, 2.7), (1000, 3))
    >>> unit_doubt(room * 1000, 1000.0), unit_doubt(room, 1.0).values["units"]
    (None, 'm')
    """
    low, high = np.percentile(look, [2, 98], axis=0)  # a few points are far off
    span = high - low
    if ROOM_SIDE[0] <= span.max() <= ROOM_SIDE[1] and span[2] <= ROOM_HIGH:
        return None
    numbers = span / factor
    likely = [
        name
        for name, mm in MM_PER.items()
        if USUAL_SIDE[0] <= numbers.max() * float(mm) <= USUAL_SIDE[1] and numbers[2] * float(mm) <= USUAL_HIGH
    ]
    used = next((name for name, mm in MM_PER.items() if abs(float(mm) / factor - 1) < 1e-5), "the file's unit")
    sizes = " x ".join(f"{number:,.0f}" if number > 100 else f"{number:.2g}" for number in numbers)
    return Note("scan-unit", sizes=sizes, used=used, units=" or ".join(likely)) if likely else None


def spread(count: int, places: int, each: int) -> list[int]:
    """Where to begin looks of ``each`` points, evenly through ``count`` points.

    >>> spread(10, 3, 2), spread(3, 4, 2)
    ([0, 4, 8], [0])
    """
    if count <= each * places:
        return [0]
    return [int(k) for k in np.linspace(0, count - each, places)]


def missing(package: str, ending: str, file: str) -> FlatnessError:
    """What to do where a package of the optional extra is not installed."""
    return FlatnessError(
        Problem(
            f"reading {ending} needs the package {package}, which is not installed",
            file=file,
            expected="the optional extra `scan`",
            remedy="pip install 'surface-flatness-kit[scan]', or save the scan as PLY or x y z text",
        )
    )
