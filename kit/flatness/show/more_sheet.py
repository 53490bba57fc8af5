"""The sheet for more readings: the survey as it was read, as a list, with an empty row for each reading to take."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from flatness.show.words import position
from flatness.survey.readings import Survey
from flatness.survey.saving import write_new
from flatness.survey.writing import text_to_go_on


def write_more_sheet(survey: Survey, places: pd.DataFrame, path: Path, unit: str) -> bool:
    """Write the sheet as CSV, and say whether it was written: a sheet that is there, and may be filled in, is left.

    Parameters
    ----------
    places : as :func:`~flatness.limits.more_readings.more_readings` gives them

    Raises
    ------
    ArgumentError : the file cannot be written
    """
    if path.exists():
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    write_new(path, text_to_go_on(survey, _rows(places, unit), unit).encode(), overwrite=False)
    return True


def _rows(places: pd.DataFrame, unit: str) -> Iterator[tuple[str, str, str]]:
    for number, (x, y, times) in enumerate(zip(places.x, places.y, places.times, strict=True), 1):
        for again in range(1, int(times) + 1):
            label = f"more {number}" if times == 1 else f"more {number}.{again}"
            yield position(x, unit), position(y, unit), label
