"""A drawing to a stated scale on sheets of paper: which scale, how many sheets, what each of them shows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flatness.errors import ArgumentError
from flatness.lengths import format_length
from flatness.show.papers.pdf import Sheet

SCALES = {"in": (12, 16, 24, 32, 48, 64, 96, 128, 192), "mm": (10, 20, 25, 50, 75, 100, 125, 200)}
MARGIN, HEAD, LEFT, BELOW, LEGEND = 12.7, 14.0, 20.0, 9.0, 40.0  # of a sheet, around the drawing [mm]
OVERLAP = 18.0  # of neighbouring sheets [mm]: more than the widest depth, so that none is cut on both
AROUND = 9.0  # kept free around the surface, for the members' names [mm]
WIDEST_STEP = {"in": 2 * 304.8, "mm": 610.0}  # between depths that are shown [mm]
# kept free beside and above a depth, so that lines are seen between them [mm]; less where depths would be too far apart
CLEAR, LEAST_CLEAR = (3.0, 2.4), (1.6, 1.6)
ROUND_STEPS = {"in": 304.8, "mm": 500.0}


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
    tiles : row by row from the top left
    rows, columns : of sheets
    stride : so many lattice steps from one depth shown to the next
    width, height : of the drawing on each sheet [mm]
    """

    scale: float
    flipped: bool
    tiles: tuple[Tile, ...]
    rows: int
    columns: int
    stride: int
    width: float
    height: float


def room_on(sheet: Sheet, flipped: bool) -> tuple[float, float]:
    """Width and height [mm] that a sheet has for the drawing."""
    wide, high = (sheet.height, sheet.width) if flipped else (sheet.width, sheet.height)
    # the foot of the page stands lower than the margin
    return wide - 2 * MARGIN - LEFT, high - 2 * MARGIN - 5 - HEAD - BELOW - LEGEND


def lay_out(
    bounds: tuple[float, float, float, float], spacing: float, label: tuple[float, float], sheet: Sheet, unit: str,
    scale: float | None = None,
) -> Layout:  # fmt: skip
    """The sheets of a drawing.

    Parameters
    ----------
    bounds : x0, x1, y0, y1 of the surface [mm]
    spacing : lattice step [mm]
    label : width and height of the widest depth on paper [mm]
    sheet : the paper
    unit : ``in`` or ``mm``, whose usual scales are tried
    scale : so many times smaller; None takes the one of fewest sheets at which depths stand no more than 2 ft (600 mm)
        apart, and of those the largest
    """
    if scale is not None and not (math.isfinite(scale) and 1 <= scale <= 1000):
        raise ArgumentError(
            "scale out of range", column="scale", value=str(scale), expected="1 to 1000, such as 48 for 1/4 in to 1 ft"
        )
    tried = SCALES[unit] if scale is None else (float(scale),)
    choices = [
        _sheets(bounds, spacing, label, room_on(sheet, flipped), flipped, float(one), unit)
        for one in tried
        for flipped in (False, True)
    ]
    fit = [choice for choice in choices if choice.stride * spacing <= WIDEST_STEP[unit] * 1.01]
    return min(fit or choices[:2], key=lambda choice: (len(choice.tiles), choice.scale, choice.flipped))


def _sheets(
    bounds: tuple[float, float, float, float], spacing: float, label: tuple[float, float], room: tuple[float, float],
    flipped: bool, scale: float, unit: str,
) -> Layout:  # fmt: skip
    x0, x1, y0, y1 = bounds
    spans = [(x1 - x0) / scale + 2 * AROUND, (y1 - y0) / scale + 2 * AROUND]
    counts = [
        max(1, math.ceil((span - OVERLAP) / (most - OVERLAP) - 1e-9)) for span, most in zip(spans, room, strict=True)
    ]
    columns, rows = counts
    # sheets of one size that together just cover the drawing
    width, height = (
        (span + (count - 1) * OVERLAP) / count for span, count in zip(spans, counts, strict=True)
    )  # fmt: skip
    left, top = x0 - AROUND * scale, y1 + AROUND * scale
    tiles = []
    for row in range(rows):
        for column in range(columns):
            start, high = left + column * (width - OVERLAP) * scale, top - row * (height - OVERLAP) * scale
            name = f"{_letters(row)}{column + 1}"
            tiles.append(Tile(name, row, column, start, start + width * scale, high - height * scale, high))
    stride = _stride(label, CLEAR, scale, spacing, unit)
    if stride * spacing > WIDEST_STEP[unit] * 1.01:
        stride = _stride(label, LEAST_CLEAR, scale, spacing, unit)
    return Layout(scale, flipped, tuple(tiles), rows, columns, stride, width, height)


def _letters(row: int) -> str:
    return chr(ord("A") + row) if row < 26 else _letters(row // 26 - 1) + _letters(row % 26)


def _stride(
    label: tuple[float, float], clear: tuple[float, float], scale: float, spacing: float, unit: str
) -> int:  # fmt: skip
    """The least stride that leaves labels so clear, or one not much wider that comes to whole feet or half metres."""
    need = max((size + free) * scale / spacing for size, free in zip(label, clear, strict=True))
    least = max(1, math.ceil(need - 1e-9))
    for stride in range(least, math.ceil(1.5 * least) + 1):
        steps = stride * spacing / ROUND_STEPS[unit]
        if abs(steps - round(steps)) < 1e-3:
            return stride
    return least


def scale_name(scale: float, unit: str) -> str:
    """A scale as drawings say it.

    >>> scale_name(48, "in"), scale_name(50, "mm"), scale_name(30, "in")
    ('1/4 in to 1 ft (1:48)', '1:50', '1:30')
    """
    inch = 304.8 / scale
    usual = unit == "in" and abs(inch / 25.4 * 32 - round(inch / 25.4 * 32)) < 1e-9
    named = f"{format_length(inch, 'in', 32)[:-1]} in to 1 ft" if usual else ""
    return f"{named} (1:{scale:g})" if named else f"1:{scale:g}"
