"""The record of a comparison: inputs, settings and results, so that another person gets the same numbers again.

Lengths are in mm; keys carry their units. No number depends on when or where it was made.

A comparison made again from its record, and what differs.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import platform
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import MultiPolygon, Polygon

from flatness.comparison.alignment import WAYS, each_unchanged
from flatness.comparison.comparing import Comparison, compare, extremes
from flatness.errors import ArgumentError, FlatnessError
from flatness.files import read_file, stands, why, write_new
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit, agreed, describe
from flatness.limits.spot_checks import Check, SpotCheck, Sweep
from flatness.planning.plan import made_from, read_plan
from flatness.saved import LONGEST_MM, By, Each, Form, Number, OneOf, Part, Text, not_understood, read_saved
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

KIND, FORM = "flatness comparison", 1
PACKAGES = ("numpy", "scipy", "pandas", "shapely")
DAYS = ("before", "after")

TEXT, NUMBER, ABOVE = Text(), Number(-LONGEST_MM, LONGEST_MM), OneOf(None, Number(0, LONGEST_MM, above=True))
PLACE = Each(NUMBER, least=2, most=2)
_FILE = {"file": TEXT, "sha256": TEXT}
_INPUT = Part(_FILE, maybe={"sheet": OneOf(None, TEXT)})
_AGREED = Part(
    {
        "name": TEXT,
        "kind": TEXT,
        "purpose": TEXT,
        "surfaces": Each(TEXT, least=1),
        "values_mm": By(OneOf(NUMBER, TEXT, None, Each(OneOf(NUMBER, TEXT, None)))),
    }
)
_BAR, _GAP = Number(0, LONGEST_MM, above=True), OneOf(None, Number(0, LONGEST_MM))
_STRIP = Part(
    {
        "bar_mm": _BAR,
        "along": Text(("x", "y")),
        "at_mm": NUMBER,
        "start_mm": NUMBER,
        "end_mm": NUMBER,
        "stop_mm": _BAR,
        "gap_mm": _GAP,
    }
)
_PLACES = Part({"length_mm": _BAR, "gap_mm": _GAP, "places": Number(1, 10_000, whole=True), "stop_mm": ABOVE})
HOLDS = Part(
    {
        "record": TEXT,
        "versions": By(TEXT),
        "inputs": Part({"before": _INPUT, "after": _INPUT}),
        "settings": Part(
            {
                "align": Text(WAYS),
                "unchanged": OneOf(
                    None,
                    Each(
                        OneOf(Part({"label": TEXT}), Part({"area_mm": Each(PLACE, least=3)}), Part({"place_mm": PLACE}))
                    ),
                ),
                "spacing_mm": ABOVE,
                "limits": Each(OneOf(TEXT, _AGREED)),
                "tolerance_mm": ABOVE,
                "confidence": Number(0.5, 1),
                "draws": Number(0, 100_000, whole=True),
                "seed": Number(0, 2**32 - 1, whole=True),
            },
            maybe={"spot_checks": Part(dict.fromkeys(DAYS, Each(OneOf(_STRIP, _PLACES))))},
        ),
        "limits": Each(Part({})),
        "results": Part({}),
    },
    maybe={"plan": OneOf(None, Part(_FILE))},
)
SAVED = Form("record", KIND, "a record of a comparison", "what `flatness compare --record` wrote", {FORM: HOLDS})


def record(
    comparison: Comparison,
    before_file: str | os.PathLike[str],
    after_file: str | os.PathLike[str],
    folder: str | os.PathLike[str] = ".",
    *,
    sheets: Mapping[str, str | None] | None = None,
    plan_file: str | os.PathLike[str] | None = None,
) -> dict[str, Any]:
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
        return hashlib.sha256(read_file(path)).hexdigest()
    except OSError as error:
        raise ArgumentError(
            "the file cannot be read", value=path.name, expected="a survey file", remedy=f"check it ({why(error)})"
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
        "strategy": str(getattr(plan, "strategy", "")),
        "limits": list(known.get("limits", ())),
        "asked": plain(dict(known.get("asked", {}))),
    }


def settings(comparison: Comparison) -> dict[str, Any]:
    """What the comparison was asked for."""
    given = comparison.settings
    return {
        "align": comparison.alignment.way,
        "unchanged": None if given["unchanged"] is None else _unchanged(given["unchanged"]),
        "spacing_mm": given["spacing"],
        "lattice_mm": comparison.spacing,
        "limits": [_limit_setting(limit) for limit in given["limits"]],
        "tolerance_mm": given["tolerance"],
        "confidence": comparison.confidence,
        "draws": comparison.draws,
        "seed": comparison.seed,
        "spot_checks": {
            day: [plain_check(one) for one in several] for day, several in zip(DAYS, given["spot_checks"], strict=True)
        },
    }


def plain_check(check: Check) -> dict[str, Any]:
    """What a bar showed, or is to show, between the stations, lengths in mm."""
    return {key if key in ("along", "places") else f"{key}_mm": plain(value) for key, value in vars(check).items()}


def _check(item: dict[str, Any]) -> Check:
    values = {key.removesuffix("_mm"): value for key, value in item.items()}
    return Sweep(**values) if "along" in values else SpotCheck(**values)


def _limit_setting(limit: str | Limit) -> Any:
    if isinstance(limit, str):
        return limit
    if limit.seen != "agreed":
        return limit.name
    return {
        "name": limit.name,
        "kind": limit.kind,
        "purpose": limit.purpose,
        "surfaces": list(limit.surfaces),
        "values_mm": plain(dict(limit.parameters)),
    }


def _unchanged(unchanged: Any) -> list[Any]:
    out: list[Any] = []
    for item in each_unchanged(unchanged):
        if isinstance(item, str):
            out.append({"label": item})
        elif isinstance(item, (Polygon, MultiPolygon)):
            parts = item.geoms if isinstance(item, MultiPolygon) else [item]
            out += [{"area_mm": [[float(x), float(y)] for x, y in part.exterior.coords[:-1]]} for part in parts]
        else:
            x, y = item
            out.append({"place_mm": [float(x), float(y)]})
    return out


def limit_rows(limits: Sequence[str | Limit]) -> list[dict[str, Any]]:
    """Each limit's number and source, as it stands in the catalogue or was agreed."""
    return [
        {
            "name": limit.name,
            "kind": limit.kind,
            "measure": describe(limit, "source"),
            "values_mm": plain(dict(limit.parameters)),
            "source": limit.source,
            "edition": limit.edition,
            "clause": limit.clause,
            "seen": limit.seen,
        }
        for limit in (find(limits) if limits else [])
    ]


