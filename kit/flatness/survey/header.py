"""The ``# key: value`` lines at the top of a survey file."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import shapely
from shapely import Polygon

from flatness.errors import ArgumentError
from flatness.lengths import unit_named
from flatness.survey.cells import Accident, LengthReader, Record, Report, Table, nearest, text_of
from flatness.survey.readings import REFERENCES, SURFACES, TYPICAL_MM, Framing
from flatness.survey.walls import KINDS as WALL_OPENINGS
from flatness.survey.walls import WallOpening, Walls, check_wall_opening, parse_wall_name, parse_wall_opening

FREE_TEXT = ("title", "date", "instrument", "by")
REPEATABLE = ("opening", "benchmark", "door", "window", "wall")
QUANTITIES = ("height", "drop")
# a wall that curves: what is read of it, and the keys that only it has
CURVED, CURVED_QUANTITIES = "curved wall", ("plan", "offset", "radius")
CURVED_KEYS = ("curve", "room", "string", "center")
ONCE = ("surface", "unit", "reading", "reference", "accuracy", "outline", "members", "framing", "stations", "range")
KEYS = (*FREE_TEXT, *ONCE, *REPEATABLE, *CURVED_KEYS)
LAYOUT = re.compile(r"(.+?)\s+along\s+([xy])\s+from\s+(.+)", re.IGNORECASE)
CLOSEST_MM, WIDEST_MM, MOST_TYPICAL_MM = 100.0, 3050.0, 25.4  # beyond it is a slip of the pen
_LAYOUT = "16 in along y from 0: the spacing, the axis they run along, the position of the first"
_CORNERS = "corners such as (0, 0) (16 ft, 0) (16 ft, 20 ft) (0, 20 ft), or 0,0; 16 ft,0; 16 ft,20 ft; 0,20 ft"


@dataclass(frozen=True)
class Entry:
    """The value of one key and the row it stands in."""

    row: int
    text: str

    def is_wrong(self, report: Report, what: str, expected: str, remedy: str) -> None:
        """Report what is wrong with the line."""
        report.add(what, self.row, 0, value=self.text, expected=expected, remedy=remedy)


@dataclass(kw_only=True)
class Header:
    """What the ``#`` lines say; lengths in mm."""

    text: dict[str, str] = field(default_factory=dict)
    surface: str = "floor"
    reference: str = "level"
    quantity: str | None = None
    quantity_row: int | None = None
    accuracy: float | None = None
    outline: Polygon | None = None
    outline_row: int | None = None
    openings: list[tuple[int, Polygon]] = field(default_factory=list)
    benchmarks: dict[str, float] = field(default_factory=dict)
    framing: Framing | None = None
    walls: Walls = field(default_factory=Walls)
    stations: float | None = None
    range: float | None = None
    curved: dict[str, Entry] = field(default_factory=dict)
    reference_row: int | None = None


def read_header(table: Table, report: Report) -> tuple[Header, LengthReader]:
    """The header of a table, and the reader of lengths with the unit that it names."""
    entries = _entries(table, report)

    def single(key: str) -> Entry | None:
        return entries.get(key, [None])[0]

    lengths = LengthReader(report, _unit(single("unit"), report), table.decimal_comma)
    header = Header(text={key: found.text for key in FREE_TEXT if (found := single(key)) is not None})
    header.surface = _choice("surface", single("surface"), (*SURFACES, CURVED), report) or "floor"
    _read_reference(header, single("reference"), report)
    known = CURVED_QUANTITIES if header.surface == CURVED else QUANTITIES
    if (found := single("reading")) is not None:
        header.quantity, header.quantity_row = _choice("reading", found, known, report), found.row
    header.curved = {key: found for key in CURVED_KEYS if (found := single(key)) is not None}
    if header.surface != CURVED:
        for key, found in header.curved.items():
            what, remedy = f"`{key}` belongs to a wall that curves", "correct `# surface:`, or delete the line"
            report.add(what, found.row, 0, value=found.text, expected=f"`# surface: {CURVED}`", remedy=remedy)
    if (found := single("accuracy")) is not None:
        header.accuracy = lengths.read(found.text, found.row, 0)
        if header.accuracy is not None and header.accuracy <= 0:
            what = "the accuracy must be above zero"
            remedy = "write how far a repeated reading typically differs, or delete the line"
            found.is_wrong(report, what, "one standard deviation of one reading, such as 1/32 in", remedy)
            header.accuracy = None
    if (found := single("outline")) is not None:
        header.outline, header.outline_row = _polygon("outline", found, lengths), found.row
    for found in entries.get("opening", []):
        if (opening := _polygon("opening", found, lengths)) is not None:
            header.openings.append((found.row, opening))
    for found in entries.get("benchmark", []):
        _read_benchmark(header, found, lengths)
    _read_framing(header, single("members"), single("framing"), lengths)
    _read_walls(header, entries, lengths)
    if (found := single("stations")) is not None:
        header.stations = lengths.read(found.text, found.row, 0)
    if (found := single("range")) is not None:
        header.range = lengths.read(found.text, found.row, 0)
    return header, lengths


