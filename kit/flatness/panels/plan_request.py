"""What a person asks of a plan in the Plan panel, as the kit's own terms: spots, framing, what lies beneath.

While a slider moves a plane is laid through the surface at once: the planner's own change but for places too shallow to
be worth doing, without patches, proof and chances.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.members import Members, member_layout
from flatness.limits.kinds import Limit
from flatness.limits.measuring import lattice_step
from flatness.planning.constraints import Depths, FixedSpot, Rates, spot_heights
from flatness.planning.patches import assign_actions, quantities_of, thresholds_of
from flatness.planning.quantities import Quantities, Setting, settings_for, settings_of
from flatness.planning.search import Terms, seek
from flatness.planning.substrate import Beneath, permitted_cut
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.surface.likely import likely_surface
from flatness.survey.readings import Survey

LEAST_WORK, LEVEL_AT, LEVEL, BEST, CHEAPEST, SPOTS, BENCHMARKS = TARGETS = (
    "least-work",
    "level-at",
    "level",
    "best-plane",
    "cheapest-plane",
    "fixed-spots",
    "through-benchmarks",
)
# what each target is to the planner: strategy and tilt
STRATEGY = {
    LEAST_WORK: ("least-work", "least-squares"),
    LEVEL_AT: ("level", "least-squares"),
    LEVEL: ("level", "least-squares"),
    BEST: ("best-plane", "least-squares"),
    CHEAPEST: ("best-plane", "least-work"),
    SPOTS: ("fixed-spots", "least-squares"),
    BENCHMARKS: ("through-benchmarks", "least-squares"),
}
SIXTEEN_INCHES = 406.4
STRAPPING = "strapping"


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A spot whose finished height is fixed, as a carpenter says it.

    Attributes
    ----------
    x, y : where [mm]
    raised : how far above what is there it shall be [mm]; 0 leaves it as found, below zero is lower
    allowance : how far off it may be, either way [mm]
    name : as it is called
    meant : whether a height far off what is there is meant
    """

    x: float
    y: float
    raised: float = 0.0
    allowance: float = 0.0
    name: str = ""
    meant: bool = False

    def fixed(self, surface: Surface) -> FixedSpot:
        """The same as a finished height off the datum.

        Raises
        ------
        PlanError : a spot that is not on the surface
        """
        kept = FixedSpot(self.x, self.y, None, self.allowance, self.name, self.meant)
        found = float(spot_heights(surface, [kept])[0])
        return kept if self.raised == 0 else replace(kept, height=found + self.raised)


@dataclass(frozen=True)
class Framing:
    """The members beneath, as they are laid out: from the first one, and a spacing.

    Attributes
    ----------
    kind : of :data:`~flatness.framing.members.KINDS`; empty where none are given
    direction : ``x`` where they run along x, ``y`` where along y
    first, spacing : centre line of the first one, and centre to centre [mm]
    depth : [mm], or None where it is not known
    bearings : positions along them of what carries them [mm], two or more; empty: as far as was read
    crossed, crossed_first, crossed_spacing : kind and layout [mm] of the members that strapping crosses
    """

    kind: str = ""
    direction: str = "y"
    first: float = 0.0
    spacing: float = SIXTEEN_INCHES
    depth: float | None = None
    bearings: tuple[float, ...] = ()
    crossed: str = "sawn joist"
    crossed_first: float = 0.0
    crossed_spacing: float = SIXTEEN_INCHES

    def crossing(self, surface: Surface) -> Members | None:
        """The members that strapping is shimmed off, which run the other way; None for other kinds."""
        if self.kind != STRAPPING:
            return None
        along = surface.y if self.direction == "y" else surface.x
        return member_layout(
            self.crossed_first,
            self.crossed_spacing,
            "x" if self.direction == "y" else "y",
            until=float(along[-1]),
            kind=self.crossed,
        )

    def members(self, surface: Surface) -> Members | None:
        """The members over the whole reach of a surface.

        Raises
        ------
        ArgumentError : a layout that is out of range
        """
        if not self.kind:
            return None
        across = surface.x if self.direction == "y" else surface.y
        ends = (self.bearings[0], self.bearings[-1]) if self.bearings else (None, None)
        return member_layout(
            self.first,
            self.spacing,
            self.direction,
            until=float(across[-1]),
            kind=self.kind,
            depth=self.depth,
            start=ends[0],
            end=ends[1],
        )


