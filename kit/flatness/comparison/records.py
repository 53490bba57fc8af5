"""The record of a comparison: inputs, settings and results, so that another person gets the same numbers again.

Lengths are in mm; keys carry their units. No number depends on when or where it was made.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import platform
from collections.abc import Iterable, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from shapely import MultiPolygon, Polygon

from flatness.comparison.comparing import Comparison
from flatness.comparison.suspects import extremes
from flatness.corrections.saved_plan import made_from
from flatness.errors import ArgumentError
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.wording import describe
from flatness.survey.readings import Survey

KIND, FORM = "flatness comparison", 1
PACKAGES = ("numpy", "scipy", "pandas", "shapely")
DAYS = ("before", "after")


def record(
    comparison: Comparison, before_file: str | os.PathLike[str], after_file: str | os.PathLike[str],
    folder: str | os.PathLike[str] = ".", *, sheets: Mapping[str, str | None] | None = None,
    plan_file: str | os.PathLike[str] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """All that another person needs to make a comparison again, and what it found; nothing that JSON cannot hold.

    Parameters
    ----------
    comparison : what :func:`~flatness.comparison.comparing.compare` gave
    before_file, after_file : the files that the surveys were read from
    folder : where the record will stand: the files' names are given relative to it
    sheets : sheet of each workbook, by ``before`` and ``after``
    plan_file : the saved plan that it was held against, where it was; without it that part cannot be made again

    Raises
    ------
    ArgumentError : a file that is not there, or a comparison whose settings cannot be written down
    """
    files = [Path(before_file), Path(after_file)]
    sheets = sheets or {}
    return {
        "record": KIND,
        "form": FORM,
        "versions": versions(),
        "inputs": {
            day: {**_file(path, Path(folder)), "sheet": sheets.get(day), **_about(survey)}
            for day, path, survey in zip(DAYS, files, comparison.surveys, strict=True)
        },
        "plan": None
        if plan_file is None
        else {**_file(Path(plan_file), Path(folder)), **plan_terms(comparison.settings["plan"])},
        "settings": settings(comparison),
        "limits": limit_rows(comparison.settings["limits"]),
        "results": results(comparison),
    }


def versions() -> dict[str, str]:
    """Versions of the kit, of Python and of the packages that the numbers rest on."""
    return {
        "kit": version("surface-flatness-kit"),
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
    }


def digest(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise ArgumentError(
            "the file cannot be read", value=path.name, expected="a survey file", remedy=f"check it ({error.strerror})"
        ) from error


def _file(path: Path, folder: Path) -> dict[str, Any]:
    sha = digest(path)
    relative = os.path.relpath(path.resolve(), folder.resolve())
    return {"file": Path(relative).as_posix(), "sha256": sha, "bytes": path.stat().st_size}


def _about(survey: Survey) -> dict[str, Any]:
    return {
        "title": survey.title,
        "date": survey.date,
        "by": survey.keys.get("by", ""),
        "instrument": survey.keys.get("instrument", ""),
        "surface": survey.surface,
        "reading": survey.quantity,
        "reference": survey.reference,
        "readings": len(survey.points),
        "accuracy_mm": survey.accuracy,
        "benchmarks_mm": {str(label): float(height) for label, height in survey.benchmarks.items()},
        "notes": [problem.what for problem in survey.notes],
    }


def plan_terms(plan: Any) -> dict[str, Any]:
    """What the plan is that the work was held against, as far as it says."""
    known = made_from(plan)
    return {
        "title": str(getattr(plan, "title", "") or known.get("title", "")),
        "strategy": str(getattr(plan, "strategy", "")), "limits": list(known.get("limits", ())),
        "asked": plain(dict(known.get("asked", {}))),
    }  # fmt: skip


def settings(comparison: Comparison) -> dict[str, Any]:
    """What the comparison was asked for."""
    given = comparison.settings
    return {
        "align": comparison.alignment.way,
        "unchanged": None if given["unchanged"] is None else _unchanged(given["unchanged"]),
        "spacing_mm": given["spacing"],
        "lattice_mm": comparison.spacing,
        "limits": [_asked(limit) for limit in _each(given["limits"])],
        "tolerance_mm": given["tolerance"],
        "confidence": comparison.confidence,
        "draws": comparison.draws,
        "seed": comparison.seed,
    }


def _each(limits: Any) -> list[str | Limit]:
    return [limits] if isinstance(limits, (str, Limit)) else list(limits)


def _asked(limit: str | Limit) -> Any:
    if isinstance(limit, str):
        return limit
    if limit.seen != "agreed":
        return limit.name
    return {
        "name": limit.name, "kind": limit.kind, "purpose": limit.purpose, "surfaces": list(limit.surfaces),
        "values_mm": plain(dict(limit.parameters)),
    }  # fmt: skip


def _unchanged(unchanged: Any) -> list[Any]:
    items = [unchanged] if isinstance(unchanged, (str, Polygon, MultiPolygon)) else list(unchanged)
    if len(items) == 2 and all(isinstance(item, (int, float, np.number)) for item in items):
        items = [tuple(items)]
    out: list[Any] = []
    for item in items:
        if isinstance(item, str):
            out.append({"label": item})
        elif isinstance(item, (Polygon, MultiPolygon)):
            parts = item.geoms if isinstance(item, MultiPolygon) else [item]
            out += [{"area_mm": [[float(x), float(y)] for x, y in part.exterior.coords[:-1]]} for part in parts]
        else:
            x, y = item
            out.append({"place_mm": [float(x), float(y)]})
    return out


def limit_rows(limits: Any) -> list[dict[str, Any]]:
    """Each limit's number and source, as it stands in the catalogue or was agreed."""
    return [
        {
            "name": limit.name, "kind": limit.kind, "measure": describe(limit, "source"), "values_mm": plain(
                dict(limit.parameters)
            ), "source": limit.source, "edition": limit.edition, "clause": limit.clause, "seen": limit.seen,
        }
        for limit in (find(_each(limits)) if _each(limits) else [])
    ]  # fmt: skip


