"""Places at which the two surveys can be brought together: stations in common, and what was declared unchanged."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from flatness.comparison.both import Both
from flatness.errors import ArgumentError
from flatness.survey.readings import Floats, Survey

ON_EDGE_MM = 0.5  # a station this close to an edge stands on it


def in_common(before: Survey, after: Survey, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Those of the places x, y [m] mm that both surveys reach."""
    keep = np.ones(len(x), dtype=bool)
    for survey in (before, after):
        keep &= within(survey, x, y)
    return x[keep], y[keep]


def within(survey: Survey, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """[m] whether places x, y [mm] lie between a survey's stations, on its surface and in no opening."""
    sx, sy, _, _ = survey.stations()
    area = shapely.MultiPoint(np.column_stack([sx, sy])).convex_hull
    if survey.outline is not None:
        area = area.intersection(survey.outline)
    keep = np.asarray(shapely.contains_xy(area.buffer(ON_EDGE_MM), x, y), dtype=bool)
    for opening in survey.openings:
        keep &= ~np.asarray(shapely.contains_xy(opening.buffer(-ON_EDGE_MM), x, y), dtype=bool)
    return keep


def declared(before: Survey, after: Survey, both: Both, unchanged: Any) -> tuple[Floats, Floats, str]:
    """Places [m] mm that were declared unchanged, and what they were declared by, in words."""
    items = [unchanged] if isinstance(unchanged, (str, Polygon, MultiPolygon)) else list(unchanged)
    if len(items) == 2 and all(isinstance(item, (int, float, np.number)) for item in items):
        items = [tuple(items)]  # one place
    sx, sy = in_common(before, after, *both.stations())
    places: list[Floats] = []
    kinds: dict[str, int] = {}
    for item in items:
        if isinstance(item, (Polygon, MultiPolygon)):
            inside = np.asarray(shapely.contains_xy(item.buffer(ON_EDGE_MM), sx, sy), dtype=bool)
            if not inside.any():
                raise ArgumentError(
                    "no station lies in an area declared unchanged", column="unchanged", value=item.wkt,
                    expected="an area [mm] with one station in it or more", remedy="check its corners",
                )  # fmt: skip
            places.append(np.column_stack([sx, sy])[inside])
            kinds["area"] = kinds.get("area", 0) + 1
        elif isinstance(item, str):
            places.append(_labelled(before, after, item))
            kinds["label"] = kinds.get("label", 0) + 1
        else:
            places.append(_placed(before, after, item))
            kinds["place"] = kinds.get("place", 0) + 1
    if not places:
        raise ArgumentError("nothing was declared unchanged", column="unchanged", expected="one place or more")
    xy: Floats = np.unique(np.round(np.concatenate(places), 1), axis=0)
    words = ", ".join(f"{count} {kind}{'s' if count > 1 else ''}" for kind, count in kinds.items())
    return xy[:, 0], xy[:, 1], words


def _labelled(before: Survey, after: Survey, label: str) -> Floats:
    tables = [survey.points for survey in (before, after)]
    rows = [table.loc[table["label"] == label, ["x", "y"]].to_numpy(dtype=np.float64) for table in tables]
    found = next((row for row in rows if len(row)), None)
    if found is None:
        raise ArgumentError(
            "no station has this label", column="unchanged", value=label, expected="a label of either survey",
        )  # fmt: skip
    return np.asarray(found[:1])


def _placed(before: Survey, after: Survey, item: Any) -> Floats:
    try:
        place = np.asarray(item, dtype=np.float64).reshape(1, 2)
    except (TypeError, ValueError) as error:
        raise ArgumentError(
            "not a place, a label or an area", column="unchanged", value=repr(item),
            expected="polygons, labels of stations, or places (x, y) in mm",
        ) from error  # fmt: skip
    if not (np.isfinite(place).all() and all(within(s, place[:, 0], place[:, 1]).all() for s in (before, after))):
        raise ArgumentError(
            "a place declared unchanged lies off what both surveys read", column="unchanged",
            value=f"x = {place[0, 0]:.0f} mm, y = {place[0, 1]:.0f} mm", expected="a place between their stations",
        )  # fmt: skip
    return place
