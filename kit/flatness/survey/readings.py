"""The Survey: every reading of one surface, off one reference, in one frame.

x and y lie in the surface; ``height`` is out of it, positive toward the room: up on a floor, down on a
ceiling, into the room on a wall (where x runs left to right as seen from the room and y is up). So a
proud spot is positive on each of them.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, Problem, check_choice
from flatness.survey.walls import TURNS, Tape, Walls

if TYPE_CHECKING:
    from flatness.surface.lattice import Surface
    from flatness.survey.levelling import Adjustment

SURFACES = ("floor", "ceiling", "wall")
REFERENCES = ("level", "plumb", "string")
KINDS = ("surface", "benchmark", "turning")
STRUCK = "struck"  # the kind of a row that takes back one above it, as a field book strikes an entry through
POINT_COLUMNS = ("x", "y", "height", "reading", "label", "setup", "line", "cell")
ONE_LINE_MM = 0.01  # readings whose height and drop sum to one number, but for noise
# what a member typically stands off from its neighbors: common practice, no source
TYPICAL_MM = {"new": 0.8, "old": 1.6, "none": 0.0}
FACING = 0.05  # cosine of the angle up to which a template bridges; at a right angle nothing holds it
SAME_PLACE_MM = 0.5  # stations closer than this are one station, read again


def place_keys(x: Floats, y: Floats) -> NDArray[np.int64]:
    """Two whole numbers [n, 2] that are the same for readings at the same place, within 0.5 mm."""
    return np.round(np.column_stack([x, y]) / SAME_PLACE_MM).astype(np.int64)


@dataclass(frozen=True)
class Framing:
    """Parallel members beneath a surface.

    Attributes
    ----------
    spacing : from the middle of one to the middle of the next [mm]
    along : ``x`` or ``y``, the direction in which they run
    first : position of one of them across that direction [mm]
    typical : what a member typically stands off from its neighbors [mm], one standard deviation; 0 of a slab
    """

    spacing: float
    along: str
    first: float
    typical: float = TYPICAL_MM["new"]


class Shape(Protocol):
    """A curve in plan, by the distance along it [mm]."""

    @property
    def length(self) -> float: ...

    def at(self, s: ArrayLike) -> Floats: ...

    def heading(self, s: ArrayLike) -> Floats: ...


@dataclass(frozen=True, eq=False)
class Bend:
    """The curve along which a surface was unrolled: x is the distance along it, from the left as seen from the room.

    Attributes
    ----------
    curve : its shape
    against : whether x runs against the curve's own way
    closed : whether it was read all round, so that its end is its beginning
    """

    curve: Shape
    against: bool
    closed: bool

    @property
    def turn(self) -> float:
        """After how long x comes back to where it began [mm]; infinite where it does not."""
        return self.curve.length if self.closed else math.inf

    def at(self, x: ArrayLike) -> tuple[Floats, Floats]:
        """Places [..., 2] mm in plan, and directions of growing x [rad]."""
        s = self.curve.length - np.asarray(x, dtype=np.float64) if self.against else np.asarray(x, dtype=np.float64)
        return self.curve.at(s), self.curve.heading(s) + math.pi * self.against

    def reaches(self, x: ArrayLike, dx: Floats, dy: ArrayLike) -> tuple[Floats, Floats]:
        """How a template over places x [n] mm rests on others (dx, dy) [steps, n] mm away, in order outward.

        Held to its place it can move square to the curve and turn about it. What that does elsewhere is a chord, but of
        heights over the cosine by which the curve has turned, and of distances that count by what a turn moves there.

        Returns
        -------
        [steps, n] cosines, and distances [mm]; both NaN from where on the curve has turned by a right angle
        """
        distance = np.hypot(dx, dy)
        share = np.divide(dx, distance, out=np.ones_like(distance), where=distance > 0)
        (here, facing), (there, turned) = self.at(x), self.at(np.asarray(x) + dx)
        cosine = np.cos(turned - facing)
        arm = there - here
        along = arm[..., 0] * np.cos(turned) + arm[..., 1] * np.sin(turned)
        moved = np.abs(share * along) + (1 - share**2) * distance * cosine
        cosine = np.where(np.logical_or.accumulate(cosine <= FACING, axis=0), np.nan, cosine)
        return cosine, moved / cosine


@dataclass(frozen=True, eq=False, kw_only=True)
class Survey:
    """The readings of one surface.

    Attributes
    ----------
    points : DataFrame, one row a reading on the surface: ``x``, ``y``, ``height`` [mm]; ``reading`` [mm], as it
        was read; ``label``, ``setup``, ``line`` (text, empty where not given) and ``cell`` (where in the file it
        stands, such as ``C14``)
    quantity : what was read: ``height`` or ``drop``
    surface : ``floor``, ``ceiling`` or ``wall``
    reference : ``level``, ``plumb`` (for a wall) or ``string`` (straight, but not known to be level)
    accuracy : one standard deviation of one reading [mm], or None where it is not known
    outline : Polygon [mm] that bounds the surface, or None
    openings : Polygons [mm] inside which there is no surface
    ties : DataFrame like ``points`` with ``kind`` besides, of readings on benchmarks and turning points
    benchmarks : height of each benchmark [mm], by label
    unit : unit that the file's bare numbers carry, in which results are shown
    title, date, source : as the file gives them; source is the file's name
    keys : free text that the file gives besides: ``instrument`` and ``by`` (who took the readings)
    notes : findings that are worth a look and stop nothing, such as a reading far off its neighbours
    framing : the members beneath, or None where their layout is not known
    walls : doors, windows and names of walls, as far as they are known
    adjustment : how the set-ups of a file were brought to one datum, or None where there is but one set-up
    bend : the curve along which it was unrolled, or None where it is no curved wall
    """

    points: pd.DataFrame
    surface: str = "floor"
    reference: str = "level"
    accuracy: float | None = None
    outline: Polygon | None = None
    openings: tuple[Polygon, ...] = ()
    ties: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=[*POINT_COLUMNS, "kind"]))
    benchmarks: Mapping[str, float] = field(default_factory=dict)
    quantity: str = "height"
    unit: str = "in"
    title: str = ""
    date: str = ""
    source: str = ""
    keys: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[Problem, ...] = ()
    framing: Framing | None = None
    walls: Walls = field(default_factory=Walls)
    adjustment: Adjustment | None = None
    bend: Bend | None = None

    @property
    def turn(self) -> float:
        """After how long x comes back to where it began [mm]; infinite where it does not."""
        return math.inf if self.bend is None else self.bend.turn

    @property
    def is_level(self) -> bool:
        """Whether heights are off a true level (floor, ceiling) or plumb (wall) reference."""
        return self.reference != "string"

    @property
    def is_grid(self) -> bool:
        """Whether the file has the readings as a grid: x along its first row, y down its first column."""
        return len({str(cell).rstrip("0123456789") for cell in self.points["cell"]}) > 1

    @property
    def tapes(self) -> tuple[Tape, Tape]:
        """The walls from which distances along x and along y are given."""
        across, up = sorted(self.tapes_in, key=lambda tape: tape.axis)
        return across, up

    @property
    def tapes_in(self) -> tuple[Tape, Tape]:
        """The walls from which places are given as one walks in: the one at the left hand, and the door's."""
        return self.walls.tapes(self.outline)

    @property
    def turns(self) -> int:
        """Quarter turns to the left by which a map is drawn as one walks in, the door at its foot; a wall has none."""
        door = self.walls.door
        return TURNS[door.side] if door is not None and self.outline is not None and self.surface != "wall" else 0

    @property
    def line_height(self) -> float | None:
        """Height [mm] of the one line that all drops were read off; None where heights were read, or off several."""
        if self.quantity != "drop":
            return None
        lines = (self.points["height"] + self.points["reading"]).to_numpy(dtype=np.float64)
        return float(lines.mean()) if float(np.ptp(lines)) <= ONE_LINE_MM else None

    def xyz(self) -> tuple[Floats, Floats, Floats]:
        """x, y and height [mm] of the readings, as three float arrays of equal length."""
        table = self.points
        return tuple(table[name].to_numpy(dtype=np.float64) for name in ("x", "y", "height"))  # type: ignore[return-value]

    def stations(self) -> tuple[Floats, Floats, Floats, NDArray[np.int64]]:
        """Distinct stations: x, y, mean height [mm] and how many times each was read.

        Readings within 0.5 mm of one another are one station, read again; a straight-line surface
        goes through their mean.
        """
        x, y, _ = self.xyz()
        first, _, count = self._places()
        order = np.argsort(first)  # in the order they were read
        return x[first][order], y[first][order], self.station_means("height"), count[order]

    def station_means(self, column: str) -> Floats:
        """Mean of a column of ``points`` [mm] at each of :meth:`stations`, in their order."""
        first, index, count = self._places()
        mean: Floats = np.bincount(index, weights=self.points[column].to_numpy(dtype=np.float64)) / count
        return mean[np.argsort(first)]

    def repeats(self) -> tuple[int, float]:
        """Degrees of freedom in stations read more than once, and their sum of squares about the means [mm2]."""
        _, _, height = self.xyz()
        _, index, count = self._places()
        off = height - (np.bincount(index, weights=height) / count)[index]
        return int((count - 1).sum()), float(off @ off)

    def _places(self) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """First reading of each distinct station, the station of each reading, and readings a station."""
        x, y, _ = self.xyz()
        place = place_keys(x, y)
        _, first, index, count = np.unique(place, axis=0, return_index=True, return_inverse=True, return_counts=True)
        return first, index.reshape(-1), count

    def surface_at(self, spacing: float | None = None) -> Surface:
        """The surface on a lattice of this spacing [mm], by straight-line interpolation.

        See :func:`flatness.surface.lattice.interpolate`.
        """
        from flatness.surface.lattice import interpolate

        return interpolate(self, spacing)


