"""A room seen from above its corner, what its surfaces are off drawn large: a view that turns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from mpl_toolkits.mplot3d import Axes3D

from flatness.arrays import Floats
from flatness.charts.room_sheet import INK, deviation
from flatness.charts.scales import Scale, deviation_scale
from flatness.room.records import Room, RoomSurface
from flatness.room.targets import RoomTargets

ENLARGED = 40.0  # times as large as they are
LEFT_GRAY = 0.95  # of what is left as it is, which is neither added to nor cut
WRITTEN = 1000  # above all surfaces
ELEVATION = 38.0  # degrees above the floor


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomView:
    """A view of a room.

    Attributes
    ----------
    ax : axes in three dimensions
    scale : steps and colours
    drawn : artists by name of the surface; those whose back is turned are not drawn
    """

    ax: Any
    scale: Scale
    drawn: dict[str, Artist]


def room_view(
    figure: Figure,
    room: Room,
    targets: RoomTargets | None = None,
    *,
    azimuth: float = -60.0,
    enlarged: float = ENLARGED,
) -> RoomView:
    """Draw a room from above, its near walls and its ceiling left away.

    Parameters
    ----------
    figure : to draw into, empty
    room : with its surfaces
    targets : that the surfaces are off; None: each its own best plane
    azimuth : from where it is seen [degrees counterclockwise from x]
    enlarged : how many times as large what they are off is drawn
    """
    ax: Any = figure.add_axes((0.0, 0.0, 1.0, 1.0), projection=Axes3D.name)
    toward = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))])
    shown = [one for one in room.surfaces.values() if one.kind == "floor"]
    shown += [one for one in room.of_kind("wall") if float(one.line.into @ toward) > 0.05]
    off = {one.name: deviation(room, targets, one.name) for one in shown}
    most = max((float(np.nanmax(np.abs(values))) for values in off.values()), default=1.0)
    scale = deviation_scale(max(most, 0.1), room.show)
    drawn: dict[str, Artist] = {}
    for one in shown:
        x, y, z = _bent(room, one, off[one.name] * enlarged)
        colours = scale.colours(scale.norm(np.ma.masked_invalid(off[one.name])))
        if targets is not None and one.name in targets.left:
            colours[..., :3] = LEFT_GRAY
        drawn[one.name] = ax.plot_surface(
            x, y, z, facecolors=colours, rstride=1, cstride=1, shade=False, linewidth=0, antialiased=False
        )
        drawn[f"name of {one.name}"] = ax.text(
            *_label(room, one), one.name, color=INK, fontsize=11, ha="center", zorder=WRITTEN
        )
    ax.set_box_aspect([float(np.ptp(limits)) for limits in (ax.get_xlim(), ax.get_ylim(), ax.get_zlim())], zoom=1.1)
    ax.view_init(elev=ELEVATION, azim=azimuth)
    ax.set_axis_off()
    told = f"What surfaces are off is drawn {enlarged:g} times as large; near walls and ceiling are left away."
    figure.text(0.02, 0.02, told, color=INK, fontsize=9)
    return RoomView(ax=ax, scale=scale, drawn=drawn)


def _bent(room: Room, one: RoomSurface, off: Floats) -> tuple[Floats, Floats, Floats]:
    """Places of a surface in space [mm], moved toward the room by so much."""
    surface = room.drawn[one.name].surface
    x, y = np.meshgrid(surface.x, surface.y)
    if one.wall is None:
        return *room.drawn[one.name].on_plan(x, y), np.nanmean(surface.height) + off
    px, py = one.wall.on_plan(x, np.nanmean(surface.height) + off)
    return px, py, one.wall.base + y


def _label(room: Room, one: RoomSurface) -> tuple[float, float, float]:
    west, east, south, north = room.drawn[one.name].extent
    if one.wall is None:
        x, y = room.drawn[one.name].on_plan((west + east) / 2, (south + north) / 2)
        return float(x), float(y), 100.0
    x, y = one.line.on_plan(np.array((west + east) / 2), np.array(-one.wall.offset))
    return float(x), float(y), one.wall.base + north + 150