def needed_quantity(header: Header, report: Report, row: int) -> str:
    """``height`` or ``drop``, which the file must say."""
    if header.quantity is None and header.quantity_row is None:
        report.add(
            "the file does not say what its readings are: heights, or drops below the instrument's line",
            row,
            0,
            expected="`# reading: height` (higher floor, larger number) or `# reading: drop` (higher floor, "
            "smaller number, as on a rod or tape under a laser line)",
            remedy="add one of the two lines at the top",
        )
    return header.quantity or "height"


def header_line(record: Record, delimiter: str) -> str | Accident:
    """A ``#`` line made whole again, where a spreadsheet has split it over cells."""
    cells = list(record.cells)
    while len(cells) > 1 and isinstance(cells[-1], str) and not cells[-1].strip():
        cells.pop()
    first = text_of(cells[0]).strip().lstrip("#").strip()
    key = first.rstrip(": ").lower()
    if first.endswith(":") and len(cells) > 1 and isinstance(cells[1], str) and not cells[1].strip():
        cells.pop(1)
    for cell in cells:
        if isinstance(cell, Accident) and key not in FREE_TEXT:
            return cell
    rest = [text_of(cell) for cell in cells[1:]]
    if first.endswith(":"):
        return f"{first} {delimiter.join(rest)}"
    return delimiter.join([first, *rest])


def _entries(table: Table, report: Report) -> dict[str, list[Entry]]:
    entries: dict[str, list[Entry]] = {}
    for record in table.header:
        line = header_line(record, table.delimiter)
        if isinstance(line, Accident):
            report.add(line.what, record.row, 0, value=line.value, expected=line.expected, remedy=line.remedy)
            continue
        if not line:
            continue
        key, colon, value = line.partition(":")
        key, value = key.strip().lower(), value.strip()
        here = Entry(record.row, line)
        if not colon or key not in KEYS:
            what, remedy = "a # line without a colon", "write `# title: ...`, or delete it"
            if colon:
                what, remedy = "an unknown key", f"did you mean `{nearest(key, KEYS)}`?"
            here.is_wrong(report, what, f"`# key: value` with one of the keys {', '.join(KEYS)}", remedy)
        elif key in entries and key not in REPEATABLE:
            what = f"`{key}` is given twice, first in row {entries[key][0].row}"
            here.is_wrong(report, what, "one line for this key", "delete one of the two")
        elif not value and key not in FREE_TEXT:
            here.is_wrong(report, f"`{key}` has no value", f"`# {key}: value`", "write its value, or delete the line")
        else:
            entries.setdefault(key, []).append(Entry(record.row, value))
    return entries


def _choice(key: str, found: Entry | None, known: tuple[str, ...], report: Report) -> str | None:
    if found is None:
        return None
    value = found.text.lower()
    if value in known:
        return value
    found.is_wrong(report, f"unknown {key}", " or ".join(known), f"did you mean `{nearest(value, known)}`?")
    return None


def _unit(found: Entry | None, report: Report) -> str | None:
    if found is None:
        return None
    unit = unit_named(found.text)
    if unit is None:
        found.is_wrong(report, "unknown unit", "in, ft, mm, cm or m", "write the unit you measured in")
        return "mm"  # the file is refused anyway; reading on finds its other problems
    return unit


