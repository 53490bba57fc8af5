"""The Scan: surfaces of a room as surveys on one datum, written as survey files, tables of cells, and a room file."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError
from flatness.files import named, write_new, written_together
from flatness.survey.files import write_survey
from flatness.survey.readings import Survey

SCAN_ERROR_MM = (
    25.4 / 32
)  # of where a scan has one surface to another, one standard deviation: common practice, no source
Place = tuple[float, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class ScanSurface:
    """One surface of a scanned room.

    Attributes
    ----------
    name : ``floor``, ``ceiling``, or ``wall A`` to ``wall D``, clockwise as seen from above
    survey : a reading a cell, heights off the room's datum (floor, ceiling) or off the plumb plane through ``line``;
        its accuracy is the root mean square of the cells' errors, since a survey states one for all; areas of two cells
        by two or more without a reading are its openings
    cells : DataFrame, a row a reading: ``x``, ``y``, ``height``, ``error`` (one standard deviation) [mm], ``points``
    noise : usual spread of the points about their cell [mm], one standard deviation
    emptied : cells that were emptied: they stand off all around by over 1/2 in, or part of them is of something else
    datum : height of the survey's 0 above the room's datum [mm], of floor and ceiling
    line : start and end on the plan of a wall's x axis [mm], left to right as seen from the room
    """

    name: str
    survey: Survey
    cells: pd.DataFrame
    noise: float
    emptied: int
    datum: float = 0.0
    line: tuple[Place, Place] | None = None

    @property
    def hidden(self) -> float:
        """Area of the openings [mm2]: hidden behind things, or open."""
        return float(sum(opening.area for opening in self.survey.openings))


@dataclass(frozen=True, eq=False, kw_only=True)
class Scan:
    """What a scan shows of one room. x and y are on the plan from its corner of least x and y, z up from its datum, the
    height of the floor's plane in the middle of the room.

    Attributes
    ----------
    title, source : what the room is called; name of the file
    surfaces : by name
    points : in the file
    used : of these, those on the surfaces; the others are of things in the room, of edges, or of what lies beyond it
    cell : width of a cell [mm]
    size : of the room along x, y and up [mm]; as far as it was seen where a surface is missing
    origin : of the room, in the file's frame [mm]
    angle : by which the room's x is turned from the file's, counterclockwise [radians]
    notes : what is worth knowing
    """

    title: str
    source: str
    surfaces: Mapping[str, ScanSurface]
    points: int
    used: int
    cell: float
    size: tuple[float, ...]
    origin: tuple[float, float, float]
    angle: float
    notes: tuple[str, ...] = ()

    def write(
        self, folder: str | os.PathLike[str], *, scan_error: float = SCAN_ERROR_MM, overwrite: bool = False
    ) -> list[Path]:
        """Write a survey and a table of cells for each surface, and ``room.toml``; all of them or none.

        Parameters
        ----------
        folder : that is there
        scan_error : how far the scan may have a surface off the others, one standard deviation [mm], for the room file
        overwrite : replace files of these names

        Raises
        ------
        FlatnessError : a file that is there already or cannot be written
        """
        if not (np.isfinite(scan_error) and scan_error >= 0):
            expected = "0 mm or more"
            raise ArgumentError("not an error", column="scan_error", value=f"{scan_error} mm", expected=expected)
        written = []
        with written_together():
            for one in self.surfaces.values():
                path = named(folder, f"{_stem(one.name)}.csv")
                write_survey(one.survey, path, overwrite=overwrite)
                written.append(path)
                cells = one.cells.rename(columns={k: f"{k}_mm" for k in ("x", "y", "height", "error")})
                table = cells.to_csv(index=False, float_format="%.6g", lineterminator="\n")
                written.append(write_new(named(folder, f"{_stem(one.name)}-cells.csv"), table.encode(), overwrite))
            room = self.room_text(scan_error).encode()
            written.append(write_new(named(folder, "room.toml"), room, overwrite))
        return written

    def room_text(self, scan_error: float = SCAN_ERROR_MM) -> str:
        """The room file of the surveys, for ``flatness room``."""
        where = ", ".join(f"{part:.1f}" for part in self.origin)
        tables = [
            f"# From the scan {_comment(self.source)}. x and y on the plan are from the corner of wall C and wall D; "
            "heights are up from\n"
            "# the floor's plane in the middle of the room. Add [checks], limits and openings: flatness room --keys.\n"
            f"# The origin stands in the scan at {where} mm, x turned by {np.degrees(self.angle):.3f} degrees.\n\n"
            f"title = {_quoted(self.title)}\n"
            'unit = "mm"'
        ]
        error = f'"{scan_error:.4g} mm"'
        for one in self.surfaces.values():
            lines = ["[[surface]]", f"name = {_quoted(one.name)}", f'surveys.before = "{_stem(one.name)}.csv"']
            if one.line is None:
                lines += [f'datum = "{one.datum:.1f} mm"', f"datum_error = {error}"]
            else:
                for key, place in zip(("from", "to"), one.line, strict=True):
                    lines.append(f'{key} = ["{place[0]:.1f} mm", "{place[1]:.1f} mm"]')
                lines.append(f"control_error = {error}")
            tables.append("\n".join(lines))
        return "\n\n".join(tables) + "\n"


def _stem(name: str) -> str:
    return name.lower().replace(" ", "-")


def _comment(text: str) -> str:
    return "".join(mark if mark.isprintable() else "?" for mark in text)


def _quoted(text: str) -> str:
    """A text as TOML has it, in one line."""
    out = "".join(mark if mark.isprintable() and mark not in '"\\' else f"\\u{ord(mark):04x}" for mark in text)
    return f'"{out}"'
