"""From data to a PDF: a template, the data as JSON, drawings as SVG; what came from a file is text and never markup.

A drawing to a stated scale on sheets of paper: which scale, how many sheets, what each of them shows.

What is written on a drawing, how wide it is, and what room it leaves.
"""

from __future__ import annotations

import base64
import json
import math
import shutil
import tempfile
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
import typst
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from matplotlib.ft2font import FT2Font
from shapely.geometry.base import BaseGeometry

from flatness.errors import ArgumentError, check_choice, shorten, visible
from flatness.files import SOFTWARE, drafted
from flatness.lengths import format_length

MARGIN_MM = 15.24  # of the papers for reading
TEMPLATES = Path(__file__).parent / "templates"
LONGEST_WORD = 24  # letters before a word may be broken
BREAK = "\N{ZERO WIDTH SPACE}"
JOINERS = "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}"  # which some scripts are written with
EARLIEST = datetime(1980, 1, 1, tzinfo=UTC)  # what a ZIP archive and a PDF both can say


@dataclass(frozen=True)
class Sheet:
    """A size of paper, upright.

    Attributes
    ----------
    name : as the user says it
    template : as the template calls it
    width, height : [mm]
    """

    name: str
    template: str
    width: float
    height: float


SHEETS = {"letter": Sheet("letter", "us-letter", 215.9, 279.4), "a4": Sheet("a4", "a4", 210.0, 297.0)}


def sheet_named(paper: str) -> Sheet:
    """The size of paper of this name, ``letter`` or ``a4``."""
    check_choice("paper", paper, SHEETS, "unknown size of paper")
    return SHEETS[paper]


def make_pdf(
    template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes], paper: str, made: datetime | None = None
) -> bytes:
    """Set a template with its data.

    Parameters
    ----------
    template : file in ``templates``
    data : what JSON can say; every text in it is printed as it is
    pictures : SVG by file name
    paper : ``letter`` or ``a4``
    made : when the paper was made, which is printed and stamped; None leaves it out. The same data and the same
        ``made`` give the same bytes

    Raises
    ------
    ArgumentError : an unknown paper, a date out of range, or no room to set it
    """
    sheet = sheet_named(paper)
    whole = {**data, "paper": sheet.template, "made": made_text(made), "software": SOFTWARE}
    with drafted("the paper"), tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for source in TEMPLATES.glob("*.typ"):
            shutil.copyfile(source, root / source.name)
        (root / "data.json").write_text(json.dumps(printable(whole), allow_nan=False), encoding="utf-8")
        for name, svg in pictures.items():
            (root / name).write_bytes(svg)
        # the letters that the template's own face lacks come from the one that the charts are set in
        fonts = [str(Path(mpl.get_data_path()) / "fonts" / "ttf")]
        stamp = int((made or EARLIEST).timestamp())
        out = typst.compile(str(root / template), root=str(root), font_paths=fonts, format="pdf", timestamp=stamp)
    assert isinstance(out, bytes)
    return out


