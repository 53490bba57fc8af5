"""Write the sample surveys of an invented building, and tell the true surface behind each of them.

``make_samples.py [folder]`` writes the files again, byte for byte; ``truth(name, x, y)`` is the surface that
a file's readings were taken from. Nothing here uses the kit, so reading the files back checks the kit.
"""

from __future__ import annotations

import re
import sys
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from openpyxl import Workbook

Floats = NDArray[np.float64]
IN, FT = 25.4, 304.8
GLYPHS = {"1/4": "¼", "1/2": "½", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞"}
MEMBERS = 16 * IN  # spacing of joists, strapping and studs


def seeded(name: str) -> np.random.Generator:
    """The random numbers that belong to this name, the same on every run."""
    return np.random.default_rng(list(name.encode()))


def bump(distance: Floats, reach: float) -> Floats:
    """A smooth hump: 1 at distance 0, half at half the reach, 0 from the reach on."""
    return 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.abs(distance) / reach, 1))


def members(at: Floats, name: str, spread: float, odd: int = 0, proud: float = 0) -> Floats:
    """How far [mm] members stand proud, number ``odd`` by ``proud`` more; boards run straight between."""
    offsets = seeded(name).normal(0, spread, 22)
    offsets[odd - 1] += proud
    return np.asarray(np.interp(at, MEMBERS * np.arange(22), offsets))


def loft_floor(x: Floats, y: Floats, ridge: float, dip: float) -> Floats:
    """Joists run along y over a beam at 10 ft. ``ridge`` along the beam and ``dip`` by the stair in mm."""
    fall = -8 * x / (16 * FT) - 13 * y / (22 * FT)
    past_beam = y - 10 * FT
    in_span = np.where(past_beam < 0, -past_beam / (10 * FT), past_beam / (12 * FT))
    sag = np.where(past_beam < 0, 1.2, 1.7) * np.sin(np.pi * in_span)
    by_stair = bump(np.hypot(x - 10 * FT, y - 15 * FT), 4 * FT)
    worked = ridge * bump(past_beam, 3 * FT) - dip * by_stair
    return np.asarray(fall + members(x, "loft joists", 0.35) - sag + worked)


def gallery_ceiling(x: Floats, y: Floats) -> Floats:
    """Strapping along x waves 3 mm every 8 ft, shifted from strap to strap; the twelfth hangs 5 mm low."""
    wave = 3 * np.cos(2 * np.pi * (x / (8 * FT) + y / (40 * FT)))
    return np.asarray(10 * y / (28 * FT) + wave + members(y, "gallery strapping", 0.5, odd=12, proud=5))


def east_wall(x: Floats, y: Floats) -> Floats:
    """Leans 8 mm into the room at the top; the ninth stud bows 7 mm into the room at half height."""
    up = y / (9 * FT)
    bow = 7 * np.maximum(0, 1 - np.abs(x - 8 * MEMBERS) / MEMBERS) * np.sin(np.pi * np.clip(up, 0, 1))
    return np.asarray(8 * up + bow + members(x, "east studs", 0.6))


def west_wall(x: Floats, y: Floats) -> Floats:
    """Plumb within 1 mm, but its left end stands 14 mm into the room: not parallel to the east wall."""
    return 14 * (1 - x / (28 * FT)) - y / (9 * FT) + members(x, "west studs", 0.6)


def hanging_wall(x: Floats, y: Floats) -> Floats:
    """Leans 2 mm; two shallow hollows of board between its studs, 2.8 mm and 2.4 mm deep, that fade out in 3 ft."""
    hollows = ((100 * IN, 54 * IN, 2.8), (38 * IN, 34 * IN, 2.4))
    deep = sum(depth * bump(np.hypot(x - at, y - up), 3 * FT) for at, up, depth in hollows)
    return np.asarray(2 * y / (8 * FT) - deep)