def _read_reference(header: Header, found: Entry | None, report: Report) -> None:
    header.reference = "plumb" if header.surface in ("wall", CURVED) else "level"
    header.reference_row = None if found is None else found.row
    chosen = _choice("reference", found, REFERENCES, report)
    if found is not None and chosen is not None and chosen not in (header.reference, "string"):
        found.is_wrong(
            report,
            f"a {header.surface} is not read off a {chosen} reference",
            f"{header.reference} or string",
            "correct `# surface:` or `# reference:`; string stands for a straight reference that is "
            "not known to be level or plumb",
        )
    elif chosen is not None:
        header.reference = chosen


def _polygon(key: str, found: Entry, lengths: LengthReader) -> Polygon | None:
    """The polygon [mm] of a corner list, or None where it is wrong, which is then in the report."""
    report = lengths.report
    corners: list[tuple[float, float]] = []
    for pair in _pairs(found.text):
        ways = _splits(pair, lengths)
        if len(ways) != 1:
            what, remedy = "is not two lengths", "write each corner as x, y; four corners for a rectangle"
            if ways:
                what = f"can be read in {len(ways)} ways"
                remedy = "put a space behind the comma between x and y, such as (4,5, 2), or (4,5; 2)"
            Entry(found.row, pair).is_wrong(report, f"a corner of the {key} {what}", _CORNERS, remedy)
            return None
        x, y = (lengths.read(part, found.row, 0) for part in ways[0])
        if x is None or y is None:
            return None
        corners.append((x, y))
    if len(set(corners)) < 3:
        expected = "list every corner in order around it; a rectangle has four"
        found.is_wrong(report, f"the {key} has fewer than three corners", _CORNERS, expected)
        return None
    polygon = Polygon(corners)
    if not polygon.is_valid or polygon.area <= 0:
        crossing = "Self-intersection" in shapely.is_valid_reason(polygon)
        flat = shapely.MultiPoint(corners).convex_hull.area < 1e-6
        what = "has no area" if flat or not crossing else "crosses or touches itself"
        found.is_wrong(report, f"the {key} {what}", _CORNERS, "list the corners in order, walking once around it")
        return None
    return polygon


def _pairs(text: str) -> list[str]:
    if "(" not in text and ")" not in text:
        return [pair.strip() for pair in text.split(";") if pair.strip()]
    pairs, rest = [], text
    while "(" in rest:
        before, _, rest = rest.partition("(")
        inside, closed, rest = rest.partition(")")
        # what stands between brackets may only be a comma or a semicolon
        pairs += [stray for stray in [before.strip(" ,;")] if stray]
        pairs.append(inside.strip() if closed else f"({inside}")
    return pairs + [stray for stray in [rest.strip(" ,;")] if stray]


def _splits(pair: str, lengths: LengthReader) -> list[tuple[str, str]]:
    """All ways to read a text as two lengths with a comma, or inside brackets a semicolon, between them."""
    mark = ";" if ";" in pair else ","
    places = [i for i, char in enumerate(pair) if char == mark]
    ways = [(pair[:i].strip(), pair[i + 1 :].strip()) for i in places]
    return [way for way in ways if all(is_length(part, lengths) for part in way)]


def is_length(text: str, lengths: LengthReader) -> bool:
    """Whether a text is a length, or a number that only lacks its unit."""
    return lengths.quietly(text, lengths.unit or "mm") is not None


def _read_framing(header: Header, layout: Entry | None, typical: Entry | None, lengths: LengthReader) -> None:
    """The members beneath: their layout, and what they typically stand off, by a word or a length."""
    report = lengths.report
    if layout is not None:
        try:
            header.framing = parse_framing(layout.text, lambda part: lengths.read(part, layout.row, 0))
        except ArgumentError as error:
            report.take(error.problems[0], layout.row, 0)
        if header.framing is None:
            return
    if typical is None:
        return
    word, offset = typical.text.lower(), TYPICAL_MM.get(typical.text.lower())
    if offset is None and is_length(word, lengths):
        offset = lengths.read(typical.text, typical.row, 0)
    if offset is None or not 0 <= offset <= MOST_TYPICAL_MM:
        expected = "new, old, none, or what a member typically stands off from its neighbors, such as 1/16 in"
        typical.is_wrong(report, "unknown framing", expected, f"did you mean `{nearest(word, tuple(TYPICAL_MM))}`?")
    elif layout is None and offset > 0:
        typical.is_wrong(report, "`framing` without `members`", _LAYOUT, "add that line, or delete this one")
    elif header.framing is not None:
        header.framing = replace(header.framing, typical=offset)


