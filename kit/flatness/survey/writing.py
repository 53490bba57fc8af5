"""A survey as CSV text, and what differs between two surveys."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from shapely import Polygon

from flatness.lengths import format_length
from flatness.survey.cells import DATE_SERIALS, Record
from flatness.survey.delimited import split_records
from flatness.survey.header import header_line
from flatness.survey.readings import POINT_COLUMNS, TYPICAL_MM, Framing, Survey

INCH_MM, FINEST = 25.4, 64
EXACT_MM = 1e-9


def survey_text(survey: Survey) -> str:
    """The CSV text of a survey."""
    return _header(survey) + _table(["x_mm", "y_mm", "height_mm"], _tables(survey), "height", _number)


def text_to_go_on(survey: Survey, places: Iterable[tuple[str, str, str]], unit: str = "mm") -> str:
    """The CSV text of a survey as it was read, drops as drops, with rows whose readings are still to be taken.

    Parameters
    ----------
    places : ``x``, ``y`` and ``label`` of each such row, lengths as they are to be typed
    unit : ``in`` writes inches where a length is a whole number of 64ths; all others are in mm
    """
    length = _inches if unit == "in" else _millimetres

    def typed(value: float | str) -> str:
        if isinstance(value, str):
            return value
        return "" if np.isnan(value) else length(value)

    setups = set(survey.points["setup"])
    same = {"setup": setups.pop() if len(setups) == 1 else "", "line": "", "kind": "surface"}
    further = pd.DataFrame([{"x": x, "y": y, "reading": "", "label": label, **same} for x, y, label in places])
    tables = [*_tables(survey), *([further] if len(further) else [])]
    return _header(survey, length, reading=survey.quantity) + _table(["x", "y", "reading"], tables, "reading", typed)


def _tables(survey: Survey) -> list[pd.DataFrame]:
    return [survey.points.assign(kind="surface"), *([survey.ties] if len(survey.ties) else [])]


def _header(survey: Survey, length: Callable[[float], str] | None = None, **more: str) -> str:
    length = length or _millimetres

    def corners(polygon: Polygon) -> str:
        return " ".join(f"({length(x)}, {length(y)})" for x, y in list(polygon.exterior.coords)[:-1])

    lines = [
        ("title", survey.title), ("date", survey.date), *survey.keys.items(), ("surface", survey.surface),
        ("unit", survey.unit), *more.items(), ("reference", survey.reference),
    ]  # fmt: skip
    lines += [("accuracy", length(survey.accuracy))] if survey.accuracy is not None else []
    lines += _framing(survey.framing, length) if survey.framing is not None else []
    lines += [("outline", corners(survey.outline))] if survey.outline is not None else []
    lines += [("opening", corners(opening)) for opening in survey.openings]
    lines += [("benchmark", f"{label} = {length(height)}") for label, height in survey.benchmarks.items()]
    return "".join(_header_row(f"# {key}: {value}") + "\n" for key, value in lines if value)


def _framing(framing: Framing, length: Callable[[float], str]) -> list[tuple[str, str]]:
    layout = f"{length(framing.spacing)} along {framing.along} from {length(framing.first)}"
    words = {offset: word for word, offset in TYPICAL_MM.items()}
    return [("members", layout), ("framing", words.get(framing.typical) or length(framing.typical))]


def _table(headings: list[str], tables: Sequence[pd.DataFrame], value: str, written: Callable[[Any], str]) -> str:
    """Headings and rows of the points of some tables, with those columns of text that are not empty throughout."""

    def column(name: str) -> list[Any]:
        return [entry for table in tables for entry in table[name]]

    texts = [name for name in ("label", "setup", "line") if any(column(name))]
    texts += ["kind"] if any(kind != "surface" for kind in column("kind")) else []
    lengths = [[_quoted(written(entry)) for entry in column(name)] for name in ("x", "y", value)]
    words = [[_quoted(str(entry)) for entry in column(name)] for name in texts]
    rows = zip(*lengths, *words, strict=True)
    return ",".join([*headings, *texts]) + "\n" + "".join(",".join(row) + "\n" for row in rows)


def _number(value: float) -> str:
    if np.isnan(value):
        return ""
    whole = value.is_integer() and int(value) in DATE_SERIALS
    # a bare whole number of that size reads as a spreadsheet's date
    return repr(float(value)) if whole else repr(float(value)).removesuffix(".0")


def _millimetres(value: float) -> str:
    return f"{_number(value)} mm"


def _inches(value: float) -> str:
    """Inches and a fraction where they say the length exactly, else millimetres."""
    parts = round(value / INCH_MM * FINEST)
    if abs(parts * INCH_MM / FINEST - value) > EXACT_MM:
        return _millimetres(value)
    return format_length(value, "in", FINEST).replace('"', " in")


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
    names = ("surface", "reference", "accuracy", "unit", "title", "date", "framing")
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
