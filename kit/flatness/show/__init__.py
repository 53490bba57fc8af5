"""Pictures, panels and papers; the only room that knows matplotlib, ipywidgets and Jinja."""

from flatness.show.actions import action_map
from flatness.show.chances import chance_map
from flatness.show.charts import surface_map
from flatness.show.check_words import report
from flatness.show.gaps import gap_map
from flatness.show.member_lines import member_chart
from flatness.show.pictures import check_charts, write_pictures
from flatness.show.profile import profile_chart
from flatness.show.reveals import reveal_chart

__all__ = [
    "action_map",
    "chance_map",
    "check_charts",
    "gap_map",
    "member_chart",
    "profile_chart",
    "report",
    "reveal_chart",
    "surface_map",
    "write_pictures",
]