def results(comparison: Comparison) -> dict[str, Any]:
    """What was found, as numbers."""
    alignment = comparison.alignment
    ends = [
        {
            "difference_mm": one.difference,
            "error_mm": one.error,
            "x_mm": one.x,
            "y_mm": one.y,
            "shown": one.shown,
            "may_be_a_slip": one.is_suspect,
        }
        for one in extremes(comparison, clear=False)
    ]
    return {
        "alignment": {
            "way": alignment.way,
            "rests_on": alignment.rests_on,
            "x_mm": alignment.x,
            "y_mm": alignment.y,
            "offset_mm": alignment.offset,
            "offset_error_mm": alignment.offset_error,
            "tilt_x_mm_per_m": alignment.tilt_x,
            "tilt_x_error_mm_per_m": alignment.tilt_x_error,
            "tilt_y_mm_per_m": alignment.tilt_y,
            "tilt_y_error_mm_per_m": alignment.tilt_y_error,
            "agreeing": plain(alignment.agreeing),
            "level_is_comparable": alignment.is_level_known,
        },
        "detection_mm": {
            "least": float(np.nanmin(comparison.detection)),
            "median": float(np.nanmedian(comparison.detection)),
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
    }


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


def write_record(found: Mapping[str, Any], path: str | os.PathLike[str], *, overwrite: bool = True) -> Path:
    """Write a record as JSON; with ``overwrite`` an older record in its place is replaced, any other file is not.

    Raises
    ------
    ArgumentError : another kind of file stands there, or the place cannot be written to
    """
    target = Path(path)
    if overwrite and stands(target):
        try:
            read_record(target)
        except ArgumentError as error:
            what = "a file stands there that is not a record of a comparison"
            raise ArgumentError(what, value=target.name, remedy="move it away, or choose another name") from error
    text = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write_text(target, text, overwrite=overwrite)
    return target


def write_text(path: Path, text: str, *, overwrite: bool = True) -> None:
    """Write a text file whole, in a folder that is made where it is not there; ArgumentError where that cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what, remedy = "the record cannot be written", f"choose another name ({error.strerror})"
        raise ArgumentError(what, value=path.name, expected="a folder that can be written to", remedy=remedy) from error
    write_new(path, text.encode("utf-8", "surrogatepass"), overwrite)


def read_record(path: str | os.PathLike[str]) -> dict[str, Any]:
    """A record as it was written.

    Raises
    ------
    ArgumentError : no such file, or not a record that this version can read
    """
    return read_saved(path, SAVED)


RELATIVE, ABSOLUTE = 1e-6, 1e-6  # what other builds of the same libraries may differ by


@dataclass(frozen=True, eq=False)
class Rerun:
    """What differs between a record and the same comparison made again.

    Attributes
    ----------
    differences : what differs in the input files, the limits and the results; empty where nothing does
    remarks : what is otherwise than then but changes no number by itself, such as versions
    comparison : the comparison made again, or None where it could not be made
    """

    differences: tuple[str, ...]
    remarks: tuple[str, ...]
    comparison: Comparison | None


def rerun(path: str | os.PathLike[str]) -> Rerun:
    """Make a comparison again from its record.

    The input files are looked for where the record says, relative to it. A file that has changed is said, and is used
    all the same, so that one sees what that changes.

    Raises
    ------
    ArgumentError : not a record, or one that cannot be understood
    """
    found = read_record(path)
    folder = Path(path).resolve().parent
    differences: list[str] = []
    used = {day: found["inputs"][day] for day in DAYS} | ({"plan": found["plan"]} if found.get("plan") else {})
    names = {day: str(one["file"]) for day, one in used.items()}
    files = {day: folder / name for day, name in names.items()}
    sheets = {day: found["inputs"][day].get("sheet") for day in DAYS}
    try:
        chosen = _repeated_settings(found["settings"])
    except (FlatnessError, KeyError, TypeError, ValueError, shapely.errors.ShapelyError) as error:
        raise not_understood(SAVED, Path(path).name, error) from error
    then = found["versions"]
    remarks = [
        f"made with {name} {then.get(name, '?')}, rerun with {now}"
        for name, now in versions().items()
        if then.get(name) != now
    ]
    there = True
    for day, file in files.items():
        if not os.path.isfile(file):
            differences.append(f"{day}: the file is not there: {names[day]}")
            there = False
        elif digest(file) != used[day]["sha256"]:
            differences.append(f"{day}: the file is not the one that was used: {names[day]}")
    if not there:
        return Rerun(tuple(differences), tuple(remarks), None)
    try:
        surveys = [read_survey(files[day], sheet=sheets[day]) for day in DAYS]
        plan = read_plan(files["plan"]) if "plan" in files else None
        again = compare(surveys[0], surveys[1], plan=plan, **chosen)
        now: dict[str, Any] = {
            "settings": settings(again),
            "limits": limit_rows(again.settings["limits"]),
            "results": results(again),
        }
    except FlatnessError as error:
        differences.append(f"the comparison cannot be made again: {error}")
        return Rerun(tuple(differences), tuple(remarks), None)
    if found["results"].get("plan") is not None and plan is None:
        remarks.append("the record was made against a plan, which it does not hold: that part was not made again")
        found["results"]["plan"] = None
    # records without them are of before a bar's spot checks were kept
    found["settings"].setdefault("spot_checks", {day: [] for day in DAYS})
    rows = now["results"]["verdicts"]
    for told, row in zip(found["results"].get("verdicts", ()), rows, strict=False):
        told.update({name: told.get(name, row[name]) for name in ("before_between", "after_between")})
    for part in ("settings", "limits", "results"):
        differences += unlike(found[part], plain(now[part]), part)
    return Rerun(tuple(differences), tuple(remarks), again)


def _repeated_settings(given: dict[str, Any]) -> dict[str, Any]:
    unchanged = given["unchanged"]
    return {
        "align": given["align"],
        "unchanged": None if unchanged is None else [_place(item) for item in unchanged],
        "spacing": given["spacing_mm"],
        "limits": [_limit(item) for item in given["limits"]],
        "tolerance": given["tolerance_mm"],
        "confidence": given["confidence"],
        "draws": given["draws"],
        "seed": given["seed"],
        "spot_checks": tuple([_check(one) for one in given.get("spot_checks", {}).get(day, ())] for day in DAYS),
    }


def _place(item: dict[str, Any]) -> Any:
    if "label" in item:
        return str(item["label"])
    return Polygon(item["area_mm"]) if "area_mm" in item else tuple(item["place_mm"])


def _limit(item: Any) -> str | Limit:
    if isinstance(item, str):
        return item
    values = {key: tuple(v) if isinstance(v, list) else v for key, v in item["values_mm"].items()}
    return agreed(item["kind"], values, item["name"], item["purpose"], item["surfaces"])


def unlike(then: Any, now: Any, where: str) -> Iterator[str]:
    """What differs between two plain values, each with its place: ``results: areas: cut: area_mm2``.

    >>> list(unlike({"a": 1.0, "b": "x"}, {"a": 1.0 + 1e-9, "b": "y"}, "results"))
    ["results: b: was 'x', now 'y'"]
    """
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*then, *now]):
            if key in then and key in now:
                yield from unlike(then[key], now[key], f"{where}: {key}")
            else:
                yield f"{where}: {key}: {'no longer there' if key in then else 'was not there'}"
    elif isinstance(then, list) and isinstance(now, list) and len(then) == len(now):
        for number, (one, other) in enumerate(zip(then, now, strict=True), 1):
            name = one.get("limit", one.get("name", number)) if isinstance(one, dict) else number
            yield from unlike(one, other, f"{where}: {name}")
    elif _is_number(then) and _is_number(now):
        if abs(then - now) > ABSOLUTE + RELATIVE * abs(then):
            yield f"{where}: was {then:.10g}, now {now:.10g}"
    elif then != now:
        yield f"{where}: was {then!r}, now {now!r}"


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
