"""Members: the parallel joists, studs or strapping beneath a surface, laid out as a carpenter lays them out.

From the first member and the spacing, or from positions as they were found. A member runs along x or along y;
its position is measured across that direction, its stations along it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError
from flatness.survey.readings import Floats

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


@dataclass(frozen=True, eq=False)
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
                raise ArgumentError(
                    "a cut in a member that is not in the layout", column="cuts", value=str(name),
                    expected="the name of a member, such as " + str(self.table["name"].iloc[0]),
                )  # fmt: skip
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


def member_layout(
    first: float | None = None, spacing: float | None = None, direction: str = "y", *, count: int | None = None,
    until: float | None = None, positions: Sequence[float] | None = None, kind: str = "sawn joist",
    depth: float | None = None, flange: float | None = None, thickness: float = STOCK_THICKNESS_MM,
    start: float | None = None, end: float | None = None, length: float | None = None,
    names: Sequence[str] | None = None, cuts: Mapping[str, float | Sequence[float]] | None = None,
) -> Members:  # fmt: skip
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
    places = _explicit(positions, first, spacing, count, until) if positions is not None else _spaced(
        first, spacing, count, until
    )  # fmt: skip
    if length is not None:
        if start is None or end is not None:
            raise ArgumentError(
                "a length goes with a start, and without an end", column="length", value=str(length),
                expected="start and length, or start and end",
            )  # fmt: skip
        end = start + _positive(length, "length")
    if kind not in KINDS:
        raise ArgumentError("unknown kind of member", column="kind", value=str(kind), expected=", ".join(KINDS))
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
    return Members(table, direction, kind, depth, flange, thickness, broken)


def _explicit(positions: Sequence[float], *others: float | None) -> Floats:
    if any(other is not None for other in others):
        raise ArgumentError(
            "positions, and a spacing besides", column="positions",
            expected="positions alone, or first, spacing and count (or until)",
        )  # fmt: skip
    places = np.array([_finite(place, "positions") for place in positions], dtype=np.float64)
    if not len(places):
        raise ArgumentError("no positions", column="positions", expected="one member or more")
    return places


def _spaced(first: float | None, spacing: float | None, count: int | None, until: float | None) -> Floats:
    if first is None or spacing is None or (count is None) == (until is None):
        raise ArgumentError(
            "the layout is incomplete", value=f"first {first}, spacing {spacing}, count {count}, until {until}",
            expected="first, spacing and one of count and until; or positions",
        )  # fmt: skip
    start, step = _finite(first, "first"), _positive(spacing, "spacing")
    if count is None:
        last = _finite(until, "until")
        if last < start:
            raise ArgumentError(
                "the layout ends before it begins", column="until", value=f"{last:g} mm",
                expected=f"first, {start:g} mm, or beyond",
            )  # fmt: skip
        count = math.floor((last - start) / step + 1e-9) + 1
    if isinstance(count, bool) or not isinstance(count, (int, np.integer)) or not 1 <= count <= MOST_MEMBERS:
        raise ArgumentError(
            "number of members out of range", column="count", value=str(count), expected=f"1 to {MOST_MEMBERS}"
        )
    return start + step * np.arange(count, dtype=np.float64)


def _check_kind(members: Members) -> None:
    for name, value, known in (("direction", members.direction, DIRECTIONS), ("kind", members.kind, tuple(KINDS))):
        if value not in known:
            raise ArgumentError(f"unknown {name}", column=name, value=str(value), expected=", ".join(known))
    _positive(members.thickness, "thickness")
    if members.depth is not None:
        _positive(members.depth, "depth")
    if members.flange is None:
        return
    _positive(members.flange, "flange")
    if not members.flanged:
        raise ArgumentError(
            f"a {members.kind} has no flanges", column="flange", value=f"{members.flange:g} mm",
            expected="a flange thickness for an I-joist or a truss alone",
        )  # fmt: skip
    if members.depth is not None and 2 * members.flange >= members.depth:
        raise ArgumentError(
            "two flanges are as deep as the member", column="flange", value=f"{members.flange:g} mm",
            expected=f"less than half the depth of {members.depth:g} mm", remedy="give the thickness of one flange",
        )  # fmt: skip


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
        raise ArgumentError(
            "positions are not finite, or two members stand at one place", column="position_mm",
            value=", ".join(f"{place:g}" for place in places), expected="rising positions in mm",
        )  # fmt: skip
    twice = table.loc[table["name"].duplicated(), "name"]
    if len(twice):
        raise ArgumentError("two members of one name", column="name", value=str(twice.iloc[0]), expected="each its own")
    for name, start, end in zip(table["name"], table["start_mm"], table["end_mm"], strict=True):
        if end <= start or math.isinf(start) or math.isinf(end):
            raise ArgumentError(
                f"the member {name} ends before it begins", column="start_mm, end_mm",
                value=f"{start:g} to {end:g} mm", expected="an end beyond the start",
            )  # fmt: skip


def _finite(value: float | None, name: str) -> float:
    if isinstance(value, (int, float, np.number)) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    raise ArgumentError(f"{name} is not a finite number", column=name, value=str(value), expected="millimetres")


def _positive(value: float, name: str) -> float:
    if _finite(value, name) <= 0:
        raise ArgumentError(
            f"{name} out of range", column=name, value=f"{value:g} mm", expected="millimetres above zero"
        )
    return float(value)
