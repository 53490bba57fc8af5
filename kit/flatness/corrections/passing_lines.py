"""Straight lines along members after which the surface on them passes, with the least raising.

The heights of a surface on straight members are weighted sums of two heights a member, so that all straightedge
placements, fixed spots and depths are rows of a small linear program; broken placements enter round by round.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import minimum_filter
from scipy.sparse import csr_array, diags_array, hstack

from flatness.corrections.beneath import Beneath, permitted_cut
from flatness.corrections.members import Members
from flatness.corrections.plan import Plan
from flatness.corrections.plannable import Plannable
from flatness.corrections.program import Program
from flatness.corrections.set_surface import Standing
from flatness.corrections.terms import spot_heights
from flatness.errors import PlanError
from flatness.measures.placements import Requirement, broken_placements, rows_of
from flatness.survey.readings import Floats

SHARES = (0.7, 0.85, 1.0)  # of what is allowed: the rest is for setting them, as long as there are such lines
MARGIN_MM = 1e-6
SPOT_MARGIN_MM = 1e-4
MOST_ROUNDS = 60
GOVERNS = 2.0  # raising spared [mm at one knot] for each mm off a top, from which it is worth a note
WORST = 3  # placements a node that enter in one round


def fit_passing(
    plan: Plan, members: Members, standing: Standing, set_by: str, able: Plannable
) -> tuple[Floats, float, list[str]]:  # fmt: skip
    """The heights of the members' lines that pass with the least raising, the share of each limit they keep to, notes.

    Parameters
    ----------
    plan : with limits, fixed spots, and what may come off
    members : the layout
    standing : of the surface on the members, k of which were read
    set_by : ``each`` leaves every line to itself; ``string`` puts all on strings between the two end members
    able : which of the plan's limits can be planned for

    Returns
    -------
    (heights, share, notes) : [2 k] mm as :class:`~flatness.corrections.set_surface.Standing` takes them; the notes name
        the member whose top raises all the others, where it may not be taken down

    Raises
    ------
    PlanError : no straight lines meet the limits, the spots and what may come off
    """
    for share in SHARES:
        found = _fitted(plan, members, standing, set_by, able.at(share))
        if found is not None:
            heights, dual = found
            return heights, share, _governing(standing, dual)
    raise PlanError(
        "no straight members meet the limits, the fixed spots and what may come off",
        expected="lines that may be raised, or taken down, by enough",
        remedy="widen a spot's allowance, say what may come off, or agree other limits; or plan without members",
    )


def _fitted(
    plan: Plan, members: Members, standing: Standing, set_by: str, wanted: Sequence[Requirement]
) -> tuple[Floats, Floats] | None:  # fmt: skip
    """The heights [2 k] mm, and what a mm off each knot's top would spare, in mm of raising at one knot."""
    tracks, surface = standing.tracks, plan.surface
    top = np.concatenate([track.knot_top for track in tracks])
    middle = float(top.mean())
    spread = _spread(standing, set_by)
    on_members = csr_array(_weights_on(standing) @ spread)
    size, count = spread.shape[1], len(top)
    reach = np.concatenate([np.gradient(track.knots) for track in tracks])
    cost = reach / reach.max()
    depths = plan.settings.get("depths")
    # a depth that differs by place is of the fill, not of members
    most = np.full(count, np.inf if depths is None or np.ndim(depths.fill) else float(depths.fill))
    free = np.full(size, np.inf)
    # columns: what is free, what the members are raised by, and the foot of the band that holds it all level
    work = np.concatenate([np.zeros(size), cost, [0.0]])
    program = Program(
        work, work, np.concatenate([-free, -_may_come_off(plan, members, standing), [-np.inf]]),
        np.concatenate([free, most, [np.inf]]),
    )  # fmt: skip
    rows = hstack([on_members, -diags_array(np.ones(count)), csr_array((count, 1))])
    program.add_rows(csr_array(rows), top - middle, top - middle)

    def add(weights: csr_array, least: Floats | float, greatest: Floats | float, foot: float = 0.0) -> None:
        rest = [csr_array((weights.shape[0], count)), csr_array(np.full((weights.shape[0], 1), foot))]
        program.add_rows(csr_array(hstack([csr_array(weights @ spread), *rest])), least, greatest)

    heights_wanted = spot_heights(surface, plan.fixed)
    for spot, height in zip(plan.fixed, heights_wanted, strict=True):
        x, y = np.array([spot.x]), np.array([spot.y])
        if standing.reached(x, y)[0]:
            room = max(spot.allowance, SPOT_MARGIN_MM)
            add(standing.at(x, y), float(height) - room - middle, float(height) + room - middle)
    band = plan.settings.get("level_within")
    if band is not None:
        add(standing.weights, 0.0, float(band), foot=-1.0)
    allowed = np.array([requirement.allowed for requirement in wanted])
    for _ in range(MOST_ROUNDS):
        solution = program.solve(vertex=True)
        if not solution.feasible:
            return None
        heights = spread @ solution.x[:size] + middle
        grid = standing.surface_of(heights).height
        broken = broken_placements(grid, surface.spacing, wanted, plan.headings, WORST, slack=MARGIN_MM)
        if not len(broken):
            return heights, np.maximum(0.0, np.abs(solution.dual[:count]) - cost)
        weights = rows_of(broken, surface.height.shape, plan.headings)[:, standing.inside.ravel()]
        add(csr_array(weights @ standing.weights), -np.inf, allowed[broken.requirement] - MARGIN_MM)
    return None