def parse_framing(text: str, read: Callable[[str], float | None]) -> Framing | None:
    """The layout of members that a text such as ``16 in along y from 0`` gives.

    Parameters
    ----------
    text : the spacing, the axis that they run along, and the position of the first
    read : gives a length [mm] of its text; None where there is none, which it has noted: then there is no layout

    Raises
    ------
    ArgumentError : another text, or members that cannot stand so far apart
    """
    parts = LAYOUT.fullmatch(text.strip())
    if parts is None:
        what, remedy = "the members' layout cannot be read", "write all three, lengths with their units"
        raise ArgumentError(what, value=text, expected=_LAYOUT, remedy=remedy)
    spacing, first = read(parts[1]), read(parts[3])
    if spacing is None or first is None:
        return None
    if not CLOSEST_MM <= spacing <= WIDEST_MM:
        remedy = "write the spacing from the middle of one to the middle of the next, such as 16 in"
        raise ArgumentError(
            "members do not stand so far apart", value=parts[1], expected="4 in to 10 ft", remedy=remedy
        )
    return Framing(spacing, parts[2].lower(), first)


def _read_length(lengths: LengthReader, row: int, text: str) -> float | None:
    return lengths.read(text, row, 0)


def _read_walls(header: Header, entries: dict[str, list[Entry]], lengths: LengthReader) -> None:
    """Names of walls, and the doors and windows in them."""
    report, names = lengths.report, dict[str, str]()
    found = [(kind, one) for kind in ("wall", *WALL_OPENINGS) for one in entries.get(kind, [])]
    if found and (header.outline is None or header.surface == "wall"):
        kind, first = min(found, key=lambda pair: pair[1].row)
        if header.surface == "wall":
            what, remedy = f"a survey of a wall has no `{kind}`", "write a door or window in it as `# opening:`"
        else:
            what, remedy = f"`{kind}` without `outline`", "add that line: from it the kit knows where the walls stand"
        if header.outline_row is None or header.surface == "wall":  # a wrong outline is in the report already
            report.add(what, first.row, 0, value=first.text, expected=_CORNERS, remedy=remedy)
        return
    made: list[WallOpening] = []
    for kind, one in found:
        try:
            if kind == "wall":
                side, name = parse_wall_name(one.text)
                if side in names:
                    what, remedy = f"the {side} wall has two names", "delete one of the two"
                    report.add(what, one.row, 0, value=one.text, expected="one name a side", remedy=remedy)
                names[side] = name
                continue
            opening = parse_wall_opening(kind, one.text, partial(_read_length, lengths, one.row), names)
            if opening is not None and header.outline is not None:
                check_wall_opening(header.outline, opening, made)
                made.append(opening)
        except ArgumentError as error:
            problem = error.problems[0]
            report.take(replace(problem, value=problem.value or one.text), one.row, 0)
    header.walls = Walls(tuple(made), names)


def _read_benchmark(header: Header, found: Entry, lengths: LengthReader) -> None:
    text = found.text
    places = [i for i, char in enumerate(text) if char == "="][-1:]
    places = places or [i for i, char in enumerate(text) if char == ","]
    places = places or [i for i, char in enumerate(text) if char == " "]
    ways = [(text[:i].strip(), text[i + 1 :].strip()) for i in places]
    ways = [(label, height) for label, height in ways if label and is_length(height, lengths)]
    if len(ways) != 1:
        what = f"can be read in {len(ways)} ways" if ways else "is not a label and a height"
        remedy = "write the label, an equals sign and its height"
        found.is_wrong(lengths.report, f"the benchmark {what}", "`# benchmark: BM1 = 3 1/4 in`", remedy)
        return
    label, written = ways[0]
    height = lengths.read(written, found.row, 0)
    if label in header.benchmarks:
        what, remedy = f"benchmark {label} is given twice", "delete one of the two, or give them different labels"
        found.is_wrong(lengths.report, what, "one height for each label", remedy)
    elif height is not None:
        header.benchmarks[label] = height
