"""A plan that was saved, on its survey again: its change as it was, what it leads to worked out afresh."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.notes import Note
from flatness.planning.patches import COLUMNS, quantities_of
from flatness.planning.plan import ACTIONS, OUTSIDE, Plan, SavedPlan
from flatness.planning.quantities import settings_for
from flatness.planning.set_heights import PlanCheck, Work, on_likely
from flatness.surface.lattice import Surface, bilinear
from flatness.surface.likely import MOST_PLACES, likely_surface
from flatness.survey.readings import Survey

HEADINGS = 12


def plan_on(
    saved: SavedPlan,
    survey: Survey,
    limits: Sequence[Limit],
    *,
    confidence: float = 0.95,
    draws: int = 200,
    seed: int = 0,
) -> Plan:
    """A saved plan on the survey that it was made from, held against limits.

    Parameters
    ----------
    saved : as read from its file
    survey : that it was made from
    limits : what the surface has to meet
    confidence, draws, seed : of the chances, as for :func:`~flatness.planning.planner.plan_corrections`

    Raises
    ------
    ArgumentError : a plan of another survey
    """
    name = survey.title or survey.source
    if (saved.surface, saved.title) != (survey.surface, name):
        raise _of_another(f"{saved.title}, a {saved.surface}", f"{name}, a {survey.surface}")
    subject = Subject.of(survey, list(limits), float(saved.x[1] - saved.x[0]), HEADINGS)
    found = subject.surface
    same = np.array_equal(found.x, saved.x) and np.array_equal(found.y, saved.y)
    change = saved.change if same else bilinear(saved.x, saved.y, saved.change, found.x, found.y)
    if np.isnan(change[found.inside]).mean() > 0.01 or not found.inside.any():
        raise _of_another("its places do not cover what was read", "a plan over the whole of it")
    change = np.where(found.inside, np.nan_to_num(change), np.nan)
    likely = likely_surface(survey, found.spacing) if int(found.inside.sum()) <= MOST_PLACES else None
    if likely is not None:
        subject = on_likely(subject, likely)
        found = subject.surface
    actions = _actions(saved, found)
    heights = np.where(np.nan_to_num(change) != 0, found.height + change, np.nan)
    if saved.set_height is not None and same:
        heights = np.where(found.inside, saved.set_height, np.nan)
    work = Work(heights, error=saved.setting_error)
    held = PlanCheck(subject, likely, draws if likely is not None else 0, seed, confidence)
    takes = quantities_of(found, change, actions, settings_for(survey.surface))
    return Plan(
        survey=survey,
        surface=found,
        based_on="as-read" if likely is None else "likely",
        strategy=saved.strategy,
        limits=tuple(limits),
        headings=HEADINGS,
        change=change,
        actions=actions,
        patches=pd.DataFrame(list(_patches(saved, found, change)), columns=list(COLUMNS)),
        after=held.table(limits, work, (), False),
        cost=math.nan,
        bound=math.nan,
        flat_cost=math.nan,
        quantities=takes,
        way=saved.way,
        plane=saved.plane,
        set_height=work.height,
        marks=saved.marks,
        lines=saved.lines,
        members=saved.members,
        settings={"setting_error": saved.setting_error},
        notes=(Note("plan-as-saved"),),
    )


def _of_another(value: str, expected: str) -> ArgumentError:
    return ArgumentError(
        "the plan is of another survey than the one that is shown",
        value=value,
        expected=expected,
        remedy="choose the survey that it was made from, or save a plan of this one",
    )


def _within(outline: Any, surface: Surface) -> NDArray[np.bool_]:
    gx, gy = np.meshgrid(surface.x, surface.y)
    # nodes at the edge of the room stand on an outline; all others lie half a step from one
    return np.asarray(shapely.contains_xy(outline.buffer(surface.spacing / 10), gx, gy), dtype=bool) & surface.inside


def _actions(saved: SavedPlan, surface: Surface) -> NDArray[np.int8]:
    """[ny, nx] what is to be done at each node, by the outlines of the patches."""
    actions = np.where(surface.inside, ACTIONS.index("leave"), OUTSIDE).astype(np.int8)
    for patch in saved.patches.itertuples():
        if patch.action in ACTIONS:
            actions[_within(patch.outline, surface)] = ACTIONS.index(str(patch.action))
    return actions


def _patches(saved: SavedPlan, surface: Surface, change: Floats) -> Iterator[tuple[Any, ...]]:
    for patch in saved.patches.itertuples():
        here = _within(patch.outline, surface)
        if not here.any():
            continue
        outline: Any = patch.outline
        deepest = np.unravel_index(int(np.argmax(np.where(here, np.abs(change), -1.0))), change.shape)
        mean, inside = float(change[here].mean()), outline.representative_point()
        (x0, y0, x1, y1), (j, i) = outline.bounds, deepest
        yield (
            patch.name,
            patch.action,
            outline.area,
            float(change[deepest]),
            mean,
            abs(mean) * outline.area,
            inside.x,
            inside.y,
            x0,
            x1,
            y0,
            y1,
            float(surface.x[i]),
            float(surface.y[j]),
            outline,
            "",
        )
