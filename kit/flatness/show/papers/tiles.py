"""A drawing to a stated scale on sheets of paper: which scale, how many sheets, what each of them shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from flatness.errors import ArgumentError
from flatness.lengths import format_length
from flatness.show.papers.pdf import Sheet

SCALES = {"in": (12, 16, 24, 32, 40, 48, 64, 96, 128, 192), "mm": (10, 20, 25, 30, 40, 50, 75, 100, 125, 200)}
SIDE, TOP, FOOT = 15.0, 11.0, 15.0  # margins of a sheet [mm]
HEAD, LEFT, BELOW = 18.0, 12.0, 9.0  # of a sheet, around the drawing [mm]
OVERLAP = 18.0  # of neighbouring sheets [mm]: more than the widest figure, so that none is cut on both
AROUND = 3.5  # kept free around the surface [mm]
ABOVE, NAMES = 7.0, 10.5  # and for the members' names above it, or beside it [mm]
KEY = 16.0  # below the drawing, where it has several sheets: how they lie [mm]
WIDEST_STEP = {"in": 2 * 304.8, "mm": 610.0}  # between depths that are shown [mm]


@dataclass(frozen=True)
class Tile:
    """What one sheet shows.

    Attributes
    ----------
    name : row letter and column number: A1 is the sheet at the top left
    row, column : from 0, from the top left
    x0, x1, y0, y1 : what it shows of the surface [mm]
    """

    name: str
    row: int
    column: int
    x0: float
    x1: float
    y0: float
    y1: float


@dataclass(frozen=True)
class Layout:
    """A drawing on its sheets.

    Attributes
    ----------
    scale : so many times smaller than the surface
    flipped : whether the sheets lie on their long side
    shared : whether what is to be done stands below the drawing, on the same sheet
    tiles : row by row from the top left
    rows, columns : of sheets
    width, height : of the drawing on each sheet [mm]
    """

    scale: float
    flipped: bool
    shared: bool
    tiles: tuple[Tile, ...]
    rows: int
    columns: int
    width: float
    height: float


def room_on(sheet: Sheet, flipped: bool) -> tuple[float, float]:
    """Width and height [mm] that a sheet has for a drawing alone."""
    wide, high = (sheet.height, sheet.width) if flipped else (sheet.width, sheet.height)
    return wide - 2 * SIDE - LEFT, high - TOP - FOOT - HEAD - BELOW


def lay_out(
    bounds: tuple[float, float, float, float], sheet: Sheet, unit: str, *, beside: float = 80.0,
    caption: float = 0.0, sides: tuple[float, float] = (AROUND, AROUND), most: float = math.inf,
    scale: float | None = None,
) -> Layout:  # fmt: skip
    """The sheets of a drawing.

    Parameters
    ----------
    bounds : x0, x1, y0, y1 of the surface [mm]
    sheet : the paper
    unit : ``in`` or ``mm``, whose usual scales are tried
    beside : height that is wanted on the same sheet for what is to be done [mm]
    caption : height that is wanted below the drawing on every sheet [mm]
    sides : kept free at the left and at the right of the surface, for figures and the members' names [mm]
    most : the scale from which on figures run into one another
    scale : so many times smaller; None takes the one of fewest sheets on which figures have room, and of those the
        largest drawing
    """
    if scale is not None and not (math.isfinite(scale) and 1 <= scale <= 1000):
        raise ArgumentError(
            "scale out of range", column="scale", value=str(scale), expected="1 to 1000, such as 48 for 1/4 in to 1 ft"
        )
    usual = SCALES[unit]
    tried = [one for one in usual if one <= most] or usual[:1] if scale is None else [float(scale)]
    choices = []
    for one in tried:
        for flipped in (False, True):
            wide, high = room_on(sheet, flipped)
            whole = _sheets(bounds, (wide, high - caption), sides, flipped, float(one))
            if len(whole.tiles) > 1:
                whole = _sheets(bounds, (wide, high - KEY), sides, flipped, float(one))
            choices.append(replace(whole, shared=len(whole.tiles) == 1 and whole.height <= high - caption - beside))
    return min(choices, key=lambda choice: (len(choice.tiles), not choice.shared, choice.flipped, choice.scale))


def _sheets(
    bounds: tuple[float, float, float, float],
    room: tuple[float, float],
    sides: tuple[float, float],
    flipped: bool,
    scale: float,
) -> Layout:
    x0, x1, y0, y1 = bounds
    spans = [(x1 - x0) / scale + sum(sides), (y1 - y0) / scale + AROUND + ABOVE]
    counts = [
        1 if span <= most + 1e-9 else math.ceil((span - OVERLAP) / (most - OVERLAP) - 1e-9)
        for span, most in zip(spans, room, strict=True)
    ]
    columns, rows = counts
    # sheets of one size that together just cover the drawing
    width, height = ((span + (count - 1) * OVERLAP) / count for span, count in zip(spans, counts, strict=True))
    left, top = x0 - sides[0] * scale, y1 + ABOVE * scale
    tiles = []
    for row in range(rows):
        for column in range(columns):
            start, high = left + column * (width - OVERLAP) * scale, top - row * (height - OVERLAP) * scale
            name = f"{_letters(row)}{column + 1}"
            tiles.append(Tile(name, row, column, start, start + width * scale, high - height * scale, high))
    return Layout(scale, flipped, False, tuple(tiles), rows, columns, width, height)


def _letters(row: int) -> str:
    return chr(ord("A") + row) if row < 26 else _letters(row // 26 - 1) + _letters(row % 26)


def scale_name(scale: float, unit: str) -> str:
    """A scale as drawings say it.

    >>> scale_name(48, "in"), scale_name(50, "mm"), scale_name(30, "in")
    ('1/4 in to 1 ft (1:48)', '1:50', '1:30')
    """
    inch = 304.8 / scale
    usual = unit == "in" and abs(inch / 25.4 * 32 - round(inch / 25.4 * 32)) < 1e-9
    named = f"{format_length(inch, 'in', 32)[:-1]} in to 1 ft" if usual else ""
    return f"{named} (1:{scale:g})" if named else f"1:{scale:g}"