def results(comparison: Comparison) -> dict[str, Any]:
    """What was found, as numbers."""
    alignment = comparison.alignment
    ends = [
        {
            "difference_mm": one.difference, "error_mm": one.error, "x_mm": one.x, "y_mm": one.y, "shown": one.shown,
            "may_be_a_slip": one.is_suspect,
        }
        for one in extremes(comparison, clear=False)
    ]  # fmt: skip
    return {
        "alignment": {
            "way": alignment.way, "rests_on": alignment.rests_on, "x_mm": alignment.x, "y_mm": alignment.y,
            "offset_mm": alignment.offset, "offset_error_mm": alignment.offset_error,
            "tilt_x_mm_per_m": alignment.tilt_x, "tilt_x_error_mm_per_m": alignment.tilt_x_error,
            "tilt_y_mm_per_m": alignment.tilt_y, "tilt_y_error_mm_per_m": alignment.tilt_y_error,
            "agreeing": plain(alignment.agreeing), "level_is_comparable": alignment.is_level_known,
        },
        "detection_mm": {
            "least": float(np.nanmin(comparison.detection)), "median": float(np.nanmedian(comparison.detection)),
            "most": float(np.nanmax(comparison.detection)),
        },
        "share_changed": comparison.share_changed,
        "compared": {"of_before": comparison.compared.before, "of_after": comparison.compared.after},
        "lowest": ends[0],
        "highest": ends[1],
        "areas": rows_of(comparison.areas),
        "volumes": rows_of(comparison.volumes),
        "verdicts": [plain(row) for row in comparison.verdicts.to_dict("records")],
        "plan": None if comparison.plan is None else [plain(row) for row in comparison.plan.to_dict("records")],
        "warnings": list(comparison.warnings),
        "notes": list(comparison.notes),
    }  # fmt: skip


def rows_of(table: pd.DataFrame) -> dict[str, Any]:
    """A table as one object a row, by the row's name."""
    return {str(name): plain(row.to_dict()) for name, row in table.iterrows()}


def plain(value: Any) -> Any:
    """What JSON can say: no NaN, no infinity, no arrays."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(item) for item in value]
    if isinstance(value, (np.bool_, np.integer)):
        return value.item()
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    return value


def write_record(found: Mapping[str, Any], path: str | os.PathLike[str]) -> Path:
    """Write a record as JSON; an older record in its place is replaced, any other file is not.

    Raises
    ------
    ArgumentError : another kind of file stands there, or the place cannot be written to
    """
    target = Path(path)
    if target.exists():
        try:
            read_record(target)
        except ArgumentError as error:
            raise ArgumentError(
                "a file stands there that is not a record of a comparison", value=target.name,
                remedy="move it away, or choose another name",
            ) from error  # fmt: skip
    write_text(target, json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    return target


def write_text(path: Path, text: str) -> None:
    """Write a text file whole; ArgumentError where that cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ArgumentError(
            "the record cannot be written", value=path.name, expected="a folder that can be written to",
            remedy=f"choose another name ({error.strerror})",
        ) from error  # fmt: skip


def read_record(path: str | os.PathLike[str]) -> dict[str, Any]:
    """A record as it was written.

    Raises
    ------
    ArgumentError : no such file, or not a record that this version can read
    """
    name = Path(path).name
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise ArgumentError("the record cannot be read", value=name, remedy=f"check it ({error.strerror})") from error
    except ValueError as error:
        raise ArgumentError("not a record: it is not JSON", value=name, expected="what --record has written") from error
    if not isinstance(found, dict) or found.get("record") != KIND or missing(found):
        lost = ", ".join(missing(found)) if isinstance(found, dict) else ""
        raise ArgumentError(
            "not a record of a comparison" + (f": it lacks {lost}" if lost else ""), value=name,
            expected="what --record has written",
        )  # fmt: skip
    if found["form"] != FORM:
        raise ArgumentError("a record of another form", value=str(found["form"]), expected=str(FORM))
    return found


def missing(found: Mapping[str, Any]) -> list[str]:
    """Parts that a record must have and this one has not."""
    parts: Iterable[str] = ("record", "form", "versions", "inputs", "settings", "limits", "results")
    return [part for part in parts if part not in found]
