"""A survey as CSV text, and what differs between two surveys."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely import Polygon

from flatness.survey.cells import DATE_SERIALS, Record
from flatness.survey.delimited import split_records
from flatness.survey.header import header_line
from flatness.survey.readings import POINT_COLUMNS, Survey


def survey_text(survey: Survey) -> str:
    """The CSV text of a survey."""
    mm = _millimetres
    lines = [
        ("title", survey.title), ("date", survey.date), *survey.keys.items(), ("surface", survey.surface),
        ("unit", survey.unit), ("reference", survey.reference),
    ]  # fmt: skip
    lines += [("accuracy", mm(survey.accuracy))] if survey.accuracy is not None else []
    lines += [("outline", _corners(survey.outline))] if survey.outline is not None else []
    lines += [("opening", _corners(opening)) for opening in survey.openings]
    lines += [("benchmark", f"{label} = {mm(height)}") for label, height in survey.benchmarks.items()]
    text = "".join(_header_row(f"# {key}: {value}") + "\n" for key, value in lines if value)
    tables = [survey.points.assign(kind="surface"), *([survey.ties] if len(survey.ties) else [])]

    def column(name: str) -> list[Any]:
        return [value for table in tables for value in table[name]]

    texts = [name for name in ("label", "setup", "line") if any(column(name))]
    texts += ["kind"] if len(survey.ties) else []
    text += ",".join(["x_mm", "y_mm", "height_mm", *texts]) + "\n"
    lengths = [[_number(value) for value in column(name)] for name in ("x", "y", "height")]
    words = [[_quoted(str(value)) for value in column(name)] for name in texts]
    return text + "".join(",".join(row) + "\n" for row in zip(*lengths, *words, strict=True))


def _number(value: float) -> str:
    if np.isnan(value):
        return ""
    whole = value.is_integer() and int(value) in DATE_SERIALS
    # a bare whole number of that size reads as a spreadsheet's date
    return repr(float(value)) if whole else repr(float(value)).removesuffix(".0")


def _millimetres(value: float) -> str:
    return f"{_number(value)} mm"


def _corners(polygon: Polygon) -> str:
    corners = list(polygon.exterior.coords)[:-1]
    return " ".join(f"({_millimetres(x)}, {_millimetres(y)})" for x, y in corners)


def _quoted(text: str) -> str:
    if text != text.strip() or any(mark in text for mark in ',"\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text


def _header_row(line: str) -> str:
    fields = next(split_records([line], ","))
    as_read = header_line(Record(1, tuple(field.text for field in fields)), ",")
    return line if as_read == line.removeprefix("# ") else '"' + line.replace('"', '""') + '"'


def differences(one: Survey, other: Survey) -> list[str]:
    """Names of what differs between two surveys, ``source``, ``notes`` and cells apart."""
    names = ("surface", "reference", "accuracy", "unit", "title", "date")
    found = [name for name in names if getattr(one, name) != getattr(other, name)]
    found += [name for name in ("benchmarks", "keys") if dict(getattr(one, name)) != dict(getattr(other, name))]
    shapes = [[survey.outline, *survey.openings] for survey in (one, other)]
    found += ["outline or openings"] if list(map(_rings, shapes[0])) != list(map(_rings, shapes[1])) else []
    columns = [name for name in POINT_COLUMNS if name not in ("cell", "reading")]
    for name, table in (("points", columns), ("ties", [*columns, "kind"])):
        mine, its = (getattr(survey, name)[table].to_dict("list") for survey in (one, other))
        same = all(_same(mine[column], its[column]) for column in table)
        found += [] if same else [name]
    return found


def _rings(polygon: Polygon | None) -> Any:
    if polygon is None:
        return None
    return [list(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]


def _same(one: list[Any], other: list[Any]) -> bool:
    # NaN, the place of a benchmark off the surface, is not equal to itself
    return len(one) == len(other) and all(a == b or (a != a and b != b) for a, b in zip(one, other, strict=True))
