"""Patches: connected areas of one action, in the order of the work, with the ground that each covers.

What to do at each node: leave, plane, fill, sister (or fur on ceilings and walls), or ask the engineer.

Which of them depends on how deep, how long and how heavy it is and on what lies beneath. The numbers behind that are
:data:`THRESHOLDS`; none has a published source, and each may be set.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.lengths import MM2_PER_FT2
from flatness.notes import Note
from flatness.planning.plan import ACTIONS, OUTSIDE
from flatness.planning.quantities import SET_BY_YOU, Quantities, Setting, quantities
from flatness.planning.set_heights import CHANGED_MM
from flatness.planning.substrate import Permitted
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface

Mask = NDArray[np.bool_]
BAND_MM = 1219.2  # 4 ft: strips in which the room is walked, to and fro; common practice, no source
HAIR_MM = 0.5
COLUMNS = (
    "name",
    "action",
    "area_mm2",
    "greatest_mm",
    "mean_mm",
    "volume_mm3",
    "x_mm",
    "y_mm",
    "from_x_mm",
    "to_x_mm",
    "from_y_mm",
    "to_y_mm",
    "deepest_x_mm",
    "deepest_y_mm",
    "outline",
    "note",
)


class Cells:
    """The ground of each node: a quarter of each cell about it, clipped to the surface.

    Of a triangle left of a cell without its fourth corner, the third that is nearest along both its sides. Their
    areas are those of :func:`~flatness.planning.volumes.node_areas`.
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
                    (np.maximum(at_x, mid_x), np.maximum(at_y, mid_y)),
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
    """The patches as :class:`~flatness.planning.plan.Plan` has them, in the order of the work.

    Parameters
    ----------
    patches : in any order
    change : [ny, nx] mm, adding positive
    surface : as found
    permitted : how deep anything may come off
    thresholds : from :func:`~flatness.planning.patches.thresholds_of`
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
    patch: Patch,
    change: Floats,
    surface: Surface,
    area: Floats,
    permitted: Permitted,
    thresholds: Mapping[str, Setting],
) -> dict[str, Any]:
    moved = np.nan_to_num(change[patch.nodes])
    covered = area[patch.nodes]
    volume, total = float(moved @ covered), float(patch.outline.area if patch.chalked else covered.sum())
    deepest = int(np.abs(moved).argmax())
    rows, columns = np.nonzero(patch.nodes)
    inner = patch.outline.representative_point()
    low_x, low_y, high_x, high_y = patch.outline.bounds
    action, note = ACTIONS[patch.action], ""
    if action == "engineer":
        may, at = float(permitted.cut[patch.nodes][deepest]), (surface.x[columns[deepest]], surface.y[rows[deepest]])
        note = Note("asks-engineer" if may else "asks-engineer-all", off=-moved[deepest], at=at, may=may)
    elif action == "fill" and float(moved.max()) > thresholds["deepest_fill"].value:
        note = Note("in-layers", most=thresholds["deepest_fill"].value)
    return {
        "action": action,
        "area_mm2": total,
        "greatest_mm": float(moved[deepest]),
        "mean_mm": volume / total,
        "volume_mm3": abs(volume),
        "x_mm": inner.x,
        "y_mm": inner.y,
        "from_x_mm": low_x,
        "to_x_mm": high_x,
        "from_y_mm": low_y,
        "to_y_mm": high_y,
        "deepest_x_mm": float(surface.x[columns[deepest]]),
        "deepest_y_mm": float(surface.y[rows[deepest]]),
        "outline": patch.outline,
        "note": note,
    }


_NO_SOURCE = "common practice, no source"
THRESHOLDS: dict[str, Setting] = {
    setting.name: setting
    for setting in (
        Setting("deepest_fill", 12.7, "mm", f"fill no deeper than 1/2 in, framing beyond; {_NO_SOURCE}"),
        Setting("thin_fill", 6.35, "mm", f"up to 1/4 in is filled, however long, beside framing too; {_NO_SOURCE}"),
        Setting("longest_fill", 2438.4, "mm", f"a hollow deeper than thin_fill for over 8 ft is framed; {_NO_SOURCE}"),
        Setting("heaviest_fill", 100.0, "kg", f"heavier fill deeper than thin_fill is framed; {_NO_SOURCE}"),
        Setting("thinnest_fill", 25.4 / 16, "mm", f"fill that is all under 1/16 in deep does not hold; {_NO_SOURCE}"),
        Setting("thinnest_pour", 5.0, "mm", "a pour over all is nowhere thinner; quoted by its trade"),
        Setting("strapping", 19.05, "mm", f"3/4 in, the thickness of strapping over all; {_NO_SOURCE}"),
        Setting("deepest_plane", 3.175, "mm", f"1/8 in, where no deepest planing is given; {_NO_SOURCE}"),
        Setting("least_patch", MM2_PER_FT2, "mm2", f"1 ft2: smaller patches are left or joined; {_NO_SOURCE}"),
        Setting("least_depth", 25.4 / 64, "mm", f"1/64 in: shallower patches are left or joined; {_NO_SOURCE}"),
    )
}

# overhead and upright, compound is skimmed on in thin coats, and strapping or furring comes sooner than on a floor
SKIM_THRESHOLDS: dict[str, Setting] = THRESHOLDS | {
    setting.name: setting
    for setting in (
        Setting("deepest_fill", 6.35, "mm", f"skim no deeper than 1/4 in, strapping or furring beyond; {_NO_SOURCE}"),
        Setting("thinnest_fill", 25.4 / 32, "mm", f"a skim that is nowhere as deep as 1/32 in is none; {_NO_SOURCE}"),
        Setting("thin_fill", 3.175, "mm", f"up to 1/8 in is skimmed, however long; {_NO_SOURCE}"),
    )
}


def thresholds_of(kind: str = "floor", /, **values: float | None) -> dict[str, Setting]:
    """The thresholds of a ``floor``, ``ceiling`` or ``wall``, with the user's own values in place of defaults.

    None keeps the default.

    Raises
    ------
    ArgumentError : an unknown name, or a value that is not a number, 0 or more

    Examples
    --------
    >>> thresholds_of(deepest_fill=10)["deepest_fill"].source
    'set by you'
    >>> thresholds_of("ceiling")["deepest_fill"].value
    6.35
    """
    chosen = dict(THRESHOLDS if kind == "floor" else SKIM_THRESHOLDS)
    for name, value in values.items():
        if name not in THRESHOLDS:
            what, expected = "unknown argument", ", ".join(THRESHOLDS)
            raise ArgumentError(what, column=name, value=str(value), expected=expected, remedy="check its spelling")
        if value is None:
            continue
        known = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
        if not known or math.isnan(value) or value < 0:
            raise ArgumentError(
                f"{name} out of range", column=name, value=str(value), expected=f"{THRESHOLDS[name].unit}, 0 or more"
            )
        chosen[name] = Setting(name, float(value), THRESHOLDS[name].unit, SET_BY_YOU)
    if chosen["thin_fill"].value > chosen["deepest_fill"].value:
        # what may be filled is never deeper than what must be framed
        chosen["thin_fill"] = Setting("thin_fill", chosen["deepest_fill"].value, "mm", "no deeper than deepest_fill")
    return chosen


def assign_actions(
    surface: Surface,
    change: Floats,
    kind: str,
    permitted: Permitted,
    thresholds: Mapping[str, Setting],
    fill_density: float,
) -> NDArray[np.int8]:
    """The action at each node.

    Parameters
    ----------
    surface : as found
    change : [ny, nx] mm, adding positive
    kind : ``floor``, ``ceiling`` or ``wall``
    permitted : how deep anything may come off, and where there is something to frame on
    thresholds : from :func:`thresholds_of`
    fill_density : [kg/mm3]

    Returns
    -------
    [ny, nx] index into :data:`~flatness.planning.plan.ACTIONS`; ``OUTSIDE`` where there is no surface
    """
    moved = np.where(np.isfinite(change), change, 0.0)
    actions = np.where(surface.inside, ACTIONS.index("leave"), OUTSIDE).astype(np.int8)
    down, up = moved < -CHANGED_MM, moved > CHANGED_MM
    deeper = -moved > permitted.cut + CHANGED_MM
    actions[down & ~deeper] = ACTIONS.index("plane")
    actions[down & deeper] = ACTIONS.index("engineer")
    actions[up] = ACTIONS.index("fill")
    # strapping is fixed to a slab overhead and to a masonry wall as well
    framable = up & (permitted.framed if kind == "floor" else np.ones_like(up))
    actions[_framed(surface, moved, framable, thresholds, fill_density)] = ACTIONS.index(framing_of(kind))
    return actions


def framing_of(kind: str) -> str:
    """How a surface is framed out to its target: a floor is sistered, a ceiling or wall furred."""
    return "sister" if kind == "floor" else "fur"


def _framed(
    surface: Surface, moved: Floats, framable: NDArray[np.bool_], thresholds: Mapping[str, Setting], density: float
) -> NDArray[np.bool_]:
    """Where what is added is too deep, too long or too heavy for fill."""
    limit = {name: setting.value for name, setting in thresholds.items()}
    thick = framable & (moved > limit["thin_fill"])
    deep = framable & (moved > limit["deepest_fill"])
    # a member put in for the deepest part carries on until a thin fill will do
    framed = np.asarray(ndimage.binary_propagation(deep, mask=thick | deep), dtype=bool)
    mass = moved * node_areas(surface.inside, surface.spacing) * density
    labels, _ = ndimage.label(thick & ~framed)
    for number, box in enumerate(ndimage.find_objects(labels), 1):
        part = labels[box] == number
        reach = max(side.stop - side.start - 1 for side in box) * surface.spacing
        if reach > limit["longest_fill"] or float(mass[box][part].sum()) > limit["heaviest_fill"]:
            framed[box] |= part
    return framed


@dataclass(frozen=True)
class _Changed:
    surface: Surface
    change: Floats


def quantities_of(
    surface: Surface, change: Floats, actions: NDArray[np.int8], settings: Mapping[str, Setting]
) -> Quantities:
    """What a change takes, counted where its actions [ny, nx] fill and plane."""
    fill, plane = (np.asarray(actions == ACTIONS.index(name)) for name in ("fill", "plane"))
    return quantities(_Changed(surface, change), fill=fill, plane=plane, settings=settings)