def slab(x: Floats, y: Floats) -> Floats:
    """Six waves of 4 to 21 ft; a patch about (20 ft, 24 ft), 6 ft all round, settled 6 mm."""
    height = -6 * bump(np.hypot(x - 20 * FT, y - 24 * FT), 6 * FT)
    starts = seeded("kiln bay waves").uniform(0, 1, 6)
    for n, (feet_long, start) in enumerate(zip((4, 5, 7, 9, 14, 21), starts, strict=True)):
        along = (x * np.cos(np.radians(75 * n)) + y * np.sin(np.radians(75 * n))) / (feet_long * FT)
        height = height + feet_long / 6 * np.sin(2 * np.pi * (along + start))
    return height


def packing_room(x: Floats, y: Floats) -> Floats:
    """A hump of 6 mm about (5 ft, 5 ft), 5 ft all round, and a fall of 9 mm in 12.5 ft along x."""
    return 6 * bump(np.hypot(x - 5 * FT, y - 5 * FT), 5 * FT) - 9 * x / (12.5 * FT)


def gallery_floor(x: Floats, y: Floats) -> Floats:
    """Off the strings' plane: 7 mm low in the middle of the room. How the strings lie, no file says."""
    return -7 * bump(x - 6 * FT, 6 * FT) * np.sin(np.pi * y / (28 * FT))


def glaze_store(x: Floats, y: Floats, dip: float, hump: float) -> Floats:
    """A dip about (1.2 m, 1.2 m), 1.5 m all round, and a hump about (3.9 m, 2.4 m), 1.2 m all round, in mm."""
    return (
        2.5 * x / 4800
        - dip * bump(np.hypot(x - 1200, y - 1200), 1500)
        + hump * bump(np.hypot(x - 3900, y - 2400), 1200)
    )


ROOM_X, ROOM_Y, ROOM_Z = 14 * FT, 12 * FT, 9 * FT  # of the end room of the gallery
DOOR = (120.0, 156.0, 82.0)  # of its south wall: from and to along the wall, and head [in]


def room_floor(x: Floats, y: Floats) -> Floats:
    """Level within a millimetre but for a hump of 6 mm at the foot of the west wall, 3 ft either way of y = 6 ft."""
    hump = 6 * bump(y - 6 * FT, 3 * FT) * bump(x, 4 * FT)
    return np.asarray(hump + 0.5 * np.sin(2 * np.pi * x / (9 * FT)) * np.cos(2 * np.pi * y / (11 * FT)))


def room_ceiling(x: Floats, y: Floats) -> Floats:
    """9 ft over the floor's datum at the west end, 1/2 in lower at the east end; straps 0.5 mm off one another."""
    return np.asarray(-ROOM_Z + IN / 2 * x / ROOM_X + members(y, "room strapping", 0.5))


def room_north(x: Floats, y: Floats) -> Floats:
    """3/8 in farther into the room at its east end than at its west end."""
    return np.asarray(3 / 8 * IN * x / ROOM_X + members(x, "room north studs", 0.4))


def room_east(x: Floats, y: Floats) -> Floats:
    """1/2 in farther into the room at its south end, which is 1/4 in in 6 ft."""
    return np.asarray(IN / 2 * x / ROOM_Y + members(x, "room east studs", 0.4))


def room_south(x: Floats, y: Floats) -> Floats:
    """Straight along the plan but for its studs."""
    return members(x, "room south studs", 0.4)


def room_west(x: Floats, y: Floats) -> Floats:
    """Straight along the plan but for its studs, its head 3/8 in out of plumb, away from the room."""
    return np.asarray(members(x, "room west studs", 0.4) - 3 / 8 * IN * y / ROOM_Z)


LONG, WIDE = 20 * FT, 14 * FT  # of the oval room, an ellipse in plan
CHORD, RISE = 48 * IN, 9 * IN  # of its niche, an arc in plan


