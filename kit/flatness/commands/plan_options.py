"""The options of ``flatness plan``, and what they come to as arguments of the planner, tried before any long search."""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from flatness.commands import plan_written as written
from flatness.commands.options import add_json, add_limits, agreed_limits, with_unit
from flatness.corrections.actions import THRESHOLDS
from flatness.corrections.asked import SURFACES, Asked, check_asked
from flatness.corrections.beneath import Beneath, permitted_cut
from flatness.corrections.finished import Layer
from flatness.corrections.members import Members
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import SETTINGS, Schedule, member_schedule
from flatness.corrections.seeking import STRATEGIES
from flatness.corrections.straight_lines import LINES
from flatness.corrections.target import SHIFTS, TILTS
from flatness.corrections.terms import Depths, FixedSpot, Rates, check_meant, spot_heights
from flatness.errors import ArgumentError
from flatness.lengths import format_length
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats, Survey

NOT_A_HEIGHT_MM = 304.8  # a finished height farther off the surface is a slip: of the sign, or of what it is off


def add_options(parser: argparse.ArgumentParser) -> None:
    """All options of the command."""
    add = parser.add_argument
    add("file", help="survey file, CSV or XLSX")
    add("--sheet", help="sheet of a workbook with several")
    add_limits(parser)
    add("--strategy", choices=STRATEGIES, default="least-work", help="what the surface is brought to (least-work)")
    add("--shift", choices=SHIFTS, default="least-work", help="where the target stands (least-work)")
    add("--nothing-comes-off", action="store_true", help="the same as --shift nothing-comes-off")
    add("--aim", metavar="SHARE", help="share of each limit to plan to, such as 0.7; or sure, the default: as much as "
        "makes it sure that the true surface passes")  # fmt: skip
    add("--surface-from", choices=SURFACES, default="likely", help="plan on the best estimate (likely), or as read")
    add("--level-within", metavar="LENGTH", help="all of the finished surface within so much of level; for least-work")
    add(
        "--height", metavar="HEIGHT", help="of the level plane, off the datum, or 'drop 41-3/8in'; for --strategy level"
    )
    add("--tilt", choices=TILTS, default="least-squares", help="of the best plane (least-squares)")
    add("--off-rate", type=float, default=1.0, metavar="R", help="cost of taking off, by volume (1)")
    add("--add-rate", type=float, default=1.0, metavar="R", help="cost of adding, by volume (1)")
    add("--deepest-cut", metavar="LENGTH", help="the most that you let come off, such as 1/8in")
    add("--deepest-fill", metavar="LENGTH", help="the most that you let be added")
    add("--fixed", action="append", default=[], metavar="SPOT",
        help=f"a spot whose finished height is given, as \"{written.FIXED_FORM}\", such as {written.FIXED_SUCH_AS}; "
        "may be given several times")  # fmt: skip
    add("--beneath", action="append", default=[], metavar="WHAT",
        help=f"what lies beneath, without which nothing comes off, as \"{written.BENEATH_FORM}\", such as 'sheathing; "
        "may be planed'; may be given several times: of areas that overlap the later holds")  # fmt: skip
    add("--members", metavar="LAYOUT",
        help=f"joists, studs or strapping, for a schedule of what each is set to, as \"{written.MEMBERS_FORM}\"; "
        "or, in place of first and spacing, their places: at 8in, 23in")  # fmt: skip
    add("--crossing", metavar="LAYOUT", help="the members that strapping is shimmed off, written as --members")
    add("--line", choices=LINES, help="the line each member follows (left out: one that passes, if any)")
    add("--set-by", choices=SETTINGS, default="each", help="each member by itself, or to a string (each)")
    add("--layers", action="append", default=[], metavar="LAYER",
        help="laid on the corrected surface, as 'plywood 5/8in', or taken up, as 'old carpet -3/8in'; may be given "
        "several times")  # fmt: skip
    add("--no-engineer", action="store_true", help="never plan to take off more than may be, even to ask about it")
    add("--threshold", action="append", default=[], metavar="NUMBER",
        help=f"when to fill, frame, plane or leave, such as 'deepest fill 3/4in'; one of {_named()}; may be given "
        "several times")  # fmt: skip
    add("--spacing", metavar="LENGTH", help="lattice step, such as 6in")
    add("--headings", type=int, default=12, metavar="N", help="directions of the straightedge (12)")
    add("--confidence", type=float, default=0.95, metavar="C", help="of the verdict (0.95)")
    add("--draws", type=int, default=200, metavar="N", help="surfaces drawn (200); 0 plans without chances")
    add("--seed", type=int, default=0, metavar="N", help="of the draws (0)")
    add("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    add("--out", metavar="DIR", help="write pictures, patches, stations and schedule there: PNG, CSV and XLSX")
    add("--save", metavar="FILE", help="write the plan to a file that `flatness compare --plan FILE` reads")
    add("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


def _named() -> str:
    return ", ".join(name.replace("_", " ") for name in THRESHOLDS)


@dataclass(frozen=True, eq=False)
class PlanAsked:
    """What the options ask for.

    Attributes
    ----------
    arguments : keyword arguments of :func:`~flatness.corrections.planner.plan_corrections`
    members, crossing : the framing, and what strapping crosses, or None
    layers : laid on the corrected surface
    schedule : keyword arguments of :func:`~flatness.corrections.schedule.member_schedule`
    """

    arguments: dict[str, Any]
    members: Members | None
    crossing: Members | None
    layers: tuple[Layer, ...]
    schedule: dict[str, Any]

    def schedule_of(self, plan: Any) -> Schedule | None:
        """What each member is set to for a plan; None where no members are given."""
        if self.members is None:
            return None
        options = dict(self.schedule)
        if options.get("line") == "passing" and not isinstance(plan, Plan):
            del options["line"]  # on the surface as found there is nothing to pass yet
        return member_schedule(plan, self.members, crossing=self.crossing, **options)


def asked_for(options: argparse.Namespace, survey: Survey) -> PlanAsked:
    """The options as arguments, and tried on the surface as found, so that a slip is told before a long search.

    Raises
    ------
    FlatnessError : an option that cannot be taken as it is
    """
    limits: list[str | Limit] = [*options.limit, *agreed_limits(options)]
    height = None if options.height is None else written.read_height(options.height, survey, "--height")
    arguments: dict[str, Any] = {
        "strategy": options.strategy, "limits": limits, "spacing": _length(options.spacing, "--spacing"),
        "headings": options.headings, "surface": options.surface_from,
        "rates": Rates(options.off_rate, options.add_rate), "depths": _depths(options),
        "fixed": tuple(written.fixed_spot(text, survey) for text in options.fixed), "shift": _shift(options),
        "level_within": _length(options.level_within, "--level-within"), "height": height, "tilt": options.tilt,
        "beneath": tuple(written.lying_beneath(text) for text in options.beneath) or None,
        "members": None if options.members is None else written.members_of(options.members, survey),
        "aim": _aim(options.aim), "confidence": options.confidence, "draws": options.draws, "seed": options.seed,
        "ask_engineer": not options.no_engineer, **written.thresholds(options.threshold),
    }  # fmt: skip
    crossing = None if options.crossing is None else written.members_of(options.crossing, survey, "--crossing")
    if crossing is not None and options.members is None:
        raise ArgumentError("a crossing without strapping", column="--crossing", expected="--members strapping ... too")
    asked = PlanAsked(
        arguments, arguments["members"], crossing, tuple(written.layer(text) for text in options.layers),
        {"line": options.line, "set_by": options.set_by},
    )  # fmt: skip
    _try_out(asked, survey, find(limits, survey.surface) if limits else [])
    return asked


def _length(text: str | None, option: str) -> float | None:
    return None if text is None else with_unit(text, option)


def _depths(options: argparse.Namespace) -> Depths:
    found = {
        name: with_unit(text, option)
        for name, option, text in (
            ("cut", "--deepest-cut", options.deepest_cut), ("fill", "--deepest-fill", options.deepest_fill),
        )
        if text is not None
    }  # fmt: skip
    for name, depth in found.items():
        if depth < 0:
            raise ArgumentError(
                "a depth below zero", column=f"--deepest-{name}", value=f"{depth:g} mm", expected="a length, 0 or more"
            )
    return Depths(**found)


def _shift(options: argparse.Namespace) -> str:
    return "nothing-comes-off" if options.nothing_comes_off else str(options.shift)


def _aim(text: str | None) -> float | str | None:
    if text is None or text == "sure":
        return text
    try:
        return float(text)
    except ValueError:
        raise ArgumentError(
            "neither sure nor a share", column="--aim", value=text, expected="sure, or a number over 0 up to 1",
            remedy="0.7 plans to 70 % of each limit",
        ) from None  # fmt: skip


@dataclass(frozen=True)
class _AsFound:
    """A plan that changes nothing."""

    surface: Surface
    change: Floats


def _try_out(asked: PlanAsked, survey: Survey, limits: list[Limit]) -> None:
    given = asked.arguments
    aim = ("sure" if given["draws"] else 1.0) if given["aim"] is None else given["aim"]
    check_asked(
        Asked(
            given["strategy"], given["surface"], given["shift"], given["fixed"], given["level_within"],
            given["height"], given["tilt"], aim, given["confidence"], given["draws"], None,
        )
    )  # fmt: skip
    surface = Subject.of(survey, limits, given["spacing"], given["headings"]).surface
    if not surface.inside.any():
        return  # the planner says why
    for spot in given["fixed"]:
        _check_spot(spot, surface, given["strategy"])
    if given["height"] is not None:
        _check_height(given["height"], float(np.nanmean(surface.height)), "--height")
    deepest = given.get("deepest_plane", THRESHOLDS["deepest_plane"].value)
    beneath: tuple[Beneath, ...] = given["beneath"] or ()
    with written.located("--beneath"):
        permitted_cut(surface, beneath, asked.members, deepest)
    with written.located("--members"):
        asked.schedule_of(_AsFound(surface, np.where(surface.inside, 0.0, np.nan)))


def _check_spot(spot: FixedSpot, surface: Surface, strategy: str) -> None:
    if strategy == "through-benchmarks" and spot.height is None:
        raise ArgumentError(
            "a benchmark without a height", column="--fixed", value=str(spot), expected=written.FIXED_FORM,
            remedy="give the height that the plane shall have there",
        )  # fmt: skip
    if strategy == "through-benchmarks":
        return  # it may stand beside the surface
    with written.located("--fixed"):
        found = float(spot_heights(surface, [replace(spot, height=None)])[0])
    if spot.height is not None:
        _check_height(spot.height, found, "--fixed")
        with written.located("--fixed"):
            check_meant(surface, [spot])


def _check_height(height: float, found: float, option: str) -> None:
    if abs(height - found) > NOT_A_HEIGHT_MM:
        off = abs(height - found)
        raise ArgumentError(
            "a finished height far off the surface", column=option,
            value=f"{height:.1f} mm, which is {format_length(off, 'ft', 8)} ({off:.0f} mm) "
            f"{'above' if height > found else 'below'} it",
            expected="within a foot of the surface, off the survey's datum, toward the room positive",
            remedy="check its sign; where drops were read, write what the rod shall read: drop 41-3/8in",
        )  # fmt: skip
