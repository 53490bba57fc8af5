"""Pictures of a curve: its plan with what is marked, and what was built drawn off it; and a wall unrolled."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from flatness.charts.axes import INK, NORMAL, PALE, SMALL, frame, new_figure, put_heading, set_place_ticks
from flatness.charts.hatching import PATTERNS
from flatness.charts.scales import height_step, place_step
from flatness.curves.setting_out import SetOut
from flatness.curves.shapes import Curve
from flatness.curves.walls import CurvedWall
from flatness.lengths import settle
from flatness.words.curves import CurveJob, draw_it, follows, tape, together
from flatness.words.printed import fine, listed

PROUD, SHY = PATTERNS["high"].face, PATTERNS["low"].face  # toward the room and away from it
WIDTH_IN, MOST_IN, LEAST_IN = 9.0, 8.0, 3.0
LARGER = (1, 2, 5, 10, 20, 25, 50, 100)
BAND = 0.06  # of the drawing's width, that the largest deviation may take
LEVEL_LINES = ("solid", "dashed", "dashdot", "dotted")  # in turn, from the lowest


@dataclass(frozen=True, eq=False, kw_only=True)
class CurveChart:
    """The artists of a picture of a curve.

    Attributes
    ----------
    ax : the axes
    curve : the line of the curve
    studs : their marks; None where none are drawn
    texts : what is written in the axes
    times : how many times larger deviations are drawn than the plan; 0 where none are drawn
    """

    ax: Axes
    curve: Artist
    studs: Artist | None
    texts: tuple[Artist, ...]
    times: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class UnrolledChart:
    """The artists of :func:`unrolled_chart`.

    Attributes
    ----------
    ax : the axes
    lines : one a level
    template : the template in its worst place; None where nothing is bridged
    texts : what is written in the axes
    """

    ax: Axes
    lines: tuple[Artist, ...]
    template: Artist | None
    texts: tuple[Artist, ...]


def set_out_chart(found: SetOut, unit: str = "in") -> CurveChart:
    """The plan of a curve with its centres or pins, chord and studs, to scale.

    Parameters
    ----------
    found : what to mark
    unit : ``in`` or ``mm``
    """
    curve = found.curve
    line = _line(curve)
    marks = [found.centres[["x_mm", "y_mm"]].to_numpy(), found.pins[["x_mm", "y_mm"]].to_numpy(dtype=float)]
    span = float(np.ptp(line, axis=0).max())
    near = [m[np.hypot(*(m - line.mean(axis=0)).T) < 1.5 * span] for m in marks if len(m)]
    ax = _plan_axes(np.vstack([line, *near]), (draw_it(found, unit), ""))
    (drawn,) = ax.plot(*line.T, color=INK, linewidth=2.6, zorder=4, solid_capstyle="round")
    chord = np.array(found.chord)
    ax.plot(*chord.T, color=PALE, linewidth=1.0, linestyle=(0, (6, 3)), zorder=2)
    studs = found.studs[["x_mm", "y_mm"]].to_numpy()
    angle = np.radians(found.studs["faces_deg"].to_numpy())
    tick = 0.012 * span * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    ends = np.stack([studs - tick, studs + tick])
    (ticks, *_) = ax.plot(ends[..., 0], ends[..., 1], color=INK, linewidth=1.2, zorder=5)
    if found.offset:
        ax.plot(
            *curve.offset_at(_steps(curve), found.offset).T, color=PALE, linewidth=1.4, linestyle="dashed", zorder=3
        )
    texts: list[Artist] = []
    for k in sorted({0, *range(4, len(studs), 5), len(studs) - 1}):
        place = studs[k] - math.copysign(3.0, found.offset) * tick[k]  # where no parallel runs
        texts.append(_write(ax, str(found.studs["name"].iloc[k]), place, color=PALE))
    for row in found.centres.to_dict("records"):
        texts += _centre(ax, row, span, unit)
    for number, row in enumerate(found.pins.to_dict("records"), 1):
        ax.plot(row["x_mm"], row["y_mm"], marker="o", markersize=7, color=INK, zorder=6)
        words = f"pin {number}"
        texts.append(_write(ax, words, np.array([row["x_mm"], row["y_mm"] + 0.035 * span])))
    return CurveChart(ax=ax, curve=drawn, studs=ticks, texts=tuple(texts))


def _centre(ax: Axes, row: Mapping[Any, Any], span: float, unit: str) -> list[Artist]:
    """A centre with its rays to both ends of its arc, and its radius along the middle of them."""
    x, y, radius = (float(row[name]) for name in ("x_mm", "y_mm", "radius_mm"))
    first, turn = float(row["from_deg"]), float(row["angle_deg"])
    at = np.array([x, y])
    for angle in np.radians([first, first + turn]) if abs(turn) < 359 else ():
        end = at + radius * np.array([math.cos(angle), math.sin(angle)])
        ax.plot(*np.array([at, end]).T, color=PALE, linewidth=0.8, zorder=1)
    ax.plot(x, y, marker="+", markersize=12, markeredgewidth=1.8, color=INK, zorder=6)
    middle = math.radians(first + turn / 2)
    ray = np.array([math.cos(middle), math.sin(middle)])
    words = f"{row['name']}: {tape(radius, unit)} radius"
    # beside the center where the arc is too near for the words
    return [_write(ax, words, at + 0.62 * radius * ray if radius > 0.4 * span else at - np.array([0, 0.035 * span]))]


def deviation_chart(job: CurveJob, unit: str = "in") -> CurveChart:
    """The plan of a wall as it was read, off its curve many times larger than life, with the template's worst place.

    Parameters
    ----------
    job : with a wall
    unit : ``in`` or ``mm``
    """
    wall = job.wall
    assert wall is not None
    curve, line = wall.curve, _line(wall.curve)
    span = float(np.ptp(line, axis=0).max())
    most = float(wall.points["off_mm"].abs().max())
    times = float(max([n for n in LARGER if n * most <= BAND * span], default=1))
    levels = wall.levels()
    subtitle = (
        f"Seen from above. What stands off the curve is drawn {times:g} times larger: orange toward the room, blue "
        "and darker away from it."
    )
    subtitle += _levels(wall, unit)
    ax = _plan_axes(np.vstack([line, line + 0.04 * span, line - 0.04 * span]), (follows(job, unit), subtitle))
    (drawn,) = ax.plot(*line.T, color=INK, linewidth=1.4, zorder=4)
    for level, style in zip(levels, LEVEL_LINES * len(levels), strict=False):
        along, off = wall.stations(level, max(curve.length / 400, 5.0))
        s = wall.s_of(along)
        built = curve.offset_at(s, wall.side * times * off)
        base = curve.at(s)
        if level == levels[0] or len(levels) == 1:
            _shade(ax, base, built, off)
        ring = np.vstack([built, built[:1]]) if curve.closed else built
        ax.plot(*ring.T, color=INK, linewidth=0.9, linestyle=style, zorder=5)
    texts: list[Artist] = []
    found = wall.worst(job.template)
    if found is not None:
        placement, _ = found
        first, last = wall.s_of(np.array(placement.contacts))
        part = np.linspace(min(first, last), max(first, last), 60)
        if curve.closed and abs(last - first) > curve.length / 2:
            part = np.linspace(max(first, last), min(first, last) + curve.length, 60)
        ax.plot(
            *curve.offset_at(part, wall.side * 0.05 * span).T, color=INK, linewidth=4, zorder=6, solid_capstyle="butt"
        )
        place = curve.offset_at(wall.s_of(np.array(placement.at)), wall.side * 0.10 * span)
        texts.append(_write(ax, f"worst: {fine(placement.gap, unit, (32, 64))}", place, weight="bold"))
    left = curve.offset_at(wall.s_of(np.array(0.0)), -wall.side * 0.055 * span)
    texts.append(_write(ax, "left end" if not curve.closed else "start", left, color=PALE))
    return CurveChart(ax=ax, curve=drawn, studs=None, texts=tuple(texts), times=times)


def _levels(wall: CurvedWall, unit: str) -> str:
    """Which line is which level."""
    levels = wall.levels()
    names = ("solid", "dashed", "dash and dot", "dotted")
    if not 1 < len(levels) <= len(names):
        return "" if len(levels) < 2 else " One line a level."
    return f" Lines: {listed(f'{name} {tape(level, unit)} up' for name, level in zip(names, levels, strict=False))}."


def _shade(ax: Axes, base: np.ndarray, built: np.ndarray, off: np.ndarray) -> None:
    for k in range(len(off) - 1):
        if np.isfinite(off[k : k + 2]).all():
            ring = np.array([base[k], base[k + 1], built[k + 1], built[k]])
            # the darker one stands out in grey too
            colour, opaque = (PROUD, 0.45) if off[k] + off[k + 1] > 0 else (SHY, 0.9)
            ax.fill(*ring.T, color=colour, alpha=opaque, linewidth=0, zorder=3)


def unrolled_chart(job: CurveJob, unit: str = "in") -> UnrolledChart:
    """The wall unrolled: how far it stands off its curve along each level, kinks and flats, and the template.

    Parameters
    ----------
    job : with a wall
    unit : ``in`` or ``mm``
    """
    wall = job.wall
    assert wall is not None
    template = tape(job.template, unit)
    subtitle = f"Toward the room is up. The bar marks where a {template} template rests." + _levels(wall, unit)
    ax = new_figure(WIDTH_IN + 1, 5.0).add_axes((0.1, 0.14, 0.87, 0.62))
    lines: list[Artist] = []
    texts: list[Artist] = []
    high = float(wall.points["off_mm"].abs().max()) or 1.0
    for level, style in zip(wall.levels(), LEVEL_LINES * 9, strict=False):
        along, off = wall.line(level)
        lines += ax.plot(along, off, color=INK, linewidth=1.5, linestyle=style, marker=".", markersize=4, zorder=4)
    ax.axhline(0, color=PALE, linewidth=1.0, zorder=2)
    bar: Artist | None = None
    found = wall.worst(job.template)
    if found is not None:
        placement, _ = found
        (bar,) = ax.plot(placement.contacts, [1.28 * high] * 2, color=INK, linewidth=5, solid_capstyle="butt", zorder=5)
        ax.plot([placement.at] * 2, [-1.1 * high, 1.28 * high], color=INK, linewidth=0.8, linestyle="dotted", zorder=3)
        texts.append(
            _write(
                ax, f"gap {fine(placement.gap, unit, (32, 64))}", np.array([placement.at, 1.5 * high]), weight="bold"
            )
        )
    texts += _faults(ax, wall, high)
    ax.set(xlim=(0, max(wall.curve.length, float(wall.points["along_mm"].max()))), ylim=(-1.75 * high, 1.75 * high))
    _dress(ax, unit, wall)
    put_heading(ax, (together(follows(job, unit)), together(subtitle)), 72 * (WIDTH_IN - 0.5))
    return UnrolledChart(ax=ax, lines=tuple(lines), template=bar, texts=tuple(texts))


def _faults(ax: Axes, wall: CurvedWall, high: float) -> list[Artist]:
    """Kinks and flats, each named beneath its place; what several levels show at one place once."""
    if wall.survey.accuracy is None:
        return []
    wording: list[tuple[float, str]] = []
    for level in wall.levels():
        table = wall.fairness(level)
        for along, finding in zip(table["along_mm"], table["finding"], strict=True):
            same = [one for one in wording if one[1] == finding and abs(one[0] - along) < 400]
            if finding and not same:
                wording.append((float(along), str(finding)))
    texts: list[Artist] = []
    for k, (along, finding) in enumerate(sorted(wording)):
        ax.plot([along] * 2, [-1.25 * high, 0], color=PALE, linewidth=0.9, zorder=1)
        texts.append(_write(ax, finding, np.array([along, (-1.4 - 0.2 * (k % 2)) * high])))
    return texts


def _dress(ax: Axes, unit: str, wall: CurvedWall) -> None:
    """Places along the wall, and what it stands off its curve."""
    (left, right), (low, top) = ax.get_xlim(), ax.get_ylim()
    set_place_ticks(ax.xaxis, (left, right), place_step(right - left, unit, most=10), unit)
    rise = height_step(top - low, unit, most=8)
    ticks = rise * np.arange(math.ceil(low / rise), math.floor(top / rise) + 1)
    ax.yaxis.set_ticks(ticks, labels=[fine(abs(settle(one)), unit, (16, 32, 64)) for one in ticks])
    first = "from its start to the right" if wall.curve.closed else "from its left end"
    ax.set_xlabel(f"along the curve, {first} as you face the wall", fontsize=NORMAL, color=INK)
    ax.set_ylabel("off the curve", fontsize=NORMAL, color=INK)
    frame(ax)


def _plan_axes(points: np.ndarray, heading: tuple[str, str]) -> Axes:
    """Axes in true proportion about these places, with the title above."""
    low, high = points.min(axis=0), points.max(axis=0)
    margin = 0.07 * float((high - low).max())
    size = high - low + 2 * margin
    tall = min(MOST_IN, max(LEAST_IN, WIDTH_IN * float(size[1] / size[0])))
    head = 1.0
    ax = new_figure(WIDTH_IN, tall + head).add_axes((0.02, 0.01, 0.96, tall / (tall + head)))
    ax.set_aspect("equal", adjustable="box")
    ax.set(xlim=(low[0] - margin, high[0] + margin), ylim=(low[1] - margin, high[1] + margin))
    ax.axis("off")
    put_heading(ax, (together(heading[0]), together(heading[1])), 72 * (WIDTH_IN - 0.5))
    return ax


def _steps(curve: Curve) -> np.ndarray:
    return np.linspace(0, curve.length, 721)


def _line(curve: Curve) -> np.ndarray:
    return curve.at(_steps(curve))


def _write(ax: Axes, words: str, place: np.ndarray, color: str = INK, weight: str = "normal") -> Artist:
    """A word on the drawing."""
    look: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.9}
    style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": SMALL, "bbox": look, "zorder": 8}
    return ax.text(float(place[0]), float(place[1]), words, color=color, weight=weight, **style)
