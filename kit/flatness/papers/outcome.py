"""What became of the work: each planned place accepted, to be done again or to be read, and the answer to it all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import binary_dilation

from flatness.arrays import Floats
from flatness.comparison.against_plan import OVER, SHORT, UNSEEN, UNTOLD, UNTOUCHED
from flatness.comparison.comparing import Comparison
from flatness.limits.verdict import FAIL, PASS
from flatness.measures.bars import gap_map
from flatness.papers.sheet import Rule, number_of, place_words
from flatness.planning.plan import Plan
from flatness.survey.readings import Survey
from flatness.words.comparisons import SIDES

ACCEPT, REDO, READ = "accept", "redo", "read"
SAMPLES = 120  # along each side of a room, to tell what share of it was compared
HEADINGS = 4  # in which a bar is laid to see whether a place came out flatter than planned


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one planned place.

    Attributes
    ----------
    name, number : as in the plan, and as on every paper
    answer : ``accept``, ``redo`` or ``read``
    better : whether it missed its heights and is flatter than planned all the same
    untouched : whether nothing seems to have been done there
    row : of the table of done against planned
    """

    name: str
    number: str
    answer: str
    better: bool
    untouched: bool
    row: dict[Any, Any]

    @property
    def at(self) -> tuple[float, float]:
        """The station that is farthest off [mm], or the middle of the place."""
        names = ("worst_x_mm", "worst_y_mm") if math.isfinite(self.row["worst_x_mm"]) else ("x_mm", "y_mm")
        return float(self.row[names[0]]), float(self.row[names[1]])

    def what_to_do(self, rule: Rule) -> str:
        """What the crew does there: how much, or that nothing is left to do."""
        off = float(self.row["off_mm"])
        if self.answer == READ:
            return "Read it: nothing was read there"
        if self.answer == ACCEPT:
            if self.better:
                return "Accept: flatter than planned"
            if self.row["status"] == UNTOLD:
                return "Accept: so little was planned that no more can be told"
            if not math.isfinite(off):
                return "Accept"
            at = "at its height" if rule.reading(off) == "0" else f"within {rule.named(abs(off))} of its height"
            return f"Accept: {at}"
        how_much, action = rule.named(abs(off)), str(self.row["action"])
        if self.untouched:
            return f"Not touched: {'plane' if off > 0 else 'fill'} {how_much}"
        if off > 0:
            return f"Plane {how_much} more" if action == "plane" else f"Take {how_much} off again"
        return f"Fill {how_much}" if action == "plane" else f"Add {how_much} more"

    def why(self, survey: Survey, rule: Rule) -> str:
        """Where it is farthest off, and which way."""
        if self.answer != REDO:
            return ""
        way = SIDES[survey.surface][self.row["off_mm"] < 0]
        return f"{way} {'' if survey.walls else 'at '}{place_words(*self.at, rule.unit, survey)}"


def outcomes_of(found: Comparison) -> list[Outcome]:
    """What became of each place of the plan, or of each member where it has no places; those to redo first."""
    rows = [] if found.plan is None else found.plan.to_dict("records")
    places = [row for row in rows if row["what"] == "patch"] or [row for row in rows if row["what"] == "member"]
    flatter = flatter_places(found)
    told = []
    for row in places:
        name, off = str(row["name"]), row["status"] in (SHORT, OVER, UNTOUCHED)
        better = off and name in flatter
        told.append(
            Outcome(
                name=name,
                number=number_of(name),
                answer=READ if row["status"] == UNSEEN else REDO if off and not better else ACCEPT,
                better=better,
                untouched=row["status"] == UNTOUCHED,
                row=row,
            )
        )
    rank = (REDO, READ, ACCEPT)
    return sorted(told, key=lambda one: (rank.index(one.answer), -abs(np.nan_to_num(one.row["off_mm"]))))


def flatter_places(found: Comparison) -> set[str]:
    """Places under which the bar that governs shows no more than it was planned to, on a surface that passes."""
    plan = found.settings.get("plan")
    pictured = found.assessments[1].pictured if found.assessments is not None else None
    if not isinstance(plan, Plan) or pictured is None or found.assessments is None:
        return set()
    if found.assessments[1].verdict != PASS or pictured.limit.length is None or not len(plan.patches):
        return set()
    length = pictured.limit.length
    planned = gap_map(plan.target, plan.surface.spacing, length, HEADINGS)
    now = gap_map(found.after_heights, found.spacing, length, HEADINGS)
    lattices = ((plan.x, plan.y, planned), (found.x, found.y, now))
    names = set()
    for name, outline in zip(plan.patches["name"], plan.patches["outline"], strict=True):
        before, after = (_most_in(outline, *lattice) for lattice in lattices)
        if after <= before:
            names.add(str(name))
    return names


def _most_in(outline: Any, x: Floats, y: Floats, values: Floats) -> float:
    """The greatest value [mm] in an outline and one node around it: a bar that rests on its edge shows it there."""
    inside = binary_dilation(shapely.contains_xy(outline, *np.meshgrid(x, y))) & np.isfinite(values)
    return float(values[inside].max()) if inside.any() else math.inf


def answer_of(found: Comparison, outcomes: list[Outcome]) -> tuple[str, str]:
    """The answer to the whole comparison: ``pass``, ``fail`` or ``undecided``, and one sentence."""
    redo, read = (sum(one.answer == answer for one in outcomes) for answer in (REDO, READ))
    surface = found.surveys[1].surface
    verdict = found.assessments[1].verdict if found.assessments is not None else ""
    what = "place" if not outcomes or outcomes[0].row["what"] == "patch" else "member"
    if redo:
        return FAIL, f"Redo {redo} {what}{'s' * (redo > 1)}, then accept."
    if verdict == FAIL:
        return FAIL, f"Do not accept: the {surface} is not within its limits."
    if read:
        return "undecided", f"Read {read} more {what}{'s' * (read > 1)}, then decide."
    if verdict and verdict != PASS:
        return "undecided", f"Not settled: the {surface} may be within its limits."
    if not verdict and not outcomes:
        return "", "This record says what changed; no limit and no plan were named."
    count = {0: "", 1: "", 2: f": both {what}s"}.get(len(outcomes), f": all {len(outcomes)} {what}s")
    return PASS, f"Accept{count}."


def share_compared(found: Comparison) -> float:
    """Share [-] of the room, or of what either survey reached where no outline is stated, that was compared."""
    room = next((one.outline for one in reversed(found.surveys) if one.outline is not None), None)
    if room is None:
        return min(found.compared.before, found.compared.after)
    room = room.difference(shapely.union_all(list(found.surveys[1].openings)))
    x0, y0, x1, y1 = room.bounds
    gx, gy = np.meshgrid(*((np.arange(SAMPLES) + 0.5) / SAMPLES * (b - a) + a for a, b in ((x0, x1), (y0, y1))))
    inside = shapely.contains_xy(room, gx, gy)
    columns, rows = (
        np.abs(axis[:, None] - at[None, :]).argmin(axis=0)
        for axis, at in ((found.x, gx[inside]), (found.y, gy[inside]))
    )
    near = np.hypot(found.x[columns] - gx[inside], found.y[rows] - gy[inside]) < found.spacing
    return float((np.isfinite(found.difference[rows, columns]) & near).mean())
