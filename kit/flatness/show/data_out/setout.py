"""Points to set out: label, place, the height that the finished surface shall have there, and the correction."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd

from flatness.corrections.plan import Plan
from flatness.errors import ArgumentError
from flatness.show.data_out.tables import write_table
from flatness.show.papers.pdf import one_line

COLUMNS = ("label", "x_mm", "y_mm", "height_mm", "correction_mm")


def setout_points(plan: Plan, step: float | None = None) -> pd.DataFrame:
    """Where to set out what.

    Parameters
    ----------
    plan : the plan
    step : about how far apart the points stand [mm], on nodes of the plan's lattice; None takes the stations of the
        survey, as they were read

    Returns
    -------
    DataFrame, one row a point: ``label`` (unique: the station's own where it has one, else ST1, ST2...; of nodes their
        column and row, such as C2R5), ``x_mm``, ``y_mm``, ``height_mm`` (that the finished surface shall have, off
        the survey's datum: the plan's, which carries no error of a single reading), ``correction_mm`` (that minus the
        surface that was planned on, adding positive). Stations that the plan does
        not reach have neither

    Raises
    ------
    ArgumentError : a step that is not above zero
    """
    if step is None:
        return _stations(plan)
    if not (np.isfinite(step) and step > 0):
        raise ArgumentError("step out of range", column="step", value=str(step), expected="millimetres above zero")
    stride = max(1, round(step / plan.surface.spacing))
    rows = []
    for j in range(0, len(plan.y), stride):
        for i in range(0, len(plan.x), stride):
            if np.isfinite(plan.change[j, i]) and np.isfinite(plan.target[j, i]):
                label = f"C{i // stride + 1}R{j // stride + 1}"
                rows.append((label, plan.x[i], plan.y[j], plan.target[j, i], plan.change[j, i]))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _stations(plan: Plan) -> pd.DataFrame:
    x, y, _, _ = plan.survey.stations()
    points = plan.survey.points
    # a station read twice has the label of its first reading
    first = {(a, b): label for a, b, label in zip(*(points[name][::-1] for name in ("x", "y", "label")), strict=True)}
    own = [one_line(str(first.get((a, b), ""))) for a, b in zip(x, y, strict=True)]
    counts = {label: own.count(label) for label in own}
    taken = {*own, *map(str, points["setup"])}
    labels, number = [], 0
    for label in own:
        if not label or counts[label] > 1:
            number += 1
            while f"ST{number}" in taken:
                number += 1
            label = f"ST{number}"
        labels.append(label)
    change, target = (plan.surface.at(x, y, values) for values in (plan.change, plan.target))
    values = (labels, x, y, target, change)
    return pd.DataFrame(dict(zip(COLUMNS, values, strict=True)))


def write_setout(
    path: str | os.PathLike[str], plan: Plan, unit: str = "mm", step: float | None = None, *, overwrite: bool = False
) -> Path:
    """Write the points as CSV: ``label``, ``x``, ``y``, ``height``, ``correction`` with their unit in the heading.

    Parameters
    ----------
    path : where to
    plan, step : as for :func:`setout_points`
    unit : ``mm`` or ``in``
    overwrite : replace an older file there, where the kit wrote it
    """
    return write_table(path, setout_points(plan, step), unit, overwrite=overwrite)
