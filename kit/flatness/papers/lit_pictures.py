"""The surface as it would look in light along it, as found and as planned: a picture that an owner understands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure
from scipy.ndimage import gaussian_filter

from flatness.charts.axes import new_figure
from flatness.charts.lit_surface import Lit, draw_lit, light_words
from flatness.charts.map_base import bounds_of
from flatness.comparison.comparing import Comparison
from flatness.light.lamps import Daylight, Light
from flatness.limits.kinds import Limit
from flatness.limits.measuring import lit_requirements
from flatness.limits.verdict import Assessment
from flatness.papers.figures import APART_IN, INK, NAME_IN
from flatness.planning.plan import Plan
from flatness.surface.lattice import Surface
from flatness.words.lights import about

TALLEST_IN = 2.1
EASED = 1 / 8  # of a wave, one standard deviation: it keeps three quarters of its size


def lit_picture(
    assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str, width: float
) -> tuple[Figure, str] | None:
    """A limit's light on a surface, before and after side by side, and what must be known.

    None where no limit names a light. ``width`` [in] of the page.
    """
    limits = [] if assessment is None else [one.limit for one in assessment.judged if one.limit.kind == "light"]
    if assessment is None or not limits:
        return None
    limit, subject = limits[0], assessment.subject
    requirement = lit_requirements(limit, subject)[0]
    days = [("As found", _of(assessment), subject.survey)]
    if comparison is not None and comparison.assessments is not None:
        after = comparison.assessments[1]
        days = [("Before", days[0][1], subject.survey), ("Now", _of(after), after.subject.survey)]
    elif plan is not None:
        days.append(("As planned, not measured", _eased(plan, requirement.shortest), subject.survey))
    light = requirement.lamp or _light(limit, requirement.heading)
    pictures = [Lit(name=name, surface=surface, survey=survey) for name, surface, survey in days]
    figure = _side_by_side(pictures, light, width)
    words = (
        f"How the {subject.survey.surface} would look in {light_words(light, unit)}: drawn from the readings, which "
        f"show no wave shorter than {about(requirement.shortest, unit)}, with one exposure. Matt paint and this one "
        "light alone: texture, gloss and all other light are left out, so a lit room shows less."
    )
    if len(pictures) > 1 and comparison is None:
        words += " The creases from mark to mark are drawn as a wide knife eases them."
    return figure, words


def _side_by_side(pictures: Sequence[Lit], light: Light, width: float) -> Figure:
    x0, x1, y0, y1 = bounds_of(pictures[0].surface, pictures[0].survey)
    scale = min((width - APART_IN) / 2 / (x1 - x0), TALLEST_IN / (y1 - y0))
    w, h = scale * (x1 - x0), scale * (y1 - y0)
    figure = new_figure(width, h + NAME_IN)
    for k, one in enumerate(pictures):
        box = (k * (w + APART_IN) / width, 0.0, w / width, h / (h + NAME_IN))
        ax = figure.add_axes(box, frameon=False)
        ax.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal", xticks=[], yticks=[])
        draw_lit(ax, one, light)
        ax.set_title(one.name, loc="left", fontsize=9.5, fontweight="bold", color=INK, pad=4, parse_math=False)
    return figure


def _of(assessment: Assessment) -> Surface:
    surface, likely = assessment.subject.surface, assessment.likely
    if likely is None:
        return surface
    return replace(surface, x=likely.x, y=likely.y, height=likely.mean, spacing=likely.spacing)


def _eased(plan: Plan, shortest: float) -> Surface:
    """As planned, but that creases of the work are no sharper than the shortest wave [mm] of the picture."""
    change = np.where(plan.surface.inside, plan.target - plan.surface.height, 0.0)
    eased = gaussian_filter(change, EASED * shortest / plan.surface.spacing, mode="nearest")
    return replace(plan.surface, height=plan.surface.height + eased)


def _light(limit: Limit, heading: float) -> Daylight:
    assert limit.allowed is not None
    return Daylight(angle=limit.allowed, heading=heading)
