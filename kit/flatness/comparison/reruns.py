"""A comparison made again from its record, and what differs."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shapely import Polygon

from flatness.comparison.comparing import Comparison, compare
from flatness.comparison.records import DAYS, digest, limit_rows, plain, read_record, results, settings, versions
from flatness.corrections.saved_plan import read_plan
from flatness.errors import ArgumentError, FlatnessError
from flatness.limits.agreed import AGREED
from flatness.limits.kinds import Limit, build_limit
from flatness.survey.files import read_survey

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
    try:
        used = {day: found["inputs"][day] for day in DAYS} | ({"plan": found["plan"]} if found.get("plan") else {})
        names = {day: str(one["file"]) for day, one in used.items()}
        files = {day: folder / name for day, name in names.items()}
        shas = {day: one["sha256"] for day, one in used.items()}
        asked = _asked(found["settings"])
        sheets = {day: found["inputs"][day].get("sheet") for day in DAYS}
        then = found["versions"]
        remarks = [
            f"made with {name} {then.get(name, '?')}, rerun with {now}"
            for name, now in versions().items()
            if then.get(name) != now
        ]
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ArgumentError("the record cannot be understood", value=Path(path).name, expected=f"{error}") from error
    there = True
    for day, file in files.items():
        if not file.is_file():
            differences.append(f"{day}: the file is not there: {names[day]}")
            there = False
        elif digest(file) != shas[day]:
            differences.append(f"{day}: the file is not the one that was used: {names[day]}")
    if not there:
        return Rerun(tuple(differences), tuple(remarks), None)
    try:
        surveys = [read_survey(files[day], sheet=sheets[day]) for day in DAYS]
        plan = read_plan(files["plan"]) if "plan" in files else None
        again = compare(surveys[0], surveys[1], plan=plan, **asked)
        now = {"settings": settings(again), "limits": limit_rows(again.settings["limits"]), "results": results(again)}
    except FlatnessError as error:
        differences.append(f"the comparison cannot be made again: {error}")
        return Rerun(tuple(differences), tuple(remarks), None)
    if found["results"].get("plan") is not None and plan is None:
        remarks.append("the record was made against a plan, which it does not hold: that part was not made again")
        found["results"]["plan"] = None
    for part in ("settings", "limits", "results"):
        differences += unlike(found[part], plain(now[part]), part)
    return Rerun(tuple(differences), tuple(remarks), again)


def _asked(given: dict[str, Any]) -> dict[str, Any]:
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
    }


def _place(item: dict[str, Any]) -> Any:
    if "label" in item:
        return str(item["label"])
    return Polygon(item["area_mm"]) if "area_mm" in item else tuple(item["place_mm"])


def _limit(item: Any) -> str | Limit:
    if isinstance(item, str):
        return item
    values = {key: tuple(v) if isinstance(v, list) else v for key, v in item["values_mm"].items()}
    return build_limit(
        item["kind"], values, name=item["name"], purpose=item["purpose"], surfaces=tuple(item["surfaces"]),
        finish="agreed", source=AGREED, edition="", clause="", seen="agreed", notes="",
    )  # fmt: skip


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
