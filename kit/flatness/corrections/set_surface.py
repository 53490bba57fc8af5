"""The surface that stands on members once each is set to its line, and what it measures.

Along a member it is that member's straight line; between two neighbours a sheet spans from one to the other, and
beyond the outer ones it goes straight on for no more than the step between members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from flatness.corrections.after import at_stations
from flatness.corrections.plan import Plan
from flatness.corrections.terms import FixedSpot, spot_heights
from flatness.corrections.tracks import Track
from flatness.errors import MeasureError
from flatness.lengths import settle
from flatness.limits.measuring import Subject, measure
from flatness.surface.lattice import Surface, widest_step
from flatness.survey.readings import Floats

COLUMNS = ("limit", "as_set_mm", "allowed_mm", "passes", "note")
SPOT_COLUMNS = ("spot", "x_mm", "y_mm", "off_mm", "allowance_mm", "within")


@dataclass(frozen=True, eq=False)
class Standing:
    """How the heights of members make those of the surface on them.

    Attributes
    ----------
    surface : the lattice
    direction : in which the members run
    tracks : k members that were read, in the order of their positions
    low, high : two stations [mm] along all members: a line is told by its heights there, ``low`` of every member
        first, then ``high`` of every member
    inside : [ny, nx] True at nodes that stand on the members
    weights : [nodes inside, 2 k] of the lines' heights in those of the nodes
    """

    surface: Surface
    direction: str
    tracks: tuple[Track, ...]
    low: float
    high: float
    inside: NDArray[np.bool_]
    weights: csr_array

    @classmethod
    def on(cls, surface: Surface, direction: str, tracks: Sequence[Track]) -> Standing:
        """On these members.

        Raises
        ------
        MeasureError : fewer than two members were read
        """
        known = tuple(sorted((track for track in tracks if track.known), key=lambda track: track.position))
        if len(known) < 2:
            raise MeasureError(
                "no surface stands on fewer than two members", value=str(len(known)), expected="two that were read"
            )
        low = min(float(track.knots[0]) for track in known)
        high = max(float(track.knots[-1]) for track in known)
        empty = cls(surface, direction, known, low, high, surface.inside, csr_array((0, 2 * len(known))))
        gx, gy = np.meshgrid(surface.x, surface.y)
        inside = surface.inside.copy()
        inside[inside] = empty.reached(gx[inside], gy[inside])
        return replace(empty, inside=inside, weights=empty.at(gx[inside], gy[inside]))

    def _placed(self, x: Floats, y: Floats) -> tuple[Floats, NDArray[np.int64], Floats]:
        """Station of each place, the first of the two members about it, and how far on it is to the other."""
        along, across = (x, y) if self.direction == "x" else (y, x)
        positions = np.array([track.position for track in self.tracks])
        first = np.clip(np.searchsorted(positions, across, side="right") - 1, 0, len(positions) - 2)
        share = (across - positions[first]) / (positions[first + 1] - positions[first])
        return along, first, share

    def reached(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """[n] whether a place [mm] stands on the members."""
        along, first, share = self._placed(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        starts, ends = (np.array([getattr(track, name) for track in self.tracks]) for name in ("start", "end"))
        start, end = np.maximum(starts[first], starts[first + 1]), np.minimum(ends[first], ends[first + 1])
        room = self.surface.spacing
        beside = (share >= -1) & (share <= 2)
        return np.asarray(beside & (along >= start - room) & (along <= end + room))

    def at(self, x: Floats, y: Floats) -> csr_array:
        """[n, 2 k] weights of the lines' heights in those of places [mm]."""
        along, first, share = self._placed(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        part = (along - self.low) / (self.high - self.low)
        count, row = len(self.tracks), np.arange(len(part))
        entries = [
            (first, (1 - share) * (1 - part)), (first + 1, share * (1 - part)),
            (count + first, (1 - share) * part), (count + first + 1, share * part),
        ]  # fmt: skip
        column = np.concatenate([where for where, _ in entries])
        weight = np.concatenate([weight for _, weight in entries])
        return csr_array(coo_array((weight, (np.tile(row, 4), column)), shape=(len(part), 2 * count)))

    def heights_of(self, lines: Sequence[Floats]) -> Floats:
        """[2 k] of the lines (height at station 0, slope), one a member that was read, in their order."""
        level, slope = np.array(lines).T
        return np.concatenate([level + slope * self.low, level + slope * self.high])

    def lines_of(self, heights: Floats) -> list[Floats]:
        """The lines (height at station 0, slope) [mm, mm/mm] that have these heights [2 k] mm."""
        count = len(self.tracks)
        slope = (heights[count:] - heights[:count]) / (self.high - self.low)
        return [np.array([h - s * self.low, s]) for h, s in zip(heights[:count], slope, strict=True)]

    def surface_of(self, heights: Floats) -> Surface:
        """The surface on members at these heights [2 k] mm; NaN where nothing carries it."""
        grid = np.full(self.surface.height.shape, np.nan)
        grid[self.inside] = self.weights @ heights
        return replace(self.surface, height=grid)


def subject_of(plan: Plan) -> Subject:
    """What a plan was made on, to be measured."""
    return Subject(plan.survey, plan.surface, widest_step(plan.survey), plan.headings)


def as_set(plan: Plan, standing: Standing, heights: Floats) -> pd.DataFrame:
    """What the surface on the members measures once they are set, limit by limit.

    Returns
    -------
    DataFrame : ``limit``, ``as_set_mm``, ``allowed_mm``, ``passes``, ``note`` (why it could not be measured)
    """
    surface = standing.surface_of(heights)
    x, y, z = plan.survey.xyz()
    beside = z + at_stations(plan.surface, plan.survey, surface.height - plan.surface.height)
    on_it = standing.reached(x, y)
    carried = np.where(on_it, standing.at(x, y) @ heights, beside)
    survey = replace(plan.survey, points=plan.survey.points.assign(height=carried))
    subject = replace(subject_of(plan), survey=survey, surface=surface)
    rows = []
    for limit in plan.limits:
        row: dict[str, object] = {"limit": limit.name, "as_set_mm": np.nan, "allowed_mm": np.nan, "passes": False}
        try:
            finding = measure(limit, subject)
        except MeasureError as error:
            rows.append(row | {"note": "; ".join(problem.what for problem in error.problems)})
            continue
        lengths = limit.kind not in ("ff", "fl", "slope")
        row |= {"as_set_mm": finding.measured.value, "allowed_mm": finding.allowed} if lengths else {}
        rows.append(row | {"passes": finding.within, "note": ""})
    return pd.DataFrame(rows, columns=list(COLUMNS))


def spots_as_set(spots: Sequence[FixedSpot], plan: Plan, standing: Standing, heights: Floats) -> pd.DataFrame:
    """How far the surface on the members stands off each fixed spot once they are set.

    Returns
    -------
    DataFrame : ``spot``, ``x_mm``, ``y_mm``, ``off_mm`` (positive where it stands above the height given; NaN where no
        member reaches), ``allowance_mm``, ``within``
    """
    wanted, rows = spot_heights(plan.surface, spots), []
    for spot, height in zip(spots, wanted, strict=True):
        x, y = np.array([spot.x]), np.array([spot.y])
        off = float((standing.at(x, y) @ heights)[0] - height) if standing.reached(x, y)[0] else np.nan
        within = bool(np.isnan(off) or settle(abs(off) - spot.allowance) <= 1e-3)
        rows.append((spot.name, spot.x, spot.y, off, spot.allowance, within))
    return pd.DataFrame(rows, columns=list(SPOT_COLUMNS))
