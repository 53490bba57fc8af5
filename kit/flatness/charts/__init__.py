"""Pictures of a survey, a plan and a comparison, each drawn into the ``ax`` that it is given."""

from flatness.charts.chances import chance_map
from flatness.charts.heights import gap_map, profile_chart, surface_map
from flatness.charts.member_lines import member_chart
from flatness.charts.pictures import check_charts, write_charts
from flatness.charts.plan_map import action_map
from flatness.charts.reveals import reveal_chart

__all__ = [
    "action_map",
    "chance_map",
    "check_charts",
    "gap_map",
    "member_chart",
    "profile_chart",
    "reveal_chart",
    "surface_map",
    "write_charts",
]
