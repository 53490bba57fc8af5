"""The limits that a job is held to: published ones by name, agreed ones as inline tables.

An agreed limit is written with the kinds and keys that the published ones have:
``{ kind = "straightedge", length = "10 ft", allowed = "3/16 in" }``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flatness.job.report import JobReport
from flatness.job.tables import Key, Keys, Placed, read_table
from flatness.job.values import choice, flag, length, lengths, number, one_or_more, text
from flatness.limits.agreed import (
    f_number_limit,
    level_limit,
    neighbour_limit,
    offset_limit,
    plane_limit,
    plumb_limit,
    slope_limit,
    span_limit,
    step_limit,
    straightedge_limit,
)
from flatness.limits.catalogue import find
from flatness.limits.kinds import KINDS, SCOPES, SURFACES, Limit, read_ratio

MAKERS: dict[str, Callable[..., Limit]] = {
    "straightedge": straightedge_limit,
    "offset": offset_limit,
    "plane": plane_limit,
    "span-bar": lambda **values: span_limit(method="bar", **values),
    "span-grid": lambda **values: span_limit(method="grid", **values),
    "ff": lambda at_least, **values: f_number_limit(ff=at_least, **values),
    "fl": lambda at_least, **values: f_number_limit(fl=at_least, **values),
    "level": level_limit,
    "plumb": plumb_limit,
    "neighbours": neighbour_limit,
    "step": step_limit,
    "slope": slope_limit,
}
# where the functions that agree a limit have a default
_MAY_BE_LEFT_OUT = ("distance", "rounded", "scope", "within", "plane")


def _ratio(raw: Any, path: str, report: JobReport) -> float | None:
    return report.make(path, raw, read_ratio, raw)


_READERS = {
    "length": length(positive=True), "lengths": lengths(positive=True), "flag": flag,
    "number": number(least=0, above=True), "ratio": _ratio, "scope": choice(*SCOPES),
}  # fmt: skip
_ABOUT = {"name": Key(text), "purpose": Key(text), "surfaces": Key(one_or_more(choice(*SURFACES)))}
KIND = {"kind": Key(choice(*MAKERS), needed=True)}


def _keys(kind: str) -> Keys:
    own = {key: Key(_READERS[holds], key not in _MAY_BE_LEFT_OUT) for key, holds in KINDS[kind].keys.items()}
    return {**KIND, **own, **_ABOUT}


KEYS = {kind: _keys(kind) for kind in MAKERS}


def read_limits(raw: Any, path: str, report: JobReport) -> tuple[Placed[str | Limit], ...]:
    """Names of limits or finishes, known to be there, and agreed limits."""
    items = raw if isinstance(raw, list) else [raw]
    if not items or not all(isinstance(item, (str, dict)) for item in items):
        report.add(
            path, "not a list of limits", raw, 'names in quotes and agreed limits as tables, such as ["wood-glued", '
            '{ kind = "straightedge", length = "10 ft", allowed = "3/16 in" }]', "leave the line out for no limits",
        )  # fmt: skip
        return ()
    found: list[Placed[str | Limit]] = []
    for i, item in enumerate(items, 1):
        here = f"{path}[{i}]" if isinstance(raw, list) else path
        if isinstance(item, dict):
            limit = _agreed(item, here, report)
            found += [Placed(here, item, limit)] if limit is not None else []
        elif report.make(here, item, find, item) is not None:
            found.append(Placed(here, item, item))
    return tuple(found)


def settle_limits(
    asked: tuple[Placed[str | Limit], ...], surface: str, path: str, report: JobReport
) -> tuple[Limit, ...]:
    """The limits that are meant for this kind of surface, each once; what does not go is put into the report."""
    found = [report.make(one.path, one.raw, find, one.item, surface) for one in asked]
    if not asked or None in found:
        return ()
    return tuple(report.make(path, [one.raw for one in asked], find, [one.item for one in asked], surface) or ())


def _agreed(raw: dict[str, Any], path: str, report: JobReport) -> Limit | None:
    kind = raw.get("kind")
    if not isinstance(kind, str) or kind not in MAKERS:
        # without its kind nothing is known of the other keys
        read_table({key: raw[key] for key in raw if key == "kind"}, path, KIND, report)
        return None
    table = read_table(raw, path, KEYS[kind], report)
    if table is None or not table.is_right:
        return None
    values = {key: value for key, value in table.values.items() if key != "kind"}
    return report.make(path, raw, MAKERS[kind], **values)
