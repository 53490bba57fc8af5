"""Panels for a notebook: for people who do not write Python."""

from flatness.show.panels.check import CheckPanel, check_panel
from flatness.show.panels.compare import ComparePanel, compare_panel
from flatness.show.panels.plan import PlanPanel, plan_panel
from flatness.show.panels.present import PresentPanel, present_panel

__all__ = [
    "CheckPanel", "ComparePanel", "PlanPanel", "PresentPanel", "check_panel", "compare_panel", "plan_panel",
    "present_panel",
]  # fmt: skip