def oval_wall(x: Floats, y: Floats) -> Floats:
    """Along x a flat of 2 ft in the middle of the far long side, and a stud 9 mm proud at 33 ft; leans in by 3 mm."""
    x = np.mod(x, ELLIPSE_LENGTH)  # it closes on itself
    radius = (LONG / 2) ** 2 / (WIDE / 2)  # of the ellipse in the middle of a long side
    flat = np.maximum(0, (12 * IN) ** 2 - (x - ELLIPSE_LENGTH / 4) ** 2) / (2 * radius)
    stud = 9 * np.maximum(0, 1 - np.abs(x - 33 * FT) / (16 * IN))
    return np.asarray(flat + stud + 3 * y / (9 * FT))


def niche_wall(x: Floats, y: Floats) -> Floats:
    """Along x a flat of 10 in about 16 in; the rest true."""
    radius = (CHORD**2 / 4 + RISE**2) / (2 * RISE)
    return np.asarray(np.maximum(0, (5 * IN) ** 2 - (x - 16 * IN) ** 2) / (2 * radius) + 0 * y)


def ellipse_in_plan() -> tuple[Floats, Floats, Floats]:
    """Places [n, 2], unit vectors toward the middle [n, 2] and distances along [n] of the oval room's ellipse.

    Clockwise from the end of its length at the right, as one who stands inside reads a wall from left to right.
    """
    t = -np.linspace(0, 2 * np.pi, 400_001)
    a, b = LONG / 2, WIDE / 2
    places = np.stack([a * np.cos(t), b * np.sin(t)], axis=-1)
    inward = np.stack([-b * np.cos(t), -a * np.sin(t)], axis=-1)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    return places, inward / np.hypot(*inward.T)[:, None], along


ELLIPSE_LENGTH = float(ellipse_in_plan()[2][-1])


@dataclass(frozen=True)
class Sample:
    """A true surface, one standard deviation and the step of a reading, the line that drops go off [mm]."""

    surface: Callable[[Floats, Floats], Floats]
    accuracy: float
    step: float
    line: float | None  # None where heights were read


SAMPLES = {
    "loft_floor/before": Sample(lambda x, y: loft_floor(x, y, 8, 7), IN / 32, IN / 32, 41.375 * IN),
    "loft_floor/after": Sample(lambda x, y: loft_floor(x, y, 0.5, 0.5), IN / 32, IN / 32, 41.375 * IN),
    "gallery_ceiling/ceiling": Sample(gallery_ceiling, 1, 1, 1250),
    "gallery_walls/east": Sample(east_wall, 0.5, 0.5, 1828.5),
    "gallery_walls/west": Sample(west_wall, 0.5, 0.5, 1828.5),
    "hanging_wall/wall": Sample(hanging_wall, 0.1, 0.1, 300.0),
    "kiln_bay/slab": Sample(slab, 0.01 * IN, 0.01 * IN, None),
    "packing_room/hand_typed": Sample(packing_room, IN / 16, IN / 16, 41.5 * IN),
    "glaze_store/before": Sample(lambda x, y: glaze_store(x, y, 9, 6), 0.6, 0.5, 1118.0),
    "glaze_store/after": Sample(lambda x, y: glaze_store(x, y, 0.5, 0.5), 0.6, 0.5, 1164.5),
    "gallery/floor": Sample(room_floor, IN / 32, IN / 32, 60 * IN),
    "gallery/ceiling": Sample(room_ceiling, IN / 32, IN / 32, -60 * IN),
    "gallery/north": Sample(room_north, IN / 32, IN / 32, 72 * IN),
    "gallery/east": Sample(room_east, IN / 32, IN / 32, 84 * IN),
    "gallery/south": Sample(room_south, IN / 32, IN / 32, 72 * IN),
    "gallery/west": Sample(room_west, IN / 32, IN / 32, 84 * IN),
    "oval_room/room": Sample(oval_wall, IN / 32, IN / 32, None),
    "oval_room/niche": Sample(niche_wall, IN / 32, IN / 32, None),
    "gallery_floor/string_check": Sample(gallery_floor, IN / 32, IN / 16, 1.5 * IN),
}
MARKS = {"BM1": 12.0, "BM2": -30.0}  # known heights [mm] of the glaze store's benchmarks
ROOM_MARKS = {"BM1": 36.0, "BM2": 48.0}  # known heights [in] of the benchmarks of the gallery's end room, up
STAIR = ((129, 132), (165, 132), (165, 234), (129, 234))  # corners of the loft's stair opening [in]


