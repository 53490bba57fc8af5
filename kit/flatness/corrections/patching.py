"""Patches: connected areas of one action, in the order of the work, with the ground that each covers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from flatness.corrections.beneath import Permitted
from flatness.corrections.plan import ACTIONS
from flatness.corrections.quantities import Setting
from flatness.corrections.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

Mask = NDArray[np.bool_]
BAND_MM = 1219.2  # 4 ft: strips in which the room is walked, to and fro; common practice, no source
HAIR_MM = 0.5
COLUMNS = (
    "name", "action", "area_mm2", "greatest_mm", "mean_mm", "volume_mm3", "x_mm", "y_mm", "from_x_mm", "to_x_mm",
    "from_y_mm", "to_y_mm", "deepest_x_mm", "deepest_y_mm", "outline", "note",
)  # fmt: skip


class Cells:
    """The ground of each node: a quarter of each cell about it, clipped to the surface.

    Of a triangle left of a cell without its fourth corner, the third that is nearest along both its sides. Their
    areas are those of :func:`~flatness.corrections.volumes.node_areas`.
    """

    def __init__(self, surface: Surface) -> None:
        self.surface, self.inside = surface, surface.inside
        corners = (self.inside[:-1, :-1], self.inside[:-1, 1:], self.inside[1:, 1:], self.inside[1:, :-1])
        count = np.sum(corners, axis=0)
        self._whole, self._three = count == 4, count == 3

    def ground(self, mask: Mask) -> Any:
        """The ground of all nodes of a mask [ny, nx], as one shapely geometry [mm]."""
        pieces = [*self._quarters(mask), np.array(list(self._thirds(mask))), np.array(list(self._lone(mask)))]
        ground = shapely.union_all(np.concatenate([part for part in pieces if len(part)]))
        return shapely.simplify(ground, 1e-6)

    def _quarters(self, mask: Mask) -> Iterator[NDArray[Any]]:
        x, y = self.surface.x, self.surface.y
        for down in (0, 1):
            for right in (0, 1):
                ny, nx = self._whole.shape
                row, column = np.nonzero(self._whole & mask[down : ny + down, right : nx + right])
                mid_x, mid_y = (x[column] + x[column + 1]) / 2, (y[row] + y[row + 1]) / 2
                at_x, at_y = x[column + right], y[row + down]
                low, high = (
                    (np.minimum(at_x, mid_x), np.minimum(at_y, mid_y)),
                    (
                        np.maximum(at_x, mid_x),
                        np.maximum(at_y, mid_y),
                    ),
                )
                yield np.atleast_1d(shapely.box(*low, *high))

    def _thirds(self, mask: Mask) -> Iterator[Polygon]:
        x, y = self.surface.x, self.surface.y
        for row, column in np.argwhere(self._three):
            ring = [(row, column), (row, column + 1), (row + 1, column + 1), (row + 1, column)]
            here = [node for node in ring if self.inside[node]]
            place = np.array([(x[c], y[r]) for r, c in here])
            middle = place.mean(axis=0)
            for k, node in enumerate(here):
                if mask[node]:
                    one, other = ((place[k] + place[j % 3]) / 2 for j in (k + 1, k + 2))
                    yield Polygon([place[k], one, middle, other])

    def _lone(self, mask: Mask) -> Iterator[Polygon]:
        padded = np.pad(self._whole | self._three, 1)
        in_a_cell = padded[:-1, :-1] | padded[:-1, 1:] | padded[1:, :-1] | padded[1:, 1:]
        quarter, x, y = self.surface.spacing / 4, self.surface.x, self.surface.y
        for row, column in np.argwhere(mask & ~in_a_cell):
            # not beyond the wall
            px, py = (min(max(v, axis[0] + quarter), axis[-1] - quarter) for v, axis in ((x[column], x), (y[row], y)))
            yield shapely.box(px - quarter, py - quarter, px + quarter, py + quarter)


@dataclass(frozen=True, eq=False)
class Patch:
    """One area of one action: its nodes [ny, nx] and its outline [mm].

    ``chalked``: the outline is a crew's, through nodes; else it goes around the ground of the nodes.
    """

    action: int
    nodes: Mask
    outline: Polygon
    chalked: bool = False


def connected(actions: NDArray[np.int8], surface: Surface) -> list[Patch]:
    """The connected areas of each action but ``leave``; nodes are neighbours along rows and columns."""
    cells, found = Cells(surface), []
    for action in range(1, len(ACTIONS)):
        labels, count = ndimage.label(actions == action)
        for number in range(1, count + 1):
            nodes = labels == number
            ground = cells.ground(nodes)
            if isinstance(ground, Polygon):
                found.append(Patch(action, nodes, ground))
                continue
            rows, columns = np.nonzero(nodes)
            x, y = surface.x[columns], surface.y[rows]
            meet = np.sum([shapely.intersects_xy(part, x, y) for part in ground.geoms], axis=0) > 1
            if meet.any():
                # ground that meets in a point alone, between two openings: a hair joins it to one outline
                hair = shapely.box(x[meet] - HAIR_MM, y[meet] - HAIR_MM, x[meet] + HAIR_MM, y[meet] + HAIR_MM)
                ground = shapely.union_all([ground, *np.atleast_1d(hair)])
            # nodes in single file, with no cell between them, have ground that does not join
            for part in shapely.get_parts(ground):
                own = np.zeros_like(nodes)
                on = shapely.intersects_xy(part, x, y)
                own[rows[on], columns[on]] = True
                found.append(Patch(action, own, part))
    return found


def patch_table(
    patches: Sequence[Patch], change: Floats, surface: Surface, permitted: Permitted, thresholds: Mapping[str, Setting]
) -> pd.DataFrame:
    """The patches as :class:`~flatness.corrections.plan.Plan` has them, in the order of the work.

    Parameters
    ----------
    patches : in any order
    change : [ny, nx] mm, adding positive
    surface : as found
    permitted : how deep anything may come off
    thresholds : from :func:`~flatness.corrections.actions.thresholds_of`
    """
    area = node_areas(surface.inside, surface.spacing)
    ordered = sorted(patches, key=lambda patch: when(patch, surface))
    rows = [_row(patch, change, surface, area, permitted, thresholds) for patch in ordered]
    for number, row in enumerate(rows, 1):
        row["name"] = f"P{number}"
    return pd.DataFrame(rows, columns=list(COLUMNS))


def when(patch: Patch, surface: Surface) -> tuple[float, ...]:
    """By action, then strip by strip along y, to and fro along x, so that the room is walked once for each action."""
    inner = patch.outline.representative_point()
    strip = int((inner.y - surface.y[0]) // BAND_MM)
    return patch.action, strip, inner.x * (-1 if strip % 2 else 1), inner.y


def _row(
    patch: Patch, change: Floats, surface: Surface, area: Floats, permitted: Permitted,
    thresholds: Mapping[str, Setting],
) -> dict[str, Any]:  # fmt: skip
    moved = np.nan_to_num(change[patch.nodes])
    covered = area[patch.nodes]
    volume, total = float(moved @ covered), float(patch.outline.area if patch.chalked else covered.sum())
    deepest = int(np.abs(moved).argmax())
    rows, columns = np.nonzero(patch.nodes)
    inner = patch.outline.representative_point()
    low_x, low_y, high_x, high_y = patch.outline.bounds
    action, note = ACTIONS[patch.action], ""
    if action == "engineer":
        may = float(permitted.cut[patch.nodes][deepest])
        note = (
            f"{-moved[deepest]:.1f} mm would come off at ({surface.x[columns[deepest]]:.0f}, "
            f"{surface.y[rows[deepest]]:.0f}) mm where {f'{may:.1f} mm' if may else 'nothing'} may: ask the engineer "
            "or the maker first"
        )
    elif action == "fill" and float(moved.max()) > thresholds["deepest_fill"].value:
        note = f"in layers: deeper than {thresholds['deepest_fill'].value:g} mm"
    return {
        "action": action, "area_mm2": total, "greatest_mm": float(moved[deepest]), "mean_mm": volume / total,
        "volume_mm3": abs(volume), "x_mm": inner.x, "y_mm": inner.y, "from_x_mm": low_x, "to_x_mm": high_x,
        "from_y_mm": low_y, "to_y_mm": high_y, "deepest_x_mm": float(surface.x[columns[deepest]]),
        "deepest_y_mm": float(surface.y[rows[deepest]]), "outline": patch.outline, "note": note,
    }  # fmt: skip
