"""The pictures of a plan as files: the map of what to do, and what each member is set to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.show.actions import action_map
from flatness.show.member_lines import member_chart
from flatness.show.pictures import check_ours, write_charts
from flatness.show.words import shown_unit

NAMES = ("actions", "members")


def plan_charts(plan: Plan, schedule: Schedule | None = None, unit: str | None = None) -> dict[str, Any]:
    """The charts of a plan, by name.

    Parameters
    ----------
    plan : the plan
    schedule : what each member is set to, where there are members
    unit : ``in`` or ``mm``; None takes that of the survey

    Returns
    -------
    dict : ``actions`` always, ``members`` where there is a schedule
    """
    unit = shown_unit(plan.survey, unit)
    charts: dict[str, Any] = {"actions": action_map(plan, unit=unit)}
    if schedule is not None:
        charts["members"] = member_chart(schedule, unit=unit)
    return charts


def write_plan_pictures(
    plan: Plan, schedule: Schedule | None, folder: Path, stem: str, unit: str | None = None
) -> list[Path]:
    """Write the charts of a plan as PNG files ``STEM-NAME.png`` into a folder, and say which.

    Raises
    ------
    ArgumentError : the folder cannot be made, or a file of that name stands there that the kit did not write
    """
    return write_charts(plan_charts(plan, schedule, unit), folder, stem)


def check_pictures(folder: Path, stem: str) -> None:
    """Refuse, before a plan is made, a folder in which its pictures would stand in the place of other files.

    Raises
    ------
    ArgumentError : a file of that name stands there that the kit did not write
    """
    for name in NAMES:
        check_ours(folder / f"{stem}-{name}.png")
