"""The planner: from a survey and what it must meet to a plan of the work, with the proof that it passes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from flatness.corrections.actions import CHANGED_MM, assign_actions, quantities_of, thresholds_of
from flatness.corrections.after import Held, on_likely, tighter
from flatness.corrections.aiming import Tried, aimed_change
from flatness.corrections.asked import Asked, check_asked
from flatness.corrections.beneath import Beneath, Permitted, listed, not_followed, permitted_cut
from flatness.corrections.cautions import Caution, cautions_for
from flatness.corrections.least_work import Progress
from flatness.corrections.members import KINDS as MEMBER_KINDS
from flatness.corrections.members import Members
from flatness.corrections.patching import patch_table
from flatness.corrections.plan import ACTIONS, Plan
from flatness.corrections.plannable import Plannable, plannable
from flatness.corrections.quantities import Setting, settings_for
from flatness.corrections.seeking import Terms
from flatness.corrections.specks import join_specks
from flatness.corrections.terms import Depths, FixedSpot, Rates, check_meant, spot_heights
from flatness.corrections.volumes import node_areas
from flatness.errors import ArgumentError, PlanError
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.surface.lattice import Surface, default_spacing
from flatness.surface.likely import MOST_PLACES, likely_surface
from flatness.survey.readings import Survey

LEAST_CUT_ASKED_MM = 50.0  # the engineer may be asked about so much on however even a surface


def plan_corrections(
    survey: Survey, strategy: str = "least-work", *, limits: str | Limit | Iterable[str | Limit] = (),
    spacing: float | None = None, headings: int = 12, surface: str = "likely", rates: Rates | None = None,
    depths: Depths | None = None, fixed: Sequence[FixedSpot] = (), shift: str = "least-work",
    level_within: float | None = None, height: float | None = None, tilt: str = "least-squares",
    beneath: Beneath | Sequence[Beneath] | None = None, members: Members | None = None, aim: float | str | None = None,
    confidence: float = 0.95, draws: int = 200, seed: int = 0, ask_engineer: bool = True,
    materials: Mapping[str, Setting] | None = None, progress: Progress | None = None, **thresholds: float | None,
) -> Plan:  # fmt: skip
    """Plan what to take off and what to add so that a surface meets its limits.

    Parameters
    ----------
    survey : the readings
    strategy : ``least-work``: the least change after which every straightedge limit is met; or a target plane:
        ``level`` (plumb on a wall), ``best-plane``, ``through-benchmarks``, ``fixed-spots``
    limits : names of limits or finishes, agreed limits, or several of them
    spacing : lattice step [mm]; None takes about 6 in, dividing the stations' step and the bars' lengths
    headings : directions in which bars are laid, equally spaced over half a turn
    surface : ``likely`` plans on the best estimate, so that the readings' noise is not planed off; ``as-read``
    rates : cost of taking off and adding; None: both 1 per mm3
    depths : deepest cut and fill [mm] that its user allows, whatever lies beneath; None: any
    fixed : spots whose finished height is given; the benchmarks of ``through-benchmarks``
    shift : ``least-work``, or ``nothing-comes-off``
    level_within : band [mm] between two level planes that shall hold the finished surface; for ``least-work``
    height : of the ``level`` plane [mm]; None: the one that costs least
    tilt : of the ``best-plane``: ``least-squares``, ``minimum-zone`` or ``least-work``
    beneath : what lies beneath, and whether it may be planed. Where nothing is said nothing comes off
    members : the joists, studs or strapping beneath
    aim : share of each straightedge limit to plan to, over 0 up to 1; ``sure`` takes the greatest of 1, 0.85, 0.7,
        0.55, 0.4 after which the chance of passing reaches ``confidence``. None: ``sure``, and 1 without draws
    confidence : at which verdicts are given, from 0.5 to under 1
    draws, seed : surfaces drawn that the readings allow, for the chance of passing; the same seed, the same plan
    ask_engineer : where fixed spots or depths leave no plan without taking off more than may be, plan that all the
        same, marked ``engineer``; False: a PlanError says which terms clash
    materials : what quantities rest on, from :func:`~flatness.corrections.quantities.settings_of`
    progress : called each round of the least work with its number, the placements still broken and the cost so
        far; True stops
    thresholds : ``deepest_fill``, ``thin_fill``, ``longest_fill``, ``heaviest_fill``, ``deepest_plane``,
        ``least_patch``, ``least_depth``; see :data:`~flatness.corrections.actions.THRESHOLDS`

    Returns
    -------
    Plan

    Raises
    ------
    ArgumentError : an argument that is unknown or out of range, nothing that can be planned for, or a fixed spot far
        off the surface that is not said to be meant
    LimitError : unknown limits, or limits for another surface
    MeasureError : a level target for a survey off a string
    PlanError : terms that clash; the message says which and by how much

    Examples
    --------
    >>> from flatness.limits.agreed import straightedge_limit
    >>> from flatness.survey.readings import make_survey
    >>> x, y = np.meshgrid(np.arange(5) * 500.0, np.arange(3) * 500.0)
    >>> trough = make_survey(x, y, np.where(x == 1000, -4.0, 0.0))
    >>> plan = plan_corrections(
    ...     trough, limits=straightedge_limit(1000, 3.0), spacing=500, headings=1, surface="as-read", draws=0
    ... )
    >>> plan.change[1].round(3).tolist(), plan.patches["action"].tolist(), plan.passes
    ([0.0, 0.0, 1.0, 0.0, 0.0], ['fill'], True)
    """
    chosen = thresholds_of(survey.surface, **thresholds)
    aim = ("sure" if draws else 1.0) if aim is None else aim
    asked = Asked(
        strategy, surface, shift, tuple(fixed), level_within, height, tilt, aim, confidence, draws, progress
    )  # fmt: skip
    check_asked(asked)
    given = (limits,) if isinstance(limits, (str, Limit)) else tuple(limits)
    wanted = find(given, survey.surface) if given else []
    held, notes = _held(survey, wanted, spacing, headings, asked, seed)
    ground = held.subject.surface
    if strategy != "through-benchmarks":  # a benchmark may stand beside the surface
        check_meant(ground, asked.fixed)
    able = plannable(wanted, held.subject, level_within)
    _check_plannable(asked, able, wanted)
    permitted = permitted_cut(ground, beneath, members, chosen["deepest_plane"].value)
    own = depths or Depths()
    terms = Terms(
        ground, strategy, headings, rates or Rates(), replace(own, cut=0.0) if shift == "nothing-comes-off" else own,
        permitted, asked.fixed, level_within, height, tilt, ask_engineer, progress,
    )  # fmt: skip
    tried = aimed_change(terms, able, held, wanted, asked, chosen)
    _check_engineer(tried, ground, permitted, asked.fixed)
    used_up = settings_for(survey.surface, materials)
    density = used_up["fill_density"].value
    actions = assign_actions(ground, tried.change, survey.surface, permitted, chosen, density)
    actions = join_specks(actions, ground, tried.change, chosen)
    patches = patch_table(actions, tried.change, ground, permitted, chosen)
    area = node_areas(ground.inside, ground.spacing)[ground.inside]
    cost = terms.rates.cost(area, tried.change[ground.inside])
    used = {ACTIONS[k] for k in np.unique(actions[actions > 0])}
    takes = quantities_of(ground, tried.change, actions, used_up)
    aimed = tried.share if strategy == "least-work" else None
    after = held.table(wanted, tried.change, able.names, aimed)
    notes = [
        *not_followed(beneath),
        *notes,
        *able.notes,
        *permitted.notes,
        *_notes(tried, patches, used, survey, permitted, held),
    ]
    notes += _on_open_members(used, listed(beneath))
    notes += [] if tried.trials else _chances(after, held, aimed)
    return Plan(
        survey, ground, surface, strategy, tuple(wanted), headings, tried.change, actions, patches, after, cost,
        min(tried.found.bound, cost), tried.found.flat_cost, takes, tried.found.binding, asked.fixed, members,
        _settings(asked, terms, chosen, tried, beneath, held, seed), tuple(dict.fromkeys(notes)),
        _cautions(used, survey), tried.found.finished,
    )  # fmt: skip


def _held(
    survey: Survey, wanted: list[Limit], spacing: float | None, headings: int, asked: Asked, seed: int
) -> tuple[Held, list[str]]:
    """The surface planned on, the likely surface that draws come from, and what is to be known of both."""
    lengths = tuple(limit.length for limit in wanted if limit.length is not None)
    subject = Subject.of(survey, wanted, default_spacing(survey, lengths) if spacing is None else spacing, headings)
    ground, likely, notes = subject.surface, None, [subject.surface.note] * bool(subject.surface.note)
    if min(ground.height.shape) < 2 or not ground.inside.any():
        raise ArgumentError(
            "the lattice is too coarse to plan on", column="spacing", value=f"{ground.spacing:g} mm",
            expected="two nodes or more each way", remedy="choose a smaller spacing",
        )  # fmt: skip
    draws = asked.draws
    if draws and int(ground.inside.sum()) > MOST_PLACES:
        notes.append(
            f"no chances: {int(ground.inside.sum())} nodes are too many to draw together, {MOST_PLACES} at most; "
            "a wider spacing gives them"
        )
        draws = 0
    if asked.surface == "likely" or draws:
        likely = likely_surface(survey, ground.spacing)
        notes += likely.notes
    if likely is not None and asked.surface == "likely":
        subject = on_likely(subject, likely)
    return Held(subject, likely if draws else None, draws, seed, asked.confidence), notes


def _check_plannable(asked: Asked, able: Plannable, wanted: list[Limit]) -> None:
    if asked.strategy == "least-work" and not able.requirements and asked.level_within is None:
        raise ArgumentError(
            "nothing that the least work can be planned for", column="limits",
            value=", ".join(limit.name for limit in wanted) or "none",
            expected="a straightedge limit or more, or a band for level",
            remedy="; ".join(
                ["agree a straightedge limit, or take another strategy, such as level or best-plane", *able.notes]
            ),
        )  # fmt: skip


def _check_engineer(tried: Tried, ground: Surface, permitted: Permitted, fixed: Sequence[FixedSpot]) -> None:
    """Refuse a plan that cuts deeper than the surface is uneven: heights of fixed spots that cannot be meant."""
    off = np.nan_to_num(-tried.change)
    most = float(np.where(off > permitted.cut + CHANGED_MM, off, 0.0).max())
    if not fixed or most <= max(LEAST_CUT_ASKED_MM, float(np.nanmax(ground.height) - np.nanmin(ground.height))):
        return
    stand = spot_heights(ground, [replace(spot, height=None) for spot in fixed])
    away = [f"{spot} is to be {height - now:+.0f} mm off the surface as found"
            for spot, height, now in zip(fixed, spot_heights(ground, fixed), stand, strict=True)]  # fmt: skip
    raise PlanError(
        "the fixed spots ask for more to come off than the surface is uneven", value=f"{most:.0f} mm",
        expected="heights that one surface can have", remedy=f"check their heights and places: {'; '.join(away)}",
    )  # fmt: skip


def _settings(
    asked: Asked, terms: Terms, chosen: Mapping[str, Setting], tried: Tried,
    beneath: Beneath | Sequence[Beneath] | None, held: Held, seed: int,
) -> dict[str, Any]:  # fmt: skip
    return {
        "strategy": terms.strategy, "surface": asked.surface, "spacing": terms.surface.spacing,
        "headings": terms.headings, "rates": terms.rates, "depths": terms.depths, "shift": asked.shift,
        "level_within": terms.level_within, "height": terms.height, "tilt": terms.tilt, "aim": asked.aim,
        "planned_to": tried.share, "confidence": asked.confidence, "draws": held.draws, "seed": seed,
        "ask_engineer": terms.ask_engineer, "beneath": listed(beneath), **chosen,
    }  # fmt: skip


def _notes(
    tried: Tried, patches: pd.DataFrame, used: set[str], survey: Survey, permitted: Permitted, held: Held
) -> Iterator[str]:
    if not tried.found.finished:
        yield "the search was stopped early: the plan passes, but a cheaper one may be left to find"
    if tried.found.clash:
        yield f"without taking off more than may be there is no plan ({tried.found.clash})"
    for row in patches[patches["action"] == "engineer"].itertuples():
        yield f"{row.name}: {row.note}"
    if len(patches) and float(patches["greatest_mm"].abs().max()) < (survey.accuracy or 0.0):
        yield (
            f"nothing is deeper than the {survey.accuracy:.1f} mm (1 s.d.) that a reading may be off: read again, or "
            "closer, before anything is done"
        )
    if tried.left:
        some = "1 patch" if tried.left == 1 else f"{tried.left} patches"
        left = "was" if tried.left == 1 else "were"
        yield f"{some} too small or too shallow to be worth doing {left} left as found: the limits hold all the same"
    if tried.share < 1:
        yield f"planned to {100 * tried.share:g} % of each straightedge limit"
    if not math.isnan(tried.chance) and not tried.reached:
        chance = f"{100 * tried.chance:.0f} %" if tried.chance >= 0.005 else "under 1 %"
        yield (
            f"no share of the limits that was tried makes it sure; the best of them gives a chance of {chance}: the "
            "readings leave that much open. Read more closely, or correct in two goes with a survey between"
        )
    if len(tried.trials) > 1:
        cheapest = min(cost for _, cost, _ in tried.trials)
        yield "tried: " + "; ".join(
            f"{100 * share:g} % of the limits, {_times(cost / cheapest)} the least of these costs, chance "
            f"{100 * chance:.0f} %"
            if cheapest > 0
            else f"{100 * share:g} % of the limits, chance {100 * chance:.0f} %"
            for share, cost, chance in tried.trials
        )
    if held.likely is None:
        yield "no chances of passing: nothing was drawn, so the readings' own error is not counted"
    framing = used & {"sister", "fur"}
    if framing and not permitted.said.all():
        yield (
            f"deep, long or heavy hollows are to be framed ({', '.join(sorted(framing))}): this takes framing to lie "
            "beneath; where a slab does, say so"
        )
    if framing:
        yield "lengths of sisters and strapping come from the member schedule; fill is counted without them"
    if "engineer" in used:
        yield "what the engineer is asked about is counted neither as planed nor as filled"
    if survey.surface == "floor" and (tried.change[np.isfinite(tried.change)] > CHANGED_MM).any():
        yield "the floor rises in places: check doors, thresholds and stair risers there"


def _on_open_members(used: set[str], beneath: Sequence[Beneath]) -> Iterator[str]:
    kinds = [one.kind for one in beneath if one.kind in MEMBER_KINDS]
    if "fill" in used and kinds:
        yield (
            f"fill needs something to lie on: where the {kinds[0]} members are open, set them to their schedule, or "
            "shim what lies on them"
        )


def _times(ratio: float) -> str:
    return "over 100 times" if ratio > 100 else f"{ratio:.1f} times"


def _chances(after: pd.DataFrame, held: Held, aim: float | None) -> Iterator[str]:
    for row in after[after["planned_for"] & (after["chance"] < held.confidence)].itertuples():
        yield f"{row.limit}: {tighter(float(row.chance), aim)}"  # type: ignore[arg-type]


def _cautions(used: set[str], survey: Survey) -> tuple[Caution, ...]:
    advice = [name for name in ACTIONS if name in used and name != "engineer"]
    advice += ["notch", "engineered", "authority"] * ("engineer" in used)
    advice += ["change of height"] * bool(used and survey.surface == "floor")
    return cautions_for(advice)
