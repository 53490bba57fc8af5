"""Members: the parallel joists, studs or strapping beneath a surface, set out as a carpenter sets them out.

From the first member and the spacing, or from positions as they were found. A member runs along x or along y;
its position is measured across that direction, its stations along it.

What a full-depth sister still laps, what may be taken down, and where a cut chord is blocked.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from shapely import LineString

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_choice
from flatness.lengths import settle
from flatness.notes import Note

DIRECTIONS = ("x", "y")
MOST_MEMBERS = 2000
STOCK_THICKNESS_MM = 38.1  # 1-1/2 in, what dressed framing lumber measures; common practice, no source


@dataclass(frozen=True)
class Kind:
    """What a kind of member is: made in a factory to a design, built of two flanges or chords, one letter."""

    engineered: bool
    flanged: bool
    letter: str


KINDS: dict[str, Kind] = {
    "sawn joist": Kind(engineered=False, flanged=False, letter="J"),
    "I-joist": Kind(engineered=True, flanged=True, letter="J"),
    "truss": Kind(engineered=True, flanged=True, letter="J"),
    "LVL": Kind(engineered=True, flanged=False, letter="J"),
    "LSL": Kind(engineered=True, flanged=False, letter="J"),
    "stud": Kind(engineered=False, flanged=False, letter="S"),
    "strapping": Kind(engineered=False, flanged=False, letter="F"),
}
COLUMNS = ("name", "position_mm", "start_mm", "end_mm")


def kind_named(text: str, known: Iterable[str] = KINDS) -> str | None:
    """The kind that a text names, whatever its case, hyphens, spaces and plural; None where it names none.

    >>> kind_named("i joists"), kind_named("Sawn-Joist"), kind_named("beam")
    ('I-joist', 'sawn joist', None)
    """
    wanted = _plain(text)
    return next((kind for kind in known if wanted in (_plain(kind), f"{_plain(kind)}s")), None)


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-\u2010-\u2015\u2212]+", "", text).casefold()


@dataclass(frozen=True, eq=False, kw_only=True)
class Members:
    """Parallel members of one kind.

    Attributes
    ----------
    table : DataFrame, one row a member in order of position: ``name``, ``position_mm`` (across the members),
        ``start_mm`` and ``end_mm`` (along them; NaN where the surface's own reach is meant)
    direction : ``x`` where they run along x, ``y`` where along y
    kind : one of :data:`KINDS`
    depth : [mm], or None where it is not known; of strapping its width
    flange : thickness of a flange or chord [mm], for the kinds that have them, or None where it is not known
    thickness : [mm] across the member; of strapping from what it is fastened to, to its face on the room's side
    cuts : where a chord or flange has been cut, [mm] along the member, by name of the member

    Raises
    ------
    ArgumentError : unknown kind or direction, sizes out of range, names or positions that occur twice
    """

    table: pd.DataFrame
    direction: str
    kind: str = "sawn joist"
    depth: float | None = None
    flange: float | None = None
    thickness: float = STOCK_THICKNESS_MM
    cuts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _check_kind(self)
        _check_table(self.table)
        names = set(self.table["name"])
        for name, places in self.cuts.items():
            if name not in names:
                what = "a cut in a member that is not in the layout"
                expected = "the name of a member, such as " + str(self.table["name"].iloc[0])
                raise ArgumentError(what, column="cuts", value=str(name), expected=expected)
            for place in places:
                _finite(place, f"cuts of {name}")

    @property
    def engineered(self) -> bool:
        """Whether they may not be cut, notched or planed on anyone's word but the maker's (IRC R502.8.2)."""
        return KINDS[self.kind].engineered

    @property
    def flanged(self) -> bool:
        """Whether they have two flanges or chords."""
        return KINDS[self.kind].flanged

    @property
    def positions(self) -> Floats:
        """[n] mm across the members, rising."""
        return self.table["position_mm"].to_numpy(dtype=np.float64)

    def __len__(self) -> int:
        return len(self.table)

    def xy(self, along: Any, across: Any) -> tuple[Any, Any]:
        """x and y of what lies along and across the members."""
        return (along, across) if self.direction == "x" else (across, along)

    def spans(self, x: Floats, y: Floats) -> Iterator[tuple[str, float, float, float]]:
        """Name, position, start and end [mm] of each; where one has no end of its own, that of a lattice x, y [mm]."""
        reach = self.xy(x, y)[0]
        for name, position, start, end in self.table[list(COLUMNS)].itertuples(index=False):
            low, high = (float(b if math.isnan(a) else a) for a, b in ((start, reach[0]), (end, reach[-1])))
            yield str(name), float(position), low, high

    def lines(self, x: Floats, y: Floats) -> Iterator[tuple[str, LineString]]:
        """Name and line [mm] of each, from its start to its end as :meth:`spans` has them."""
        for name, position, start, end in self.spans(x, y):
            yield name, LineString([self.xy(start, position), self.xy(end, position)])


def member_layout(
    first: float | None = None,
    spacing: float | None = None,
    direction: str = "y",
    *,
    count: int | None = None,
    until: float | None = None,
    positions: Sequence[float] | None = None,
    kind: str = "sawn joist",
    depth: float | None = None,
    flange: float | None = None,
    thickness: float = STOCK_THICKNESS_MM,
    start: float | None = None,
    end: float | None = None,
    length: float | None = None,
    names: Sequence[str] | None = None,
    cuts: Mapping[str, float | Sequence[float]] | None = None,
) -> Members:
    """Parallel members from the first one and the spacing, or from explicit positions.

    Parameters
    ----------
    first : position of the first member's centre line [mm], across the members
    spacing : centre to centre [mm]
    direction : ``x`` where the members run along x (and are spaced along y), ``y`` where along y
    count : how many; or ``until``, the position [mm] that none passes
    positions : [n] mm, in place of first, spacing and count
    kind : ``sawn joist``, ``I-joist``, ``truss``, ``LVL``, ``LSL``, ``stud`` or ``strapping``
    depth, flange, thickness : sizes [mm]; flange is the thickness of one flange or chord
    start, end : where they begin and end along their direction [mm]; None takes the reach of the readings
    length : [mm], in place of ``end``
    names : one a member; None numbers them from 1 in order of position
    cuts : where a chord or flange has been cut: places [mm] along the member, by its name

    Returns
    -------
    Members

    Raises
    ------
    ArgumentError : a layout that is incomplete, contradictory or out of range

    Examples
    --------
    >>> joists = member_layout(200, 400, "y", until=1500, depth=235, start=0, length=3600)
    >>> joists.table["position_mm"].tolist()
    [200.0, 600.0, 1000.0, 1400.0]
    """
    places = (
        _explicit(positions, first, spacing, count, until)
        if positions is not None
        else _spaced(first, spacing, count, until)
    )
    if length is not None:
        if start is None or end is not None:
            what = "a length goes with a start, and without an end"
            raise ArgumentError(what, column="length", value=str(length), expected="start and length, or start and end")
        end = start + _positive(length, "length")
    check_choice("kind", kind, KINDS, "unknown kind of member")
    order = np.argsort(places, kind="stable")
    called = [str(name) for name in names] if names is not None else None
    if called is not None and len(called) != len(places):
        raise ArgumentError(
            "names and members differ in number", column="names", value=str(len(called)), expected=str(len(places))
        )
    made = [called[i] for i in order] if called else [f"{KINDS[kind].letter}{i}" for i in range(1, len(places) + 1)]
    table = pd.DataFrame(
        {
            "name": made,
            "position_mm": places[order],
            "start_mm": math.nan if start is None else _finite(start, "start"),
            "end_mm": math.nan if end is None else _finite(end, "end"),
        }
    )
    broken = {
        name: (float(at),) if isinstance(at, (int, float)) else tuple(float(one) for one in at)
        for name, at in (cuts or {}).items()
    }
    return Members(
        table=table, direction=direction, kind=kind, depth=depth, flange=flange, thickness=thickness, cuts=broken
    )


def _explicit(positions: Sequence[float], *others: float | None) -> Floats:
    if any(other is not None for other in others):
        expected = "positions alone, or first, spacing and count (or until)"
        raise ArgumentError("positions, and a spacing besides", column="positions", expected=expected)
    places = np.array([_finite(place, "positions") for place in positions], dtype=np.float64)
    if not len(places):
        raise ArgumentError("no positions", column="positions", expected="one member or more")
    return places


def _spaced(first: float | None, spacing: float | None, count: int | None, until: float | None) -> Floats:
    if first is None or spacing is None or (count is None) == (until is None):
        what, value = "the layout is incomplete", f"first {first}, spacing {spacing}, count {count}, until {until}"
        raise ArgumentError(what, value=value, expected="first, spacing and one of count and until; or positions")
    start, step = _finite(first, "first"), _positive(spacing, "spacing")
    if count is None:
        last = _finite(until, "until")
        if last < start:
            what, value = "the layout ends before it begins", Note("exact", mm=last)
            raise ArgumentError(what, column="until", value=value, expected=Note("first-or-beyond", mm=start))
        count = math.floor((last - start) / step + 1e-9) + 1
    if isinstance(count, bool) or not isinstance(count, (int, np.integer)) or not 1 <= count <= MOST_MEMBERS:
        raise ArgumentError(
            "number of members out of range", column="count", value=str(count), expected=f"1 to {MOST_MEMBERS}"
        )
    return start + step * np.arange(count, dtype=np.float64)


def _check_kind(members: Members) -> None:
    for name, value, known in (("direction", members.direction, DIRECTIONS), ("kind", members.kind, tuple(KINDS))):
        check_choice(name, value, known)
    _positive(members.thickness, "thickness")
    if members.depth is not None:
        _positive(members.depth, "depth")
    if members.flange is None:
        return
    _positive(members.flange, "flange")
    if not members.flanged:
        what, expected = f"a {members.kind} has no flanges", "a flange thickness for an I-joist or a truss alone"
        raise ArgumentError(what, column="flange", value=Note("exact", mm=members.flange), expected=expected)
    if members.depth is not None and 2 * members.flange >= members.depth:
        what, value = "two flanges are as deep as the member", Note("exact", mm=members.flange)
        expected, remedy = Note("under-half-depth", depth=members.depth), "give the thickness of one flange"
        raise ArgumentError(what, column="flange", value=value, expected=expected, remedy=remedy)


def _check_table(table: pd.DataFrame) -> None:
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing or not len(table):
        raise ArgumentError(
            "the table of members is incomplete", value=", ".join(missing) or "no rows", expected=", ".join(COLUMNS)
        )
    for name in table["name"]:
        if not isinstance(name, str) or not name.strip() or not name.isprintable():
            raise ArgumentError(
                "a member's name is not a text on one line", column="name", value=str(name), expected="such as J1"
            )
    places = table["position_mm"].to_numpy(dtype=np.float64)
    if not np.isfinite(places).all() or (np.diff(places) <= 0).any():
        what = "positions are not finite, or two members stand at one place"
        value = ", ".join(f"{place:g}" for place in places)
        raise ArgumentError(what, column="position_mm", value=value, expected="rising positions in mm")
    twice = table.loc[table["name"].duplicated(), "name"]
    if len(twice):
        raise ArgumentError("two members of one name", column="name", value=str(twice.iloc[0]), expected="each its own")
    for name, start, end in zip(table["name"], table["start_mm"], table["end_mm"], strict=True):
        if end <= start or math.isinf(start) or math.isinf(end):
            what, value = f"the member {name} ends before it begins", Note("from-to", start=start, end=end)
            raise ArgumentError(what, column="start_mm, end_mm", value=value, expected="an end beyond the start")


def _finite(value: float | None, name: str) -> float:
    if isinstance(value, (int, float, np.number)) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    raise ArgumentError(f"{name} is not a finite number", column=name, value=str(value), expected="millimetres")


def _positive(value: float, name: str) -> float:
    if _finite(value, name) <= 0:
        raise ArgumentError(
            f"{name} out of range", column=name, value=Note("exact", mm=float(value)), expected="millimetres above zero"
        )
    return float(value)


BLOCKED_MM = 609.6  # about 2 ft either side of a cut chord; common practice, no source
NOTCH_SHARE = 1 / 6  # of the depth of a sawn joist: IRC R502.8.1, as quoted by others


def flange_laps(raised: Floats, depth: float, flange: float, sister_depth: float) -> tuple[Floats, Floats]:
    """Height of the top and of the bottom flange [mm] that a sister covers.

    Parameters
    ----------
    raised : [...] mm that the sister stands above the existing member; negative where it is below
    depth, flange : of the existing member [mm]
    sister_depth : of the sister [mm]

    Returns
    -------
    (top, bottom) : each [...] mm, 0 to ``flange``

    Examples
    --------
    >>> top, bottom = flange_laps(np.array([0.0, 12.0, 50.0]), 302, 38, 302)
    >>> top.tolist(), bottom.tolist()
    ([38.0, 38.0, 38.0], [38.0, 26.0, 0.0])
    """
    upper, lower = np.asarray(raised, dtype=np.float64), np.asarray(raised, dtype=np.float64) - sister_depth

    def lap(over: float, under: float) -> Floats:
        covered: Floats = np.clip(np.minimum(upper, over) - np.maximum(lower, under), 0.0, None)
        return covered

    return lap(0.0, -flange), lap(flange - depth, -depth)


def lap_words(raised: Floats, members: Members, sister_depth: float | None, least_lap: float | None) -> str:
    """Whether a sister raised so far still laps both flanges, in words; empty for kinds without flanges.

    ``raised`` [n] mm at the stations, blanks left out. Common practice, no source: a sister is of full depth
    and fastened along both chords, so it must lap both.
    """
    if not members.flanged or not len(raised):
        return ""
    if members.depth is None or members.flange is None:
        return "not known: give the depth and the flange thickness"
    deep = members.depth if sister_depth is None else sister_depth
    top, bottom = (float(lap.min()) for lap in flange_laps(raised, members.depth, members.flange, deep))
    name, least = ("top", top) if top < bottom else ("bottom", bottom)
    if settle(least) <= 0:
        return f"no: it misses the {name} flange"
    if least_lap is not None and settle(least) < settle(least_lap):
        return Note("laps-too-little", lap=least, flange=name, wanted=least_lap)
    if settle(least - members.flange) >= 0:
        return "both flanges whole"
    return Note("laps-part", lap=least, flange=name, of=members.flange)


def take_down_words(members: Members, stations: Floats, raised: Floats, start: float, end: float) -> str:
    """Whether what stands proud of the line may be taken down, in words; empty where nothing does.

    Parameters
    ----------
    members : what is to be taken down
    stations, raised : [n] mm along the member, rising, and mm that its line is above it there; below 0 where it
        stands proud; straight between stations
    start, end : of the member [mm], taken for its span

    Notes
    -----
    IRC R502.8.1 (as quoted by others): notches in sawn joists at most 1/6 of the depth, none in the middle third
    of the span. Its 1/4 at the very ends is left to the user. IRC R502.8.2: engineered members not at all.
    """
    most = settle(-float(raised.min()))
    if most <= 0:
        return ""
    if members.engineered:
        return "no: an engineered member; raise the line, or ask its maker or the engineer"
    if members.kind != "sawn joist":
        return "ask: no rule for this kind of member is known here"
    third = (end - start) / 3
    # what stands proud on either side of a third point reaches into the middle third
    bounds = np.clip([start + third, end - third], stations[0], stations[-1])
    middle = np.concatenate([bounds, stations[(stations > bounds[0]) & (stations < bounds[1])]])
    if settle(float(np.interp(middle, stations, raised).min())) < 0:
        return "no: in the middle third of the span"
    if members.depth is None:
        return "not known: give the depth"
    if most > settle(members.depth * NOTCH_SHARE):
        return "no: deeper than 1/6 of the depth"
    return "within 1/6 of the depth, outside the middle third; check what lies beneath and your code"


def blocking(members: Members, reach: dict[str, tuple[float, float]]) -> pd.DataFrame:
    """Where blocking goes beside cut chords: about 2 ft either side, as the maker confirms.

    Parameters
    ----------
    members : with ``cuts``
    reach : start and end [mm] of each member by name, beyond which there is nothing to block

    Returns
    -------
    DataFrame : ``member``, ``cut_at_mm``, ``from_mm``, ``to_mm`` along the member, one row a cut

    Raises
    ------
    ArgumentError : a cut beyond the ends of its member
    """
    rows = []
    for name, places in members.cuts.items():
        start, end = reach.get(name, (-math.inf, math.inf))
        for at in places:
            if not start <= at <= end:
                expected = Note("from-to", start=start, end=end)
                what, remedy = f"a cut beyond the ends of {name}", "measure the cut along it, as its stations are"
                raise ArgumentError(what, column="cuts", value=Note("exact", mm=at), expected=expected, remedy=remedy)
        rows += [(name, at, max(start, at - BLOCKED_MM), min(end, at + BLOCKED_MM)) for at in places]
    return pd.DataFrame(rows, columns=["member", "cut_at_mm", "from_mm", "to_mm"])


def sister_notes(members: Members, sister_thickness: float) -> Sequence[str]:
    """What to know of the sisters themselves."""
    notes: list[str] = [Note("sisters-fastened")]
    if settle(sister_thickness) < STOCK_THICKNESS_MM:
        notes.append(Note("sister-thin", thickness=sister_thickness, usual=STOCK_THICKNESS_MM))
    if members.cuts:
        notes.append(Note("block-cuts", reach=BLOCKED_MM))
    return notes