def _governing(standing: Standing, spared: Floats) -> list[str]:
    """A note on the member whose top, which may not be taken down, costs most raising elsewhere."""
    first, most, where = 0, GOVERNS, ""
    for track in standing.tracks:
        mine = spared[first : first + len(track.knots)]
        first += len(track.knots)
        if len(mine) and float(mine.max()) > most:
            most, at = float(mine.max()), float(track.knots[int(mine.argmax())])
            where = f"{track.name}, {at:.0f} mm along it"
    if not where:
        return []
    return [
        f"the top of {where} governs: no more may be taken off it, and the others are raised for it; ask the engineer, "
        "or its maker, before anything more comes off"
    ]


def nothing_comes_off(plan: object) -> bool:
    """Whether a plan's user asked that nothing comes off, or never said that anything may."""
    settings = getattr(plan, "settings", {})
    planed = any(one.may_be_planed for one in settings.get("beneath") or ())
    return settings.get("shift") == "nothing-comes-off" or ("beneath" in settings and not planed)


def _spread(standing: Standing, set_by: str) -> csr_array:
    """[2 k, size] from what is free to the members' heights: all of them, or the four ends of the end members."""
    count = len(standing.tracks)
    if set_by == "each":
        return csr_array(diags_array(np.ones(2 * count)))
    position = np.array([track.position for track in standing.tracks])
    share = (position - position[0]) / (position[-1] - position[0])
    ends = np.column_stack([1 - share, share])
    none = np.zeros_like(ends)
    return csr_array(np.block([[ends, none], [none, ends]]))


def _weights_on(standing: Standing) -> csr_array:
    """[knots of all members, 2 k] of the lines' heights at the members' own knots."""
    along = np.concatenate([track.knots for track in standing.tracks])
    across = np.concatenate([np.full(len(track.knots), track.position) for track in standing.tracks])
    return standing.at(*((along, across) if standing.direction == "x" else (across, along)))


def _may_come_off(plan: Plan, members: Members, standing: Standing) -> Floats:
    """[knots of all members] mm that may come off there: what the plan's user said, and no more."""
    none = np.zeros(sum(len(track.knots) for track in standing.tracks))
    deepest = plan.settings.get("deepest_plane")
    if nothing_comes_off(plan) or members.engineered or deepest is None:
        return none
    surface, depths = plan.surface, plan.settings.get("depths")
    cut = permitted_cut(surface, plan.settings.get("beneath"), members, deepest.value).cut
    if depths is not None:
        cut = np.minimum(cut, depths.cut)
    if members.kind == "sawn joist":
        # whatever lies on them may be planed: to set a joist below its top is to notch it
        own = Beneath(members.kind, may_be_planed=True, most_planed=members.depth)
        cut = np.minimum(cut, permitted_cut(surface, own, members, deepest.value).cut)
    # no more than at any node beside it, so that no third of a span is reached into
    least = minimum_filter(np.where(surface.inside, cut, np.inf), size=3, mode="nearest")
    least[~np.isfinite(least)] = 0.0
    found = []
    for track in standing.tracks:
        across = np.full(len(track.knots), track.position)
        x, y = (track.knots, across) if standing.direction == "x" else (across, track.knots)
        found.append(surface.at(x, y, least, beyond="nearest"))
    return np.nan_to_num(np.concatenate(found))
