"""The change that a plane asks for, at once: without patches, proof and chances, while a slider moves.

It is the planner's own change but for places too shallow to be worth doing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.framing.members import Members
from flatness.limits.kinds import Limit
from flatness.limits.measuring import lattice_step
from flatness.planning.constraints import Depths, FixedSpot, Rates, spot_heights
from flatness.planning.patches import assign_actions, quantities_of, thresholds_of
from flatness.planning.quantities import Quantities, Setting, settings_for
from flatness.planning.search import Terms, seek
from flatness.planning.substrate import Beneath, permitted_cut
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.surface.likely import likely_surface
from flatness.survey.readings import Survey

HEADINGS = 12
OVER_MM = 1e-6


@dataclass(frozen=True, eq=False, kw_only=True)
class Draft:
    """A change as it would be, before it is proved.

    Attributes
    ----------
    survey, surface : the readings, and the surface as found
    change : [ny, nx] mm, adding positive; NaN where there is no surface
    actions : [ny, nx] index into ``ACTIONS``
    members, fixed : as wanted
    quantities : what it takes
    cost : rates x area x change
    against : what of the terms it breaks: the term, where [mm], and by how much [mm]
    """

    survey: Survey
    surface: Surface
    change: Floats
    actions: NDArray[np.int8]
    members: Members | None
    fixed: tuple[FixedSpot, ...]
    quantities: Quantities
    cost: float
    against: tuple[tuple[str, tuple[float, float], float], ...] = ()

    @property
    def x(self) -> Floats:
        """[nx] mm."""
        return self.surface.x

    @property
    def y(self) -> Floats:
        """[ny] mm."""
        return self.surface.y


def ground_of(survey: Survey, limits: Sequence[Limit], on: str, spacing: float | None) -> Surface:
    """The surface that the planner would plan on: ``likely``, the best estimate, or ``as-read``."""
    surface = survey.surface_at(lattice_step(survey, limits) if spacing is None else spacing)
    return surface if on == "as-read" else replace(surface, height=likely_surface(survey, surface.spacing).mean)


def draft_plane(
    survey: Survey,
    surface: Surface,
    *,
    strategy: str,
    tilt: str,
    height: float | None,
    rates: Rates,
    depths: Depths,
    fixed: tuple[FixedSpot, ...],
    beneath: Sequence[Beneath] | None,
    members: Members | None,
    thresholds: Mapping[str, float | None],
    materials: Mapping[str, Setting] | None = None,
) -> Draft:
    """The change that a plane asks for.

    Parameters
    ----------
    survey, surface : the readings, and the surface planned on
    strategy, tilt, height, rates, depths, fixed, beneath, members, materials : as for
        :func:`~flatness.planning.planner.plan_corrections`; a level plane at a height that is given is set there
        whatever it breaks, which ``against`` tells
    thresholds : of the actions

    Raises
    ------
    PlanError : terms that clash
    """
    chosen, used = thresholds_of(survey.surface, **thresholds), settings_for(survey.surface, materials)
    permitted = permitted_cut(surface, beneath, members, chosen["deepest_plane"].value)
    against: tuple[tuple[str, tuple[float, float], float], ...] = ()
    if strategy == "level" and height is not None:
        change = np.where(surface.inside, height - surface.height, np.nan)
        against = _against(surface, change, depths, fixed)
    else:
        terms = Terms(
            surface=surface,
            strategy=strategy,
            headings=HEADINGS,
            rates=rates,
            depths=depths,
            permitted=permitted,
            fixed=fixed,
            level_within=None,
            height=height,
            tilt=tilt,
            ask_engineer=True,
            progress=None,
        )
        change = seek(terms, ()).change
    actions = assign_actions(surface, change, survey.surface, permitted, chosen, used["fill_density"].value)
    return Draft(
        survey=survey,
        surface=surface,
        change=change,
        actions=actions,
        members=members,
        fixed=fixed,
        quantities=quantities_of(surface, change, actions, used),
        cost=cost_of(surface, change, rates),
        against=against,
    )


def cost_of(surface: Surface, change: Floats, rates: Rates) -> float:
    """Rates x area x change, in the unit of the rates."""
    area = node_areas(surface.inside, surface.spacing)[surface.inside]
    return rates.cost(area, change[surface.inside])


def _against(
    surface: Surface, change: Floats, depths: Depths, fixed: tuple[FixedSpot, ...]
) -> tuple[tuple[str, tuple[float, float], float], ...]:
    """The depths and the fixed spots that a change does not keep to, each where it is worst."""
    x, y, _ = surface.nodes()
    cut, fill = depths.at(surface)
    moved, found = change[surface.inside], []
    for term, over in (("deepest cut", -moved - cut), ("deepest fill", moved - fill)):
        worst = int(np.argmax(over))
        if over[worst] > OVER_MM:
            found.append((term, (float(x[worst]), float(y[worst])), float(over[worst])))
    finished = replace(surface, height=surface.height + change)
    wanted = spot_heights(surface, fixed)
    stands = spot_heights(finished, [replace(spot, height=None) for spot in fixed])
    for spot, height, stand in zip(fixed, wanted, stands, strict=True):
        off = float(stand - height)
        if abs(off) > spot.allowance + OVER_MM:
            found.append((spot.name or "fixed spot", (spot.x, spot.y), off))
    return tuple(found)
