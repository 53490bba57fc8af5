"""How each surface of a room is brought to its target: the ways of planning, with the plane given, side by side.

Some members alone is none of them: it makes a surface pass where it stands, and does not bring it to a plane.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flatness.errors import PlanError
from flatness.planning.constraints import Rates
from flatness.planning.plan import Plan
from flatness.planning.ways import Ways, plan_ways
from flatness.room.targets import RoomTargets

WAYS = ("patches", "members", "overlay")
LEAVE = "leave"
COLUMNS = (
    "surface",
    "kind",
    "way",
    "places",
    "area_mm2",
    "lumber_mm",
    "fill_mm3",
    "rise_mm",
    "work",
    "unit",
    "chance",
    "verdict",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomWays:
    """Ways to bring each surface of a room to its target.

    Attributes
    ----------
    targets : that they come to
    ways : by name of the surface
    """

    targets: RoomTargets
    ways: Mapping[str, Ways]

    @property
    def plans(self) -> dict[str, Plan]:
        """The plan that is proposed for each surface that has a way open, by its name."""
        return {name: found.plan for name, found in self.ways.items() if found.proposed}

    @property
    def table(self) -> pd.DataFrame:
        """The proposed way of each surface, one row each: the columns of :class:`~flatness.planning.ways.Ways` but
        ``mass_kg`` and ``why``, with ``surface`` and ``kind``; ``way`` is empty where none is open, and ``leave`` where
        the surface stays as it is."""
        surfaces = self.targets.room.surfaces
        rows: list[dict[Any, Any]] = []
        for name in surfaces:
            if name in self.targets.left:
                first: dict[Any, Any] = {"way": LEAVE, "places": 0, "rise_mm": 0.0, "work": 0.0}
            else:
                found = self.ways[name]
                first = found.table.to_dict("records")[0] if found.proposed else {"way": ""}
            rows.append({**first, "surface": name, "kind": surfaces[name].kind})
        return pd.DataFrame(rows, columns=list(COLUMNS))

    @property
    def work(self) -> tuple[float, str] | None:
        """What all of it takes and in which unit; None where the surfaces' rates have several units."""
        units = {one.rates.unit for one in self.targets.room.surfaces.values()}
        if len(units) != 1:
            return None
        return float(np.nansum(self.table["work"].to_numpy(dtype=np.float64))), units.pop()

    @property
    def usual_rates(self) -> bool:
        """Whether nobody said what the work costs."""
        return all(one.rates == Rates() for one in self.targets.room.surfaces.values())


def room_ways(targets: RoomTargets, **options: Any) -> RoomWays:
    """Every way to bring each surface of a room to its target.

    Parameters
    ----------
    targets : from :func:`~flatness.room.targets.room_targets`; each surface's plane is held by three spots
    options : others of :func:`~flatness.planning.planner.plan_corrections`, such as ``spacing``, or ``ways``; draws,
        seed and confidence are the room's where they are not given, the setting error that of the targets

    Returns
    -------
    RoomWays : a surface without a way has none proposed, and the reasons in its table; one that is left has no ways

    Raises
    ------
    ArgumentError : an unknown option
    """
    room = targets.room
    found = {}
    for name in (name for name in room.surfaces if name not in targets.left):
        one = room.surfaces[name]
        asked: dict[str, Any] = {
            "ways": WAYS,
            "confidence": room.confidence,
            "draws": room.draws,
            "seed": room.seed,
            "setting_error": float(targets.options["setting_error"]),
            **options,
        }
        found[name] = plan_ways(
            one.survey,
            one.limits,
            members=one.members,
            beneath=one.beneath,
            fixed=targets.fixed_spots(name),
            rates=one.rates,
            depths=one.depths,
            strategy="fixed-spots",
            plane="through-benchmarks",
            **asked,
        )
    return RoomWays(targets=targets, ways=found)


def closed_because(found: Ways) -> str:
    """Why no way is open; empty where one is."""
    if found.proposed:
        return ""
    try:
        found.of("proposed")
    except PlanError as error:
        return "; ".join(str(problem.what) for problem in error.problems[1:])
    return ""
