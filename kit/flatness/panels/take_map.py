"""The small map of the Take panel as SVG: the room as one walks in, what is read, where one stands, where it fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape

import numpy as np
from shapely import MultiPoint, Polygon

from flatness.limits.verdict import FAIL
from flatness.survey.walls import TURNS, wall_openings
from flatness.taking.questions import EARLIER
from flatness.taking.session import HIGH, LOW, Taking, kinds
from flatness.taking.stations import Station
from flatness.words.taking import strip_lines

Place = Callable[[float, float], tuple[float, float]]  # from a place [mm] to one on the map [px]
EDGE = 14.0  # [px]


def room_map(taking: Taking, wide: float, high: float, outcome: bool) -> str:
    """The room as SVG, so many pixels wide and high at most; ``outcome``: what came of it, not where one stands."""
    turn = TURNS[door.side] if (door := taking.header.walls.door) is not None and taking.header.surface != "wall" else 0

    def turned(x: float, y: float) -> tuple[float, float]:
        for _ in range(turn):
            x, y = -y, x
        return x, y

    west, south, east, north = MultiPoint([turned(*xy) for xy in taking.book.outline.exterior.coords]).bounds
    foot = 14.0 if taking.header.surface != "wall" else 0.0
    scale = min((wide - 2 * EDGE) / (east - west), (high - 2 * EDGE - foot) / (north - south))

    def at(x: float, y: float) -> tuple[float, float]:
        u, v = turned(x, y)
        return EDGE + (u - west) * scale, EDGE + (north - v) * scale

    across, tall = (east - west) * scale + 2 * EDGE, (north - south) * scale + 2 * EDGE
    ring = _ring(taking.book.outline, at)
    parts = [f'<path class="fk-wall" d="{ring}"/><path class="fk-floor" d="{ring}"/>']
    for one, line in wall_openings(taking.book.outline, taking.header.walls):
        ends = "L".join(f"{x:.1f} {y:.1f}" for x, y in (at(*xy) for xy in line.coords))
        parts.append(f'<path class="fk-{one.kind}way" d="M{ends}"/>')
    side = max(5.0, min(14.0, 0.6 * scale * _step(taking)))
    read = kinds(taking)
    parts += _stations(taking, read, at, side) if not taking.sliding else ()
    parts += [f'<path class="fk-open" d="{_ring(area, at)}"/>' for _, area in taking.header.openings]
    parts += _marks(taking, at, tall - EDGE, outcome)
    if foot:
        parts.append(f'<text class="fk-door" x="{across / 2:.0f}" y="{tall + foot - 3:.0f}">door wall</text>')
    return (
        f'<svg role="img" aria-label="{escape(_read(taking, read))}" width="{across:.0f}" height="{tall + foot:.0f}" '
        f'viewBox="0 0 {across:.0f} {tall + foot:.0f}">{"".join(parts)}</svg>'
    )


def _step(taking: Taking) -> float:
    places = taking.walk.xy
    steps = [float(np.diff(np.unique(np.round(places[:, k], 3))).min()) for k in (0, 1)]
    return min(steps)


def _ring(area: Polygon, at: Place) -> str:
    points = [at(x, y) for x, y in area.exterior.coords]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"


def _stations(taking: Taking, read: Mapping[int, str], at: Place, side: float) -> Iterator[str]:
    half = side / 2
    for one in taking.walk.stations:
        x, y = at(one.x, one.y)
        kind = read.get(one.number)
        if kind is None:
            if one.number in taking.done:  # it cannot be reached
                yield f'<path class="fk-cross" d="M{x - 3:.1f} {y - 3:.1f}l6 6m0-6l-6 6"/>'
            else:
                yield f'<circle class="fk-dot" cx="{x:.1f}" cy="{y:.1f}" r="1.8"/>'
            continue
        yield f'<rect class="fk-{kind}" x="{x - half:.1f}" y="{y - half:.1f}" width="{side:.1f}" height="{side:.1f}"/>'
        if kind in (HIGH, LOW):
            arm = half - 2
            upright = f"M{x:.1f} {y - arm:.1f}v{2 * arm:.1f}" if kind == HIGH else ""
            yield f'<path class="fk-sign" d="M{x - arm:.1f} {y:.1f}h{2 * arm:.1f}{upright}"/>'


def _marks(taking: Taking, at: Place, floor: float, outcome: bool) -> Iterator[str]:
    """Where one stands or is asked of, and once it is decided where it fails, or where a bar is slid.

    ``floor``: the foot of the map, from where the second tape is pulled [px].
    """
    if taking.sliding:
        yield from _strips(taking, at)
        return
    question = taking.question
    station: Station | None = question.station if question is not None else taking.here
    if outcome and taking.latest is not None:
        yield from _outcome(taking, at)
        return
    if station is None:
        return
    x, y = at(station.x, station.y)
    if question is None or question.about == EARLIER:
        yield f'<path class="fk-tape" d="M{EDGE} {y:.1f}H{x:.1f}V{floor:.1f}"/>'
    if question is None:
        yield f'<circle class="fk-here" cx="{x:.1f}" cy="{y:.1f}" r="11"/><circle class="fk-spot" cx="{x:.1f}" '
        yield f'cy="{y:.1f}" r="3.5"/>'
    else:
        yield f'<circle class="fk-asked" cx="{x:.1f}" cy="{y:.1f}" r="13"/>'
        yield f'<text class="fk-mark" x="{x:.1f}" y="{y + 7:.1f}">?</text>'


def _outcome(taking: Taking, at: Place) -> Iterator[str]:
    assert taking.latest is not None
    one = taking.latest.assessment.governing
    if taking.decided == FAIL and one is not None and one.finding is not None and one.worst_at is not None:
        contacts: Sequence[tuple[float, float]] = () if one.shown_by_bar else one.finding.measured.contacts
        if len(contacts) >= 2:
            (ax, ay), (bx, by) = at(*contacts[0]), at(*contacts[-1])
            yield f'<path class="fk-bar-edge" d="M{ax:.1f} {ay:.1f}L{bx:.1f} {by:.1f}"/>'
            yield f'<path class="fk-bar" d="M{ax:.1f} {ay:.1f}L{bx:.1f} {by:.1f}"/>'
        x, y = at(*one.worst_at)
        yield f'<circle class="fk-worst" cx="{x:.1f}" cy="{y:.1f}" r="10"/>'
        yield f'<text class="fk-number" x="{x:.1f}" y="{y + 5:.1f}">1</text>'
    yield from _strips(taking, at)


def _strips(taking: Taking, at: Place) -> Iterator[str]:
    """The strips as lines, the one to slide now as a bar."""
    here = taking.strips.here if taking.sliding else None
    for k, (start, end) in enumerate(strip_lines(taking)):
        (ax, ay), (bx, by) = at(*start), at(*end)
        line = f'd="M{ax:.1f} {ay:.1f}L{bx:.1f} {by:.1f}"'
        if k == here:
            yield f'<path class="fk-bar-edge" {line}/><path class="fk-bar" {line}/>'
        else:
            done = taking.sliding and k in taking.strips.seen
            yield f'<path class="fk-line-edge" {line}/><path class="fk-{"slid" if done else "to-slide"}" {line}/>'


def map_key() -> str:
    """What the squares of the map say."""
    shown = (("fine", "", "even"), ("near", "", "a little off"), (HIGH, "+", "high"), (LOW, "−", "low"))
    squares = "".join(f'<span><i class="fk-{kind}">{sign}</i> {what}</span>' for kind, sign, what in shown)
    return f'<div class="fk-key">{squares}</div>'


def _read(taking: Taking, read: Mapping[int, str]) -> str:
    counts = {kind: list(read.values()).count(kind) for kind in (HIGH, LOW)}
    return f"Map: {len(taking.done)} stations read, {counts[HIGH]} high, {counts[LOW]} low"
