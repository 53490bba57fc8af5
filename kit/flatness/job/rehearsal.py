"""A rehearsal on the surface as found: whether all that a job names lies on the surface, and goes together.

The functions that a run calls are called once with a change of nothing, which takes no time: so a door beyond the
readings is found when the file is read, and not after the plan is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from flatness.corrections.actions import THRESHOLDS
from flatness.corrections.asked import Asked, check_asked
from flatness.corrections.beneath import Beneath, permitted_cut
from flatness.corrections.consequences import Feature, consequences
from flatness.corrections.finished import Planned, finished_surface
from flatness.corrections.reveal import reveal
from flatness.corrections.schedule import member_schedule
from flatness.corrections.setting import SETTING_ERROR_MM
from flatness.corrections.terms import FixedSpot, check_meant, spot_rows
from flatness.corrections.ways import PROPOSED
from flatness.errors import ArgumentError, FlatnessError
from flatness.job.records import Job, PlanTerms, RevealLine
from flatness.job.report import JobReport, shown
from flatness.job.tables import Placed
from flatness.limits.measuring import Subject
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats


class _AsFound:
    """A plan that changes nothing."""

    def __init__(self, surface: Surface) -> None:
        self.surface: Surface = surface
        self.change: Floats = np.where(surface.inside, 0.0, np.nan)


@dataclass(frozen=True)
class Parts:
    """What of the file is right by itself, with its place there.

    Attributes
    ----------
    raw : the file's tables, for the values to show
    fixed, beneath, features, reveals : the lists of tables
    terms_known : whether all terms of the plan are right, so that they can be held against each other
    """

    raw: dict[str, Any]
    fixed: list[Placed[FixedSpot]]
    beneath: list[Placed[Beneath]]
    features: list[Placed[Feature]]
    reveals: list[Placed[RevealLine]]
    terms_known: bool


def rehearse(job: Job, parts: Parts, report: JobReport) -> None:
    """Try all parts of a job on its surface as found; what does not go is put into the report.

    Parameters
    ----------
    job : made of what is right by itself
    parts : the same with their places
    report : takes the problems
    """
    if job.plan is not None and parts.terms_known:
        _check_terms(job, job.plan, parts.raw, report)
    try:
        surface = Subject.of(job.before.survey, list(job.limits), job.spacing, job.headings).surface
    except FlatnessError as error:
        path, value = "surveys.before", job.before.path.name
        if job.spacing is not None and isinstance(error, ArgumentError):
            path, value = "plan.spacing", parts.raw["plan"]["spacing"]
        report.take(error, path, value)
        return
    if job.plan is None or not surface.inside.any():
        return
    found = _AsFound(surface)
    _try_plan(job, job.plan, found, parts, report)
    for feature in parts.features:
        report.make(feature.path, feature.raw, consequences, found, [feature.item], job.layers)
    finished = finished_surface(found, job.layers)
    for one in parts.reveals:
        line = one.item
        report.make(
            one.path, one.raw, reveal, finished, line.start, line.end, line.nominal, **line.options
        )  # fmt: skip


def _check_terms(job: Job, plan: PlanTerms, raw: dict[str, Any], report: JobReport) -> None:
    """The plan's choices against each other."""
    options = plan.options
    strategy = options.get("strategy", "least-work")
    aim = options.get("aim", "sure" if job.draws else 1.0)
    asked = Asked(
        strategy, options.get("surface", "likely"), options.get("shift", "least-work"), plan.fixed,
        options.get("level_within"), options.get("height"), options.get("tilt", "least-squares"), aim,
        job.confidence, job.draws, None, None if plan.way == PROPOSED else plan.way, options.get("plane"),
        options.get("setting_error", SETTING_ERROR_MM), options.get("keep_clear", 0.0),
    )  # fmt: skip
    if strategy in ("through-benchmarks", "fixed-spots") and not plan.fixed:
        report.add(
            "fixed", f"the strategy {strategy} without any spots", "none", "a table [[fixed]] or more",
            "add the spots, or take the best plane",
        )  # fmt: skip
    else:
        report.make("plan", raw["plan"], check_asked, asked)
    if (
        plan.way not in ("members", "overlay")
        and strategy == "least-work"
        and not ("limits" in raw or "level_within" in options)
    ):
        report.add(
            "plan.way", "the least work needs something to meet", plan.way, "limits, or level_within",
            "name a limit at the top, or take another way, such as members or overlay",
        )  # fmt: skip
    if plan.way in ("members", "some-members") and "members" not in raw:
        report.add("plan.way", "no members are named", plan.way, "a table [members]", "add it, or take another way")


def _try_plan(job: Job, plan: PlanTerms, found: Planned, parts: Parts, report: JobReport) -> None:
    for spot in parts.fixed:
        path = f"{spot.path}.x, {spot.path}.y"
        written = f"{shown(spot.raw['x'])}, {shown(spot.raw['y'])}"
        at = report.make(path, written, spot_rows, found.surface, [spot.item])
        if at is not None and plan.options.get("strategy") != "through-benchmarks":
            report.make(f"{spot.path}.height", spot.raw["height"], check_meant, found.surface, [spot.item])
    members = job.framing.members if job.framing else None
    deepest = plan.thresholds.get("deepest_plane", THRESHOLDS["deepest_plane"].value)
    for one in parts.beneath:
        report.make(one.path, one.raw, permitted_cut, found.surface, one.item, members, deepest)
    if job.framing is not None:
        framing = job.framing
        report.make(
            "members", parts.raw["members"], member_schedule, found, framing.members, crossing=framing.crossing,
            **framing.options,
        )  # fmt: skip