def make_html(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> str:
    """A template of HTML with its data, every text in it escaped, and its pictures by file name, as one page."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    coded = {name: coded_picture(picture, Path(name).suffix) for name, picture in pictures.items()}
    return environment.get_template(template).render(**data, pictures=coded, software=SOFTWARE)


def coded_picture(picture: bytes, ending: str) -> str:
    """A picture as the address of an image in a page."""
    kind = {".svg": "svg+xml", ".jpg": "jpeg", ".png": "png"}[ending]
    return f"data:image/{kind};base64,{base64.b64encode(picture).decode('ascii')}"


def made_text(made: datetime | None) -> str:
    """The day that a paper was made, such as ``2026-03-05``; empty where it is not said."""
    if made is None:
        return ""
    if not isinstance(made, datetime) or made.tzinfo is None or made < EARLIEST:
        raise ArgumentError(
            "the time that the paper was made is not usable",
            column="made",
            value=str(made),
            expected="a datetime with its time zone, from 1980",
            remedy="such as datetime.now(timezone.utc)",
        )
    return made.date().isoformat()


def printable(value: Any) -> Any:
    """Data with every text on one line, without marks that turn what follows, and with long words that may break."""
    if isinstance(value, Mapping):
        return {key: printable(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [printable(item) for item in value]
    return _breakable(one_line(value)) if isinstance(value, str) else value


def one_line(text: str) -> str:
    r"""A text on one line, marks that would hide or turn what follows shown as text.

    >>> one_line("a\nb  c\u202e")
    'a b c\\u202e'
    """
    seen = visible(" ".join(text.split()))
    return "".join(c for c in seen if c in JOINERS or unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))


def cut(text: str, most: int) -> str:
    """A text on one line, cut in the middle where it is longer than ``most`` letters: between words where it has any.

    >>> cut("A floor of many humps and hollows over the whole hall", 40), cut("x" * 50, 36)
    ('A floor of many … the whole hall', 'xxxxxxxxxxxxxxxx ... xxxxxxxxxxxxxx')
    """
    line = one_line(text)
    if len(line) <= most:
        return line
    half = (most - 3) // 2
    start, end = line[: half + 1].rpartition(" ")[0], line[-half - 1 :].partition(" ")[2]
    # words longer than a quarter of the room are cut themselves
    return f"{start} … {end}" if min(len(start), len(end)) > most // 4 else shorten(line, most)[1:-1]


def _breakable(text: str) -> str:
    words = text.split(" ")
    return " ".join(
        BREAK.join(word[i : i + LONGEST_WORD] for i in range(0, len(word), LONGEST_WORD)) or word for word in words
    )


SCALES = {"in": (12, 16, 24, 32, 40, 48, 64, 96, 128, 192), "mm": (10, 20, 25, 30, 40, 50, 75, 100, 125, 200)}
SIDE, TOP, FOOT = 15.0, 11.0, 15.0  # margins of a sheet [mm]
HEAD, LEFT, BELOW = 18.0, 12.0, 9.0  # of a sheet, around the drawing [mm]
OVERLAP = 18.0  # of neighbouring sheets [mm]: more than the widest figure, so that none is cut on both
AROUND = 3.5  # kept free around the surface [mm]
ABOVE, NAMES = 7.0, 10.5  # and for the members' names above it, or beside it [mm]
NARROW = 74.0  # the least width of what is to be done, where it stands at the right of the drawing [mm]
KEY = 16.0  # below the drawing, where it has several sheets: how they lie [mm]
WIDEST_STEP = {"in": 2 * 304.8, "mm": 610.0}  # between depths that are shown [mm]


@dataclass(frozen=True, kw_only=True)
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


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A drawing on its sheets.

    Attributes
    ----------
    scale : so many times smaller than the surface
    flipped : whether the sheets lie on their long side
    shared : whether what is to be done stands on the same sheet, below the drawing
    narrow : or at its right
    tiles : row by row from the top left
    rows, columns : of sheets
    width, height : of the drawing on each sheet [mm]
    """

    scale: float
    flipped: bool
    shared: bool
    narrow: bool
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
    bounds: tuple[float, float, float, float],
    sheet: Sheet,
    unit: str,
    *,
    beside: float = 80.0,
    narrow: float = math.inf,
    caption: float = 0.0,
    sides: tuple[float, float] = (AROUND, AROUND),
    most: float = math.inf,
    scale: float | None = None,
) -> Layout:
    """The sheets of a drawing.

    Parameters
    ----------
    bounds : x0, x1, y0, y1 of the surface [mm]
    sheet : the paper
    unit : ``in`` or ``mm``, whose usual scales are tried
    beside : height that is wanted on the same sheet for what is to be done [mm]
    narrow : and where it stands in a column at the right of the drawing [mm]
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
            one_sheet = len(whole.tiles) == 1
            below = one_sheet and whole.height <= high - caption - beside
            right = one_sheet and not below and narrow <= high and whole.width + NARROW <= wide
            choices.append(replace(whole, shared=below or right, narrow=right))
    return min(
        choices, key=lambda choice: (len(choice.tiles), not choice.shared, choice.narrow, choice.flipped, choice.scale)
    )


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
            tiles.append(
                Tile(
                    name=name,
                    row=row,
                    column=column,
                    x0=start,
                    x1=start + width * scale,
                    y0=high - height * scale,
                    y1=high,
                )
            )
    return Layout(
        scale=scale,
        flipped=flipped,
        shared=False,
        narrow=False,
        tiles=tuple(tiles),
        rows=rows,
        columns=columns,
        width=width,
        height=height,
    )


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


POINT_MM = 25.4 / 72
CLEAR = 0.4  # kept free around every text [mm]
DISC = 6.4  # across the disc that holds a place's number [mm]
# size [points] and weight of each kind of text; the template takes them from here
TYPE: dict[str, tuple[float, bool]] = {
    "reading": (9.5, True),
    "small": (8.0, False),
    "strong": (8.0, True),
    "extreme": (8.0, True),
    "member": (8.0, True),
    "spot": (8.0, True),
    "match": (8.0, False),
    "place": (9.5, True),
}


@dataclass
class Drawn:
    """What stands on one sheet, in mm of paper from its top left corner, y downward.

    Attributes
    ----------
    size : width and height of the sheet's drawing
    lines : ``[x1, y1, x2, y2, kind]``
    areas : ``[[[x, y], ...], kind]``
    signs : ``[x, y, kind]``: corner, dot, spot, origin
    texts : ``[x, y, words, kind]``, each centered at its place
    across, up : (place, words) of the tape positions below and beside the drawing
    labeled : numbers of the heights that are written
    """

    size: tuple[float, float]
    lines: list[list[Any]] = field(default_factory=list)
    areas: list[list[Any]] = field(default_factory=list)
    signs: list[list[Any]] = field(default_factory=list)
    texts: list[list[Any]] = field(default_factory=list)
    across: list[list[Any]] = field(default_factory=list)
    up: list[list[Any]] = field(default_factory=list)
    labeled: set[int] = field(default_factory=set)
    _taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    _kept: list[BaseGeometry] = field(default_factory=list)

    def put(self, x: float, y: float, words: str, kind: str) -> None:
        """A text at its place, whatever stands there."""
        self.texts.append([x, y, words, kind])
        self._taken.append(text_box(x, y, words, kind))

    def put_first(self, places: Iterable[tuple[float, float]], words: str, kind: str) -> tuple[float, float] | None:
        """A text at the first of these places that is free, which is returned; None where none is."""
        free = next((place for place in places if self.is_free(*place, words, kind)), None)
        if free is not None:
            self.put(*free, words, kind)
        return free

    def sign(self, x: float, y: float, kind: str, reach: float) -> None:
        """A sign, from whose middle texts keep so far away [mm]."""
        self.signs.append([x, y, kind])
        self._taken.append((x - reach, y - reach, x + reach, y + reach))

    def keep_clear(self, geometry: BaseGeometry) -> None:
        """A line that no text is to cross."""
        if not geometry.is_empty:
            shapely.prepare(geometry)
            self._kept.append(geometry)

    def is_free(self, x: float, y: float, words: str, kind: str) -> bool:
        """Whether a text would stand clear of the others and of the lines, on the sheet."""
        a, b, c, d = text_box(x, y, words, kind)
        if a < 0 or b < 0 or c > self.size[0] or d > self.size[1]:
            return False
        taken = np.array(self._taken, dtype=np.float64).reshape(-1, 4)
        if ((a < taken[:, 2]) & (taken[:, 0] < c) & (b < taken[:, 3]) & (taken[:, 1] < d)).any():
            return False
        here = shapely.box(a, b, c, d)
        return not any(line.intersects(here) for line in self._kept)


@cache
def _font(bold: bool) -> FT2Font:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FT2Font(str(Path(mpl.get_data_path()) / "fonts" / "ttf" / name))


@cache
def text_size(words: str, kind: str) -> tuple[float, float]:
    """Width and height of the capitals [mm] of a text of this kind, in the face that it is printed in."""
    size, bold = TYPE[kind]
    font = _font(bold)
    font.set_size(100, 72)
    font.set_text(words.partition(" ")[2] if kind == "place" else words)
    wide = font.get_width_height()[0] / 64 / 100 * size * POINT_MM
    return (wide + DISC + 1.8, DISC) if kind == "place" else (wide, 0.75 * size * POINT_MM)


def text_box(x: float, y: float, words: str, kind: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom [mm] of what a text takes up."""
    wide, high = text_size(words, kind)
    return x - wide / 2 - CLEAR, y - high / 2 - CLEAR, x + wide / 2 + CLEAR, y + high / 2 + CLEAR
