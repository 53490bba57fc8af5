"""The pictures of a comparison as files: the difference, before and after, done against planned."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flatness.comparison.comparing import Comparison
from flatness.show.differences import before_after, difference_map
from flatness.show.done import done_chart
from flatness.show.pictures import write_charts
from flatness.show.words import shown_unit


def comparison_charts(comparison: Comparison, unit: str | None = None) -> dict[str, Any]:
    """The charts of a comparison, by name: ``difference``, ``before-after``, and ``done`` where there is a plan."""
    unit = shown_unit(comparison.surveys[1], unit)
    charts: dict[str, Any] = {
        "difference": difference_map(comparison, unit=unit),
        "before-after": before_after(comparison, unit=unit),
    }
    if comparison.plan is not None and (comparison.plan["what"] != "whole").any():
        charts["done"] = done_chart(comparison, unit=unit)
    return charts


def write_comparison(comparison: Comparison, folder: Path, stem: str, unit: str | None = None) -> list[Path]:
    """Write the charts of a comparison as PNG files ``STEM-NAME.png`` into a folder, and say which.

    Raises
    ------
    ArgumentError : the folder cannot be made, or a file of that name stands there that the kit did not write
    """
    return write_charts(comparison_charts(comparison, unit), folder, stem)
