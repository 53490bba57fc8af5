"""What a job file says of the surroundings: layers, doors, stairs, thresholds, headrooms, reveals, the comparison."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from shapely import Polygon

from flatness.comparison.alignment import WAYS
from flatness.corrections.consequences import Door, Feature, Headroom, Stair, Threshold
from flatness.corrections.finished import Layer
from flatness.corrections.reveal import LINES
from flatness.job.records import Compared, RevealLine
from flatness.job.report import JobReport
from flatness.job.tables import Key, Keys, Placed, Table, make_all, right
from flatness.job.values import area, choice, length, lengths, place, places, text

_UPWARD, _ANY, _POSITIVE = length(negative=False), length(), length(positive=True)
_AT: Keys = {"name": Key(text, True), "at": Key(place, True)}

LAYER: Keys = {"name": Key(text, True), "thickness": Key(_ANY, True)}
FEATURES: dict[str, tuple[Callable[..., Feature], Keys]] = {
    "door": (Door, {**_AT, "gap": Key(_UPWARD, True), "least": Key(_UPWARD), "swing": Key(places)}),
    "stair": (Stair, {**_AT, "risers": Key(lengths(positive=True)), "floor_is": Key(choice("top", "bottom")),
                      "on_treads": Key(_ANY)}),
    "threshold": (Threshold, {**_AT, "next_height": Key(_ANY, True), "allowed": Key(_UPWARD)}),
    "headroom": (Headroom, {**_AT, "clear": Key(_POSITIVE, True), "least": Key(_UPWARD)}),
}  # fmt: skip
REVEAL: Keys = {
    "name": Key(text, True), "start": Key(place, True), "end": Key(place, True), "nominal": Key(_POSITIVE, True),
    "line": Key(choice(*LINES)), "tolerance": Key(_POSITIVE), "change_tolerance": Key(_POSITIVE),
    "change_over": Key(_POSITIVE), "height": Key(_ANY), "step": Key(_POSITIVE),
}  # fmt: skip


def _where(raw: Any, path: str, report: JobReport) -> str | tuple[float, float] | Polygon | None:
    """A station's label, a place, or an area by its corners."""
    if isinstance(raw, str):
        return text(raw, path, report)
    if isinstance(raw, list) and len(raw) >= 3 and all(isinstance(one, list) for one in raw):
        return area(raw, path, report)
    if isinstance(raw, list) and len(raw) == 2 and not any(isinstance(one, (list, dict)) for one in raw):
        return place(raw, path, report)
    report.add(path, "neither a label, nor a place, nor an area", raw,
               'a station\'s label, a place such as ["4 ft", "6 ft"], or a list of three corners or more')  # fmt: skip
    return None


def _unchanged(raw: Any, path: str, report: JobReport) -> tuple[Any, ...] | None:
    if not isinstance(raw, list) or not raw:
        report.add(path, "not a list of places", raw, 'labels, places and areas, such as ["A1", ["4 ft", "6 ft"]]')
        return None
    return tuple(_where(one, f"{path}[{i}]", report) for i, one in enumerate(raw, 1))


COMPARE: Keys = {"align": Key(choice(*WAYS)), "unchanged": Key(_unchanged), "tolerance": Key(_POSITIVE)}


def make_layers(tables: list[Table | None]) -> tuple[Layer, ...]:
    """The layers, from the lowest up."""
    return tuple(Layer(**one.values) for one in right(tables))


def make_features(kind: str, tables: list[Table | None], report: JobReport) -> list[Placed[Feature]]:
    """The doors, stairs, thresholds or headrooms."""
    return make_all(tables, FEATURES[kind][0], report)


def make_reveals(tables: list[Table | None], report: JobReport) -> list[Placed[RevealLine]]:
    """The lines of the reveals, each name once."""
    lines = make_all(tables, RevealLine, report)
    names: set[str] = set()
    for one in lines:
        name = one.item.name
        if name in names:
            report.add(f"{one.path}.name", "two reveals of one name", name, "each its own", "rename one of them")
        names.add(name)
    return lines


def make_compared(table: Table | None) -> Compared:
    """How the surveys are compared; on their benchmarks where the file says nothing."""
    return Compared(**table.values) if table is not None and table.is_right else Compared()
