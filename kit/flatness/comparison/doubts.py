"""Whether two surveys look like before and after of one surface: dates, titles, areas, and the size of the change."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from flatness.measures.planes import fit_plane
from flatness.survey.readings import Floats, Survey

LEAST_SHARED = 0.8  # of the area that two surveys cover together; the kit's own
MOST_MOVED = 3.0  # times the unevenness of the rougher one, and an inch; the kit's own
INCH_MM = 25.4
EARLIER, LATER = re.compile(r"\b(before|as found)\b", re.I), re.compile(r"\b(after|finished|corrected|done)\b", re.I)


def doubts_of(before: Survey, after: Survey, difference: Floats) -> Iterator[str]:
    """What speaks against two surveys being before and after of one surface, in sentences without a full stop.

    Parameters
    ----------
    before, after : the surveys
    difference : [ny, nx] mm, after minus before
    """
    yield from _exchanged(before, after)
    share = shared_area(before, after)
    if share < LEAST_SHARED:
        yield (
            f"only {100 * share:.0f} % of the area that the two surveys cover together is in both: check that they "
            "are of one room, counted from one corner"
        )
    moved, uneven = abs(float(np.nanmedian(difference))), max(map(_unevenness, (before, after)))
    if moved > max(MOST_MOVED * uneven, INCH_MM):
        yield (
            f"the whole {after.surface} seems to have moved by {moved:.0f} mm, though it is uneven by only "
            f"{uneven:.0f} mm: check that both surveys are of one room, their heights counted from one mark"
        )


def _exchanged(before: Survey, after: Survey) -> Iterator[str]:
    days = [_day_of(survey.date) for survey in (before, after)]
    if days[0] is not None and days[1] is not None and days[1] != days[0]:
        if days[1] < days[0]:
            yield (
                f"the survey given as after is dated {after.date}, and the one given as before {before.date}: check "
                "that they are not exchanged"
            )
        return
    sounds = [(bool(EARLIER.search(one.title)), bool(LATER.search(one.title))) for one in (before, after)]
    if sounds[0] != sounds[1] and (sounds[0] == (False, True) or sounds[1] == (True, False)):
        yield (
            f"the survey given as before is called {before.title or 'nothing'}, and the one given as after "
            f"{after.title or 'nothing'}: check that they are not exchanged"
        )


def _day_of(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def shared_area(before: Survey, after: Survey) -> float:
    """Area that both surveys cover, as a share of what they cover together [-]: by their outlines, else stations."""
    one, other = _covered(before), _covered(after)
    together = one.union(other).area
    return float(one.intersection(other).area / together) if together > 0 else 1.0


def _covered(survey: Survey) -> BaseGeometry:
    if survey.outline is not None:
        return survey.outline
    x, y, _ = survey.xyz()
    hull: BaseGeometry = shapely.convex_hull(shapely.multipoints(np.column_stack([x, y])))
    return hull


def _unevenness(survey: Survey) -> float:
    """From the lowest to the highest reading off the survey's own plane [mm]."""
    return float(np.ptp(fit_plane(*survey.xyz()).deviations))