def with_walls_of(survey: Survey, other: Survey) -> Survey:
    """A survey that says nothing of its doors with those of another one of the same outline."""
    one_room = survey.outline is not None and other.outline is not None and survey.outline.equals(other.outline)
    return replace(survey, walls=other.walls) if one_room and other.walls and not survey.walls else survey


def fingerprint(survey: Survey) -> str:
    """SHA-256, in hexadecimal, of where the readings stand and their heights to a hundredth of a millimetre."""
    rows = np.round(np.column_stack(survey.xyz()) * 100).astype(np.int64)
    return hashlib.sha256(rows[np.lexsort(rows.T)].tobytes()).hexdigest()


def make_survey(x: ArrayLike, y: ArrayLike, height: ArrayLike, **attributes: Any) -> Survey:
    """A Survey from arrays: x, y and height [mm], n readings each; keywords as the attributes of Survey.

    ``label``, ``setup`` and ``line`` may be given as sequences of n texts; ``outline``, and each of ``openings``, as
    a Polygon or as the (x, y) of its corners [mm].

    Examples
    --------
    >>> survey = make_survey([0, 600, 0, 600], [0, 0, 600, 600], [0, 1, 0, 2], surface="floor")
    >>> len(survey.points)
    4
    """
    columns: dict[str, Any] = {
        name: np.asarray(values, dtype=np.float64).ravel() for name, values in (("x", x), ("y", y), ("height", height))
    }
    columns["reading"] = columns["height"]
    count = len(columns["x"])
    for name, values in columns.items():
        if len(values) != count:
            raise ArgumentError(f"x, y and height differ in number: {name} has {len(values)}, x has {count}")
        if not np.isfinite(values).all():
            raise ArgumentError(f"{name} holds something that is not a finite number", expected="millimetres")
    for name in ("label", "setup", "line", "cell"):
        texts = attributes.pop(name, [""] * count)
        if len(texts) != count:
            raise ArgumentError(f"{name} has {len(texts)} entries for {count} readings")
        columns[name] = [str(text) for text in texts]
    for name, known in (("surface", SURFACES), ("reference", REFERENCES)):
        check_choice(name, attributes.get(name, known[0]), known)
    if attributes.get("outline") is not None:
        attributes["outline"] = _polygon("outline", attributes["outline"])
    attributes["openings"] = tuple(_polygon("opening", area) for area in attributes.get("openings", ()))
    return Survey(points=pd.DataFrame(columns, columns=list(POINT_COLUMNS)), **attributes)


def _polygon(name: str, area: Polygon | ArrayLike) -> Polygon:
    expected = "a Polygon, or the (x, y) of at least three corners in order, in mm"
    if not isinstance(area, Polygon):
        try:
            corners = np.asarray(area, dtype=np.float64)
        except (TypeError, ValueError):
            raise ArgumentError(f"{name} is not a polygon", value=repr(area)[:80], expected=expected) from None
        if corners.ndim != 2 or corners.shape[0] < 3 or corners.shape[1] != 2 or not np.isfinite(corners).all():
            raise ArgumentError(f"{name} is not a polygon", value=repr(area)[:80], expected=expected)
        area = Polygon(corners)
    if area.is_empty or not area.is_valid or area.area == 0:
        value, remedy = area.wkt[:80], "give the corners in the order in which one walks around"
        raise ArgumentError(f"{name} crosses itself or has no area", value=value, expected=expected, remedy=remedy)
    return area
