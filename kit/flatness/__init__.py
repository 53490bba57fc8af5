"""How flat, level, plumb and parallel a floor, wall or ceiling is, and whether that is good enough.

All lengths are millimetres; heights are positive toward the room.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from flatness.errors import (
    ArgumentError,
    FlatnessError,
    LengthError,
    LimitError,
    MeasureError,
    PlanError,
    SurveyFileError,
)
from flatness.lengths import format_length, parse_length
from flatness.limits.catalogue import limits
from flatness.limits.kinds import (
    f_number_limit,
    level_limit,
    light_limit,
    neighbour_limit,
    offset_limit,
    plane_limit,
    plumb_limit,
    slope_limit,
    span_limit,
    step_limit,
    straightedge_limit,
)

if TYPE_CHECKING:
    from flatness.comparison.comparing import compare
    from flatness.curves.fitting import fit_curve
    from flatness.curves.making import make_arc, make_chain, make_ellipse, make_oval
    from flatness.curves.setting_out import set_out
    from flatness.curves.walls import read_curved_wall
    from flatness.framing.members import member_layout
    from flatness.framing.reveal import reveal
    from flatness.framing.schedule import member_schedule
    from flatness.job.reading import read_job
    from flatness.job.room_reading import read_room
    from flatness.job.running import run_job
    from flatness.light.contrast import raking_contrast
    from flatness.light.waves import least_grazing_angle
    from flatness.limits.more_readings import more_readings
    from flatness.limits.planning import plan_readings
    from flatness.limits.spot_checks import SpotCheck, Sweep
    from flatness.limits.strip_lists import read_spots
    from flatness.limits.verdict import assess, check
    from flatness.measures.fnumbers import estimated_lines, f_numbers, survey_lines
    from flatness.measures.planes import fit_plane
    from flatness.measures.straightedge import profile_gaps, straightedge
    from flatness.planning.constraints import Depths, FixedSpot, Rates
    from flatness.planning.planner import plan_corrections
    from flatness.planning.substrate import Beneath
    from flatness.planning.ways import Ways, plan_ways
    from flatness.room.targets import room_targets
    from flatness.scans.reading import read_scan
    from flatness.surface.likely import likely_surface
    from flatness.surroundings.finished_surface import Layer
    from flatness.survey.files import read_survey, write_survey
    from flatness.survey.levelling import adjust_levels
    from flatness.survey.readings import make_survey
    from flatness.survey.sheets import blank_sheet

__all__ = [
    "ArgumentError",
    "Beneath",
    "Depths",
    "FixedSpot",
    "FlatnessError",
    "Layer",
    "LengthError",
    "LimitError",
    "MeasureError",
    "PlanError",
    "Rates",
    "SpotCheck",
    "SurveyFileError",
    "Sweep",
    "Ways",
    "adjust_levels",
    "assess",
    "blank_sheet",
    "check",
    "compare",
    "estimated_lines",
    "f_number_limit",
    "f_numbers",
    "fit_curve",
    "fit_plane",
    "format_length",
    "least_grazing_angle",
    "level_limit",
    "light_limit",
    "likely_surface",
    "limits",
    "make_arc",
    "make_chain",
    "make_ellipse",
    "make_oval",
    "make_survey",
    "member_layout",
    "member_schedule",
    "more_readings",
    "neighbour_limit",
    "offset_limit",
    "parse_length",
    "plan_corrections",
    "plan_readings",
    "plan_ways",
    "plane_limit",
    "plumb_limit",
    "profile_gaps",
    "raking_contrast",
    "read_curved_wall",
    "read_job",
    "read_room",
    "read_scan",
    "read_spots",
    "read_survey",
    "reveal",
    "room_targets",
    "run_job",
    "set_out",
    "slope_limit",
    "span_limit",
    "step_limit",
    "straightedge",
    "straightedge_limit",
    "survey_lines",
    "write_survey",
]

# what takes long to import is imported when it is first wanted; not `limits`, since a folder has its name as well
_LATER = {
    "comparison.comparing": ("compare",),
    "curves.fitting": ("fit_curve",),
    "curves.making": ("make_arc", "make_chain", "make_ellipse", "make_oval"),
    "curves.setting_out": ("set_out",),
    "curves.walls": ("read_curved_wall",),
    "framing.members": ("member_layout",),
    "framing.reveal": ("reveal",),
    "framing.schedule": ("member_schedule",),
    "job.reading": ("read_job",),
    "job.room_reading": ("read_room",),
    "job.running": ("run_job",),
    "light.contrast": ("raking_contrast",),
    "light.waves": ("least_grazing_angle",),
    "limits.more_readings": ("more_readings",),
    "limits.planning": ("plan_readings",),
    "limits.spot_checks": ("SpotCheck", "Sweep"),
    "limits.strip_lists": ("read_spots",),
    "limits.verdict": ("assess", "check"),
    "measures.fnumbers": ("estimated_lines", "f_numbers", "survey_lines"),
    "measures.planes": ("fit_plane",),
    "measures.straightedge": ("profile_gaps", "straightedge"),
    "planning.constraints": ("Depths", "FixedSpot", "Rates"),
    "planning.planner": ("plan_corrections",),
    "planning.substrate": ("Beneath",),
    "planning.ways": ("Ways", "plan_ways"),
    "room.targets": ("room_targets",),
    "scans.reading": ("read_scan",),
    "surface.likely": ("likely_surface",),
    "surroundings.finished_surface": ("Layer",),
    "survey.files": ("read_survey", "write_survey"),
    "survey.levelling": ("adjust_levels",),
    "survey.readings": ("make_survey",),
    "survey.sheets": ("blank_sheet",),
}
_HOME = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = found = getattr(import_module(f"flatness.{_HOME[name]}"), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