def truth(name: str, x: ArrayLike, y: ArrayLike) -> Floats:
    """True height [mm] of a sample's surface at x, y [mm], positive toward the room."""
    return SAMPLES[name].surface(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))


def take(name: str, x: Floats, y: Floats) -> list[int]:
    """Readings at x, y [mm] in whole steps of the sample: the truth, the reading's error, the rounding."""
    sample = SAMPLES[name]
    # the accuracy covers the rounding too, so the error before rounding is the smaller
    spread = np.sqrt(sample.accuracy**2 - sample.step**2 / 12)
    height = truth(name, x, y) + seeded(f"{name} readings").normal(0, spread, x.shape)
    readings = height if sample.line is None else sample.line - height
    return [int(steps) for steps in np.rint(readings / sample.step)]


def inches(value: Fraction) -> str:
    """Inches as people write them: 41 3/8."""
    whole, part = divmod(value, 1)
    return f"{whole} {part}" if whole and part else str(part or whole)


def feet(value: Fraction) -> str:
    """Inches written in feet and inches: 12' 6 1/2"."""
    return f"{value // 12}' {inches(value % 12)}\""


def mesh(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """Every pair of x and y, x running fastest."""
    gx, gy = np.meshgrid(x, y)
    return gx.ravel(), gy.ravel()


def in_lines(rows: Sequence[str]) -> bytes:
    return "".join(f"{row}\n" for row in rows).encode()


def loft_rows(name: str, title: str, date: str) -> tuple[list[str], list[list[str]]]:
    """Header lines and grid of a loft survey: stations every 2 ft, none inside the stair opening."""
    keys = [
        f"# title: {title}",
        "# surface: floor",
        f"# date: {date}",
        "# unit: in",
        "# reading: drop",
        "# reference: level",
        "# accuracy: 1/32 in",
        "# outline: 0,0; 16 ft,0; 16 ft,22 ft; 0,22 ft",
        "# opening: " + "; ".join(f"{feet(Fraction(x))},{feet(Fraction(y))}" for x, y in STAIR),
        "# door: bottom 9 ft to 12 ft",
        "# door: left 3 ft to 5 ft 8 in",
        "# window: left 14 ft to 17 ft",
        "# window: right 4 ft to 7 ft",
    ]
    grid = [["ft", *(str(x) for x in range(0, 17, 2))]]
    drops = take(name, *mesh(2 * FT * np.arange(9), 2 * FT * np.arange(12)))
    (west, south), (east, north) = STAIR[0], STAIR[2]
    for y in range(0, 23, 2):
        grid.append([str(y)])
        for x in range(0, 17, 2):
            drop, inside = drops.pop(0), west < 12 * x < east and south < 12 * y < north
            grid[-1].append("" if inside else inches(Fraction(drop, 32)))
    return keys, grid


def workbook(keys: Sequence[str], grid: Sequence[Sequence[str]]) -> bytes:
    """The same cells on a sheet: positions as numbers, readings as text, always the same bytes."""
    book, saved, out = Workbook(), BytesIO(), BytesIO()
    for n, row in enumerate([*([key] for key in keys), *grid], -len(keys)):
        # positions as numbers; a reading stays text, as typed into cells formatted as Text
        book.active.append([int(t) if t.isdigit() and 0 in (n, i) else t or None for i, t in enumerate(row)])
    for cell in (cell for cells in book.active.iter_rows() for cell in cells if isinstance(cell.value, str)):
        cell.number_format = "@"
    book.save(saved)
    # the library stamps the hour of saving into the properties and the archive: set both to one fixed day
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as target:
        for part in source.namelist():
            content = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-03-02T08:00:00Z", source.read(part))
            target.writestr(zipfile.ZipInfo(part, (2026, 3, 2, 8, 0, 0)), content)
    return out.getvalue()


def ceiling_file() -> bytes:
    """One reading on each strap every 2 ft, in a list whose headings carry the units."""
    rows = [
        "# title: Gallery ceiling, strapping",
        "# surface: ceiling",
        "# date: 2026-03-05",
        "# unit: mm",
        "# reading: drop",
        "# reference: level",
        "# accuracy: 1 mm",
        "# outline: (0, 0) (12 ft, 0) (12 ft, 28 ft) (0, 28 ft)",
        "x [ft],y [in],drop [mm],label",
    ]
    drops = take("gallery_ceiling/ceiling", *mesh(2 * FT * np.arange(7), MEMBERS * np.arange(22)))
    for i, drop in enumerate(drops):
        rows.append(f"{2 * (i % 7)},{16 * (i // 7)},{drop},strap {i // 7 + 1}")
    return in_lines(rows)


def wall_file(side: str) -> bytes:
    """Four readings up each stud; the west wall's file with semicolons and decimal commas."""
    rows = [
        f"# title: Gallery {side} wall on its studs",
        "# surface: wall",
        "# date: 2026-03-06",
        "# unit: mm",
        "# reading: drop",
        "# reference: plumb",
        "# accuracy: 0.5 mm",
        "# outline: (0, 0) (8.5344 m, 0) (8.5344 m, 2.7432 m) (0, 2.7432 m)",
        "x,y,drop,label",
    ]
    x, y = mesh(MEMBERS * np.arange(22), [100, 900, 1800, 2650])
    for i, (px, py, halves) in enumerate(zip(x, y, take(f"gallery_walls/{side}", x, y), strict=True)):
        rows.append(f"{px:.1f},{py:.0f},{halves / 2:.1f},{side[0].upper()}{i % 22 + 1}-{i // 22 + 1}")
    if side == "west":
        rows = [row.replace(",", ";").replace(".", ",") for row in rows]
    return in_lines(rows)


def hanging_file() -> bytes:
    """A reading every foot both ways, by a depth gauge from a long bar that stands plumb off the wall."""
    rows = [
        "# title: Hanging wall, by its window",
        "# surface: wall",
        "# date: 2026-03-09",
        "# unit: mm",
        "# reading: drop",
        "# reference: plumb",
        "# accuracy: 0.1 mm",
        "# outline: (0, 0) (12 ft, 0) (12 ft, 8 ft) (0, 8 ft)",
        "x,y,drop",
    ]
    x, y = mesh(FT * np.arange(13), FT * np.arange(9))
    for px, py, tenths in zip(x, y, take("hanging_wall/wall", x, y), strict=True):
        rows.append(f"{px:.1f},{py:.1f},{tenths / 10:.1f}")
    return in_lines(rows)


def slab_file() -> bytes:
    """Lines A to C along y, D to F along x, a reading every foot, ends 2 ft off the edges of the slab."""
    rows = [
        "# title: Kiln bay slab",
        "# surface: floor",
        "# date: 2026-03-09",
        "# unit: in",
        "# reference: level",
        "# accuracy: 0.01 in",
        "# outline: (0, 0) (30 ft, 0) (30 ft, 36 ft) (0, 36 ft)",
        "line,x [ft],y [ft],height [in]",
    ]
    stations = [("ABC"[k], 5.0 + 10 * k, float(y)) for k in range(3) for y in range(2, 35)]
    stations += [("DEF"[k], float(x), 8.5 + 10 * k) for k in range(3) for x in range(2, 29)]
    x, y = FT * np.array([station[1:] for station in stations]).T
    for (line, at_x, at_y), steps in zip(stations, take("kiln_bay/slab", x, y), strict=True):
        rows.append(f"{line},{at_x:g},{at_y:g},{steps / 100:.2f}")
    return in_lines(rows)


def by_hand(value: Fraction, turn: int) -> str:
    """Inches in one of the eight ways that the packing room's file mixes."""
    plain, curly = inches(value), feet(value).replace("'", "’").replace('"', "”")
    glyph = re.sub(r" ?(\d/\d)$", lambda part: GLYPHS[part[1]], plain)
    return (
        plain,
        plain.replace(" ", "-") + '"',
        f"{plain} in",
        feet(value),
        curly,
        f"  {plain}”",
        f"{float(value):.4f}",
        f'{glyph}"',
    )[turn % 8]


def hand_typed(mistakes: bool) -> bytes:
    """The packing room as several hands typed it; ``mistakes`` puts in those that the README lists."""
    rows = [
        "#title:Packing room, typed on site",
        "#  surface :  floor",
        "# unit: in",
        "# reading:drop  ",
        f'# {"acuracy" if mistakes else "accuracy"}:  1/16"',
        '# outline: (0, 0) (12’ 6½”, 0) (12’ 6 1/2", 10\'-3") (0, 10 ft 3 in)',
        "",
        " x , y , reading ",
    ]
    across = [Fraction(x) for x in ("0", "30", "60", "90", "120", "150.5")]
    places = [(x, Fraction(y)) for y in (0, 30, 60, 90, 123) for x in across]
    x, y = IN * np.array(places, dtype=np.float64).T
    drops = [Fraction(steps, 16) for steps in take("packing_room/hand_typed", x, y)]
    wrong = {7: "8-Mar", 12: '"41,375"', 17: "under bench"} if mistakes else {}
    for i, ((px, py), drop) in enumerate(zip(places, drops, strict=True)):
        place = f"{feet(px) if px else 0},{by_hand(py, i + 3) if py else 0}"
        rows.append(f"{place},{wrong.get(i, by_hand(drop, i))}")
        if i % 6 == 5:
            rows.append(" , , " if i % 4 == 1 else "")
    if mistakes:
        rows += [f"5' 0\",5 ft,{inches(drops[14] + 2)}", f"14' 0\",5' 0\",{inches(drops[17])}"]
    return ("\ufeff" + "".join(f"{row}\r\n" for row in rows)).encode()


def string_file() -> bytes:
    rows = [
        "# title: Gallery floor off strings",
        "# surface: floor",
        "# date: 2026-03-04",
        "# unit: in",
        "# reading: drop",
        "# reference: string",
        "# accuracy: 1/32 in",
        "# outline: (0, 0) (12 ft, 0) (12 ft, 28 ft) (0, 28 ft)",
        "x [ft],y [ft],drop",
    ]
    drops = take("gallery_floor/string_check", *mesh(2 * FT * np.arange(7), 4 * FT * np.arange(8)))
    for i, steps in enumerate(drops):
        rows.append(f"{2 * (i % 7)},{4 * (i // 7)},{inches(Fraction(steps, 16))}")
    return in_lines(rows)


def store_file(day: str, title: str, date: str, step: int, start: int) -> bytes:
    """The glaze store off its two benchmarks; on the two days from other places, with the laser at other heights."""
    name, line = f"glaze_store/{day}", SAMPLES[f"glaze_store/{day}"].line or 0.0
    rows = [
        f"# title: {title}",
        "# surface: floor",
        f"# date: {date}",
        "# unit: mm",
        "# reading: drop",
        "# reference: level",
        "# accuracy: 0.6 mm",
        "# outline: (0, 0) (4800, 0) (4800, 3600) (0, 3600)",
        *(f"# benchmark: {label} = {height:g}" for label, height in MARKS.items()),
        "# by: site crew",
        "# instrument: rotating laser",
        "x,y,drop,label,kind",
    ]
    slips = seeded(f"{name} benchmarks").normal(0, 0.55, len(MARKS))
    for (label, height), slip in zip(MARKS.items(), slips, strict=True):
        rows.append(f",,{round(2 * (line - height + slip)) / 2:g},{label},benchmark")
    x, y = mesh(np.arange(start, 4801, step), np.arange(start, 3601, step))
    for px, py, halves in zip(x, y, take(name, x, y), strict=True):
        rows.append(f"{px},{py},{halves / 2:g},,surface")
    return in_lines(rows)


def room_level_file(surface: str) -> bytes:
    """Floor or ceiling of the gallery's end room: stations a foot apart, off a laser that read both benchmarks."""
    name, sign = f"gallery/{surface}", -1 if surface == "ceiling" else 1
    line = SAMPLES[name].line or 0.0
    rows = [
        f"# title: Gallery end room, {surface}",
        f"# surface: {surface}",
        "# date: 2026-04-07",
        "# unit: in",
        "# reading: drop",
        "# reference: level",
        "# accuracy: 1/32 in",
        "# outline: (0, 0) (14 ft, 0) (14 ft, 12 ft) (0, 12 ft)",
        *(f"# benchmark: {label} = {sign * height:g} in" for label, height in ROOM_MARKS.items()),
        "x,y,drop,label,kind",
    ]
    slips = seeded(f"{name} benchmarks").normal(0, IN / 40, len(ROOM_MARKS))
    for (label, height), slip in zip(ROOM_MARKS.items(), slips, strict=True):
        steps = round(32 * (line - sign * height * IN + slip) / IN)
        rows.append(f",,{signed_inches(Fraction(steps, 32))},{label},benchmark")
    across, along = np.arange(6, 163, 12), np.arange(6, 139, 12)
    if surface == "ceiling":
        along = np.array([0, 16, 32, 48, 64, 80, 96, 112, 128, 144])
    x, y = mesh(across, along)
    for px, py, steps in zip(x, y, take(name, x * IN, y * IN), strict=True):
        rows.append(f"{px},{py},{inches(Fraction(steps, 32))},,surface")
    return in_lines(rows)


def room_wall_file(side: str) -> bytes:
    """A wall of the gallery's end room: five readings up each stud, off a control line along the middle of the room."""
    name, run = f"gallery/{side}", 168 if side in ("north", "south") else 144
    rows = [
        f"# title: Gallery end room, {side} wall",
        "# surface: wall",
        "# date: 2026-04-08",
        "# unit: in",
        "# reading: drop",
        "# reference: plumb",
        "# accuracy: 1/32 in",
        f"# outline: (0, 0) ({run // 12} ft, 0) ({run // 12} ft, 9 ft) (0, 9 ft)",
    ]
    left, right, head = DOOR
    if side == "south":
        rows.append(f"# opening: ({left:g}, 0) ({right:g}, 0) ({right:g}, {head:g}) ({left:g}, {head:g})")
    rows.append("x,y,drop,label")
    x, y = mesh(sorted({*range(0, run, 16), run}), [4, 28, 52, 76, 104])
    for i, (px, py, steps) in enumerate(zip(x, y, take(name, x * IN, y * IN), strict=True)):
        stud, up = i % len(set(x)) + 1, i // len(set(x)) + 1
        if side != "south" or not (left < px < right and py < head):
            rows.append(f"{px},{py},{inches(Fraction(steps, 32))},{side[0].upper()}{stud}-{up}")
    return in_lines(rows)


def signed_inches(value: Fraction) -> str:
    """As :func:`inches`, with the sign of what lies on the other side of the line."""
    return f"-{inches(-value)}" if value < 0 else inches(value)


def ruled(mm: float) -> str:
    """A length to the nearest 1/32 in as it is typed, which may be below zero: -1 3/32."""
    parts = round(mm / IN * 32)
    return ("-" if parts < 0 else "") + inches(Fraction(abs(parts), 32))


def oval_file() -> bytes:
    """The oval room: places off the plan every 6 in along the wall, at two levels."""
    name = "oval_room/room"
    rows = [
        "# title: Oval room, plaster base as found",
        "# surface: curved wall",
        "# curve: ellipse length 20 ft, width 14 ft",
        "# reading: plan",
        "# unit: in",
        "# accuracy: 1/32 in",
        "# by: site crew",
        "x,y,up,label",
    ]
    places, inward, along = ellipse_in_plan()
    spread = np.sqrt((IN / 32) ** 2 - (IN / 32) ** 2 / 12)
    noise = seeded(f"{name} readings")
    for up in (24, 72):
        for n, at in enumerate(np.arange(3 * IN, ELLIPSE_LENGTH - 2 * IN, 6 * IN), 1):
            k = int(np.searchsorted(along, at))
            off = float(truth(name, at, up * IN))
            read = places[k] + off * inward[k] + noise.normal(0, spread, 2)
            x, y = (ruled(float(one)) for one in read)
            rows.append(f"{x},{y},{up},W{n}-{up}")
    return in_lines(rows)


def niche_file() -> bytes:
    """The niche: offsets from a string across its mouth every 2 in, at three levels."""
    name = "oval_room/niche"
    rows = [
        "# title: Niche in the oval room",
        "# surface: curved wall",
        "# curve: arc chord 48 in, rise 9 in",
        "# reading: offset",
        "# unit: in",
        "# accuracy: 1/32 in",
        "# by: site crew",
        "along,offset,up",
    ]
    radius = (CHORD**2 / 4 + RISE**2) / (2 * RISE)
    half = float(np.arcsin(CHORD / 2 / radius))
    turn = np.linspace(-half, half, 100_001)  # from the left end, seen from the room, to the right
    noise = seeded(f"{name} readings")
    for up in (12, 36, 60):
        r = radius - truth(name, radius * (turn + half), np.full(turn.shape, up * IN))
        across, deep = CHORD / 2 + r * np.sin(turn), r * np.cos(turn) - (radius - RISE)
        for mark in range(0, 49, 2):
            spread = np.sqrt((IN / 32) ** 2 - (IN / 32) ** 2 / 12)
            read = float(np.interp(mark * IN, across, deep)) + float(noise.normal(0, spread))
            rows.append(f"{mark},{ruled(read)},{up}")
    return in_lines(rows)


def design_file() -> bytes:
    """A curve to set out, and nothing measured: the oval of four arcs that a bench along the wall is to follow."""
    rows = [
        "# title: Bench along the oval room",
        "# surface: curved wall",
        "# curve: oval length 16 ft, width 10 ft",
        "# unit: in",
    ]
    return in_lines(rows)


def files() -> dict[str, bytes]:
    """Every sample file, by its path under the folder of samples."""
    before = loft_rows("loft_floor/before", "Loft floor as found", "2026-03-02")
    after = loft_rows("loft_floor/after", "Loft floor, ridge planed and dip filled", "2026-03-12")
    return {
        "loft_floor/before.csv": in_lines([*before[0], *map(",".join, before[1])]),
        "loft_floor/after.csv": in_lines([*after[0], *map(",".join, after[1])]),
        "loft_floor/before.xlsx": workbook(*before),
        **{f"gallery/{surface}.csv": room_level_file(surface) for surface in ("floor", "ceiling")},
        **{f"gallery/{side}.csv": room_wall_file(side) for side in ("north", "east", "south", "west")},
        "gallery_ceiling/ceiling.csv": ceiling_file(),
        "gallery_walls/east.csv": wall_file("east"),
        "gallery_walls/west.csv": wall_file("west"),
        "hanging_wall/wall.csv": hanging_file(),
        "kiln_bay/slab.csv": slab_file(),
        "packing_room/hand_typed.csv": hand_typed(mistakes=False),
        "packing_room/with_mistakes.csv": hand_typed(mistakes=True),
        "gallery_floor/string_check.csv": string_file(),
        "oval_room/room.csv": oval_file(),
        "oval_room/niche.csv": niche_file(),
        "oval_room/bench.csv": design_file(),
        "glaze_store/before.csv": store_file("before", "Glaze store as found", "2026-03-03", 600, 0),
        "glaze_store/after.csv": store_file("after", "Glaze store, filled and ground", "2026-03-17", 500, 50),
    }


if __name__ == "__main__":
    for name, content in files().items():
        path = Path(sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent, name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        print(path)