@dataclass(frozen=True)
class Under:
    """What lies beneath.

    Attributes
    ----------
    kind : of :data:`~flatness.planning.substrate.KINDS`; empty where nobody knows
    may_be_planed : whether a person has seen it and says that it may be taken down
    most_planed : how deep at most [mm]; None takes the planner's default
    """

    kind: str = ""
    may_be_planed: bool = False
    most_planed: float | None = None

    def beneath(self, framing: Framing) -> Beneath | None:
        """The same for the planner; joists take depth, direction and bearings from the framing.

        Raises
        ------
        ArgumentError : sizes out of range
        """
        if not self.kind:
            return None
        span = framing.bearings if self.kind in MEMBER_KINDS and len(framing.bearings) > 1 else None
        return Beneath(self.kind, self.may_be_planed, self.most_planed, span=span)


@dataclass(frozen=True)
class Ground:
    """What lies beneath a part of the surface, from one corner to the other [mm], in place of what lies elsewhere."""

    x0: float
    y0: float
    x1: float
    y1: float
    under: Under

    def beneath(self, framing: Framing) -> Beneath | None:
        """The same for the planner.

        Raises
        ------
        ArgumentError : corners that enclose nothing, an unknown kind, sizes out of range
        """
        x, y = sorted((self.x0, self.x1)), sorted((self.y0, self.y1))
        if not (x[1] > x[0] and y[1] > y[0]):
            raise ArgumentError(
                "an area without an inside",
                value=f"{x[1] - x[0]:.0f} mm by {y[1] - y[0]:.0f} mm",
                expected="two corners that differ along x and along y",
                remedy="type the corner across from the first",
            )
        found = self.under.beneath(framing)
        if found is None:
            raise ArgumentError(
                "nothing is said of this area",
                value="not known",
                expected="what lies beneath it",
                remedy="choose it in the list beside, then add the area",
            )
        return replace(found, area=shapely.box(x[0], y[0], x[1], y[1]))


@dataclass(frozen=True)
class Materials:
    """What quantities rest on; None takes the trade's own number, which is shown with its source.

    Attributes
    ----------
    bag_yield [mm3], fill_density, sister_density (or of strapping) [kg/mm3], spare [-], kerf [mm]
    stock : lengths on sale for sisters [mm]; empty: they are not cut
    """

    bag_yield: float | None = None
    fill_density: float | None = None
    sister_density: float | None = None
    spare: float | None = None
    kerf: float | None = None
    stock: tuple[float, ...] = ()

    def settings(self) -> Mapping[str, Setting] | None:
        """The same for the planner; None where nothing was set.

        Raises
        ------
        ArgumentError : a number out of range
        """
        own = {one.name: getattr(self, one.name) for one in fields(self) if one.name != "stock"}
        own["strapping_density"] = self.sister_density
        return None if all(value is None for value in own.values()) else settings_of(**own)


def placed_benchmarks(survey: Survey | None) -> dict[str, FixedSpot]:
    """The benchmarks of a survey that stand at a place of the file, by name, with their known heights."""
    found: dict[str, FixedSpot] = {}
    if survey is not None:
        for row in survey.ties.to_dict("records"):
            name = str(row["label"])
            known = row["kind"] == "benchmark" and name in survey.benchmarks
            if known and math.isfinite(row["x"]) and math.isfinite(row["y"]):
                found.setdefault(name, FixedSpot(row["x"], row["y"], survey.benchmarks[name], 0.0, name))
    return found


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
    members, fixed : as asked for
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
        :func:`~flatness.planning.planner.plan_corrections`; a level plane at a height that is given is laid there
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
