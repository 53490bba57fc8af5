"""Panels for a notebook: for people who do not write Python."""

from flatness.panels.check import CheckPanel, check_panel
from flatness.panels.compare import ComparePanel, compare_panel
from flatness.panels.plan import PlanPanel, plan_panel
from flatness.panels.present import PresentPanel, present_panel
from flatness.panels.room import RoomPanel, room_panel
from flatness.panels.take import TakePanel, take_panel

__all__ = [
    "CheckPanel",
    "ComparePanel",
    "PlanPanel",
    "PresentPanel",
    "RoomPanel",
    "TakePanel",
    "check_panel",
    "compare_panel",
    "plan_panel",
    "present_panel",
    "room_panel",
    "take_panel",
]
