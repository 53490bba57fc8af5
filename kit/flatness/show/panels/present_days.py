"""A surface on each of its days - as found, as planned, after the work - in one register."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.limits.verdict import Assessment
from flatness.show.axes import Extent
from flatness.show.plan import bounds_of, with_margin
from flatness.show.reference import drawn_off, one_datum
from flatness.show.scales import Scale, deviation_scale
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Floats, Survey

FOUND, PLANNED, AFTER = "found", "planned", "after"
DAY_NAMES = {FOUND: "As found", PLANNED: "As planned", AFTER: "After the work"}


@dataclass(frozen=True, eq=False)
class Day:
    """The surface on one day.

    Attributes
    ----------
    key : ``found``, ``planned`` or ``after``
    surface : heights [ny, nx] mm off the plane that it is drawn off
    survey : whose outline and openings are drawn
    measured : False of a plan
    one_plane : whether all days are drawn off one plane
    """

    key: str
    surface: Surface
    survey: Survey
    measured: bool = True
    one_plane: bool = True

    @property
    def name(self) -> str:
        return DAY_NAMES[self.key]

    @property
    def full_name(self) -> str:
        """The name with the date of the survey, or that nothing was measured."""
        if not self.measured:
            return f"{self.name}, not measured"
        return f"{self.name}, {self.survey.date}" if self.survey.date else self.name


def days_of(
    survey: Survey, assessment: Assessment | None = None, plan: Plan | None = None,
    comparison: Comparison | None = None,
) -> tuple[Day, ...]:  # fmt: skip
    """The days that are known, in the order of time, drawn off the plane that the owner's page takes.

    See :func:`~flatness.show.reference.drawn_off`: one level plane where all stand on one datum, else each its own.

    Parameters
    ----------
    survey : as found
    assessment : of the survey, where there is one
    plan : made from the survey
    comparison : of the survey with a later one

    Examples
    --------
    >>> from flatness.survey.readings import make_survey
    >>> tilted = make_survey([0, 900, 0, 900], [0, 0, 900, 900], [0, 9, 0, 9])
    >>> [(day.name, float(abs(day.surface.height).max().round(6))) for day in days_of(tilted)]
    [('As found', 0.0)]
    """
    if comparison is not None:
        found = Surface(comparison.x, comparison.y, comparison.before_heights, comparison.spacing)
    elif plan is not None:
        found = plan.surface
    else:
        found = assessment.subject.surface if assessment is not None else survey.surface_at()
    heights = {FOUND: found.height}
    if plan is not None:
        # where nothing is to be done nothing may seem to change, so the change is put on the surface that is shown
        heights[PLANNED] = found.height + change_on(plan, found.x, found.y)
    if comparison is not None:
        heights[AFTER] = comparison.after_heights
    surveys = {FOUND: survey, PLANNED: survey, AFTER: survey if comparison is None else comparison.surveys[1]}
    is_true = one_datum(survey, comparison)
    drawn = drawn_off([replace(found, height=height) for height in heights.values()], survey.surface, is_true)
    return tuple(
        Day(key, surface, surveys[key], key != PLANNED, is_true) for key, surface in zip(heights, drawn, strict=True)
    )  # fmt: skip


def change_on(plan: Plan, x: Floats, y: Floats) -> Floats:
    """What a plan adds [mm] at the nodes x [nx], y [ny] of another lattice: [ny, nx], NaN beyond the plan."""
    if np.array_equal(x, plan.x) and np.array_equal(y, plan.y):
        return plan.change
    return bilinear(plan.x, plan.y, plan.change, x, y)


def one_scale(days: tuple[Day, ...], unit: str) -> Scale:
    """One scale for all days, so that no picture seems better or worse by its colours."""
    return deviation_scale(max(float(np.nanmax(np.abs(day.surface.height))) for day in days), unit)


def one_frame(days: tuple[Day, ...]) -> tuple[Extent, Extent]:
    """What all days span [mm], and what each picture of them shows: the same, so that they lie on each other."""
    boxes = np.array([bounds_of(day.surface, day.survey) for day in days])
    (x0, y0), (x1, y1) = boxes[:, [0, 2]].min(axis=0), boxes[:, [1, 3]].max(axis=0)
    bounds = float(x0), float(x1), float(y0), float(y1)
    return bounds, with_margin(bounds)
