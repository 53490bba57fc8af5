"""How flat, level, plumb and parallel a floor, wall or ceiling is, and whether that is good enough.

All lengths are millimetres; heights are positive toward the room.
"""

from flatness.comparison.comparing import compare
from flatness.corrections.beneath import Beneath
from flatness.corrections.finished import Layer
from flatness.corrections.members import member_layout
from flatness.corrections.planner import plan_corrections
from flatness.corrections.reveal import reveal
from flatness.corrections.schedule import member_schedule
from flatness.corrections.terms import Depths, FixedSpot, Rates
from flatness.corrections.ways import Ways, plan_ways
from flatness.errors import (
    ArgumentError,
    FlatnessError,
    LengthError,
    LimitError,
    MeasureError,
    PlanError,
    SurveyFileError,
)
from flatness.job.reading import read_job
from flatness.job.running import run_job
from flatness.lengths import format_length, parse_length
from flatness.limits.agreed import (
    f_number_limit,
    level_limit,
    neighbour_limit,
    offset_limit,
    plane_limit,
    plumb_limit,
    slope_limit,
    span_limit,
    step_limit,
    straightedge_limit,
)
from flatness.limits.catalogue import limits
from flatness.limits.more_readings import more_readings
from flatness.limits.planning import plan_readings
from flatness.limits.spot_checks import SpotCheck, Sweep
from flatness.limits.spot_sheet import read_spots
from flatness.limits.verdict import assess, check
from flatness.measures.fnumber_lines import estimated_lines, survey_lines
from flatness.measures.fnumbers import f_numbers
from flatness.measures.planes import fit_plane
from flatness.measures.straightedge import profile_gaps, straightedge
from flatness.surface.likely import likely_surface
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
    "fit_plane",
    "format_length",
    "level_limit",
    "likely_surface",
    "limits",
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
    "read_job",
    "read_spots",
    "read_survey",
    "reveal",
    "run_job",
    "slope_limit",
    "span_limit",
    "step_limit",
    "straightedge",
    "straightedge_limit",
    "survey_lines",
    "write_survey",
]
