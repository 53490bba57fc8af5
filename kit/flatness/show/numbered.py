"""Numbered places on a map, and the list of their tape positions beneath it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.text import Annotation, Text

from flatness.errors import ArgumentError
from flatness.show.axes import INK, SMALL
from flatness.show.labels import FreeSpace, Offset, rings, text_width, wrap
from flatness.survey.readings import Floats, place_keys

ROW = 1.45 * SMALL  # from one row of the list to the next [points]
BETWEEN, AFTER_NUMBER = 22.0, 8.0  # columns of the list, and between a number and its place [points]
SIGNAL = "#ffd23f"
SPOT = 3.0  # radius of the mark at the place itself [points]


@dataclass(eq=False)
class PlaceList:
    """A heading and one entry a place, in as many columns as there is room for.

    Attributes
    ----------
    heading : line above the entries
    entries : (numbers, tape position) of the places that the list was made for; it has room for no more
    title, rows : heading and (numbers, tape position) as drawn; None and empty before
    """

    heading: str
    entries: Sequence[tuple[str, str]]
    title: Text | None = None
    rows: list[tuple[Text, Text]] = field(default_factory=list)
    _wide: float = 0.0

    def _columns(self, width: float) -> tuple[int, float, float]:
        """How many columns there is room for, where positions begin in them, and how wide those may be [points]."""
        begin = max(text_width(numbers, SMALL, "bold") for numbers, _ in self.entries) + AFTER_NUMBER
        widest = begin + max(text_width(words, SMALL) for _, words in self.entries)
        count = max(1, min(int((width + BETWEEN) // (widest + BETWEEN)), len(self.entries)))
        return count, begin, (width + BETWEEN) / count - BETWEEN - begin

    def _layout(self, width: float) -> Iterator[tuple[float, float]]:
        """How far right and down each entry stands, and last the foot of the list [points]."""
        columns, begin, wide = self._columns(width)
        deep = ROW * max(wrap(words, wide, SMALL).count("\n") + 1 for _, words in self.entries)
        top = ROW * (wrap(self.heading, width, SMALL, "bold").count("\n") + 1.25)
        rows = math.ceil(len(self.entries) / columns)
        for i in range(len(self.entries)):
            yield i // rows * (begin + wide + BETWEEN), top + i % rows * deep
        yield 0.0, top + rows * deep

    def height_in(self, width: float) -> float:
        """Height of the list [in] when it is this wide [points]."""
        *_, (_, down) = self._layout(width)
        return down / 72

    def put(self, ax: Axes, width: float) -> None:
        """Write the list into axes of its own, this wide [points]."""
        ax.set_axis_off()
        _, begin, self._wide = self._columns(width)
        self.title = _text(ax, wrap(self.heading, width, SMALL, "bold"), 0.0, 0.0, "bold")
        for right, down in list(self._layout(width))[:-1]:
            self.rows.append((_text(ax, "", right, down, "bold"), _text(ax, "", right + begin, down, "normal")))
        self.write(self.entries)

    def write(self, entries: Sequence[tuple[str, str]]) -> None:
        """Write other entries, no more than the list was made for; none empties it."""
        if len(entries) > len(self.rows):
            raise ArgumentError(
                "more places than this map has room for in its list", value=str(len(entries)),
                expected=f"at most {len(self.rows)}", remedy="make a new map",
            )  # fmt: skip
        assert self.title is not None
        self.title.set_visible(bool(entries))
        blank = [("", "")] * (len(self.rows) - len(entries))
        for (number, words), (numbers, text) in zip(self.rows, [*entries, *blank], strict=True):
            number.set_text(numbers)
            words.set_text(wrap(text, self._wide, SMALL))


def _text(ax: Axes, words: str, right: float, down: float, weight: str) -> Annotation:
    return ax.annotate(
        words, (0, 1), (right, -down - SMALL), xycoords="axes fraction", textcoords="offset points", ha="left",
        va="baseline", fontsize=SMALL, fontweight=weight, color=INK, linespacing=1.25, annotation_clip=False,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class NumberedMarks:
    """Numbers 1, 2, ... at places of a map.

    Attributes
    ----------
    spots : marks at the places themselves
    numbers : the numbers; one that would meet another mark stands beside its place, with a leader
    """

    spots: Line2D
    numbers: list[Annotation]


def by_place(places: Floats) -> tuple[Floats, list[str]]:
    """Distinct places [m, 2] of places [n, 2] mm, in their order, and the numbers that each has.

    >>> by_place(np.array([[0, 0], [300, 0], [0, 0]]))[1]
    ['1, 3', '2']
    """
    numbers: dict[tuple[int, ...], list[int]] = {}
    for i, key in enumerate(place_keys(*places.T).tolist()):
        numbers.setdefault(tuple(key), []).append(i)
    first = [those[0] for those in numbers.values()]
    return places[first], [", ".join(str(i + 1) for i in those) for those in numbers.values()]


def draw_numbered(ax: Axes, places: Floats, space: FreeSpace) -> NumberedMarks:
    """Number the places [n, 2] mm in their order; a place that comes again has several numbers."""
    (spots,) = ax.plot(
        [], [], linestyle="none", marker="D", markersize=5.5, color=SIGNAL, markeredgecolor=INK,
        markeredgewidth=1.1, zorder=7, scalex=False, scaley=False,
    )  # fmt: skip
    marks = NumberedMarks(spots, [])
    move_numbered(ax, marks, places, space)
    return marks


def move_numbered(ax: Axes, marks: NumberedMarks, places: Floats, space: FreeSpace) -> None:
    """Number other places [n, 2] mm; the marks stay the same."""
    marks.spots.set_data(*places.T)
    for number in marks.numbers:
        number.remove()
    places, words = by_place(places)
    marks.numbers[:] = [_number(ax, text, place) for text, place in zip(words, places, strict=True)]
    for i, number in enumerate(marks.numbers):
        others = space.copy()
        others.take_marks(np.delete(places, i, axis=0), SPOT)
        bare = others.emptied()
        for other in marks.numbers[:i]:
            bare.take_text(other)
        offsets = list(_beside(_away(places, i)))
        if others.place(number, offsets, leader=True, gap=0.5) or bare.place(number, offsets, gap=0.5):
            space.take_text(number)
            middle = Text.get_window_extent(number)
            end = ax.transData.inverted().transform(((middle.x0 + middle.x1) / 2, (middle.y0 + middle.y1) / 2))
            space.take_line(np.array([number.xy, end], dtype=np.float64), 1.0)
        # a number on its place needs no leader
        if number.arrow_patch is not None:
            number.arrow_patch.set_visible(number.get_position() != (0.0, 0.0))


def _away(places: Floats, i: int) -> Floats:
    """Direction [2] from the nearest other place to place ``i``; zero where there is no other."""
    apart = places[i] - np.delete(places, i, axis=0)
    if not len(apart):
        return np.zeros(2)
    far = np.hypot(*apart.T)
    return np.asarray(apart[far.argmin()] / far.min(), dtype=np.float64)


def _beside(away: Floats) -> Iterator[Offset]:
    """Offsets ever farther off; in each ring those away from a neighbour first, so that leaders do not cross."""
    yield (0.0, 0.0, "center", "center")
    for radius, ring in groupby(rings(13, 240, 7), lambda offset: round(math.hypot(*offset[:2]), 3)):
        yield from sorted(ring, key=lambda offset: np.dot(offset[:2], away) < 0.3 * radius)


def _number(ax: Axes, words: str, place: Floats) -> Annotation:
    return ax.annotate(
        words, (float(place[0]), float(place[1])), (0, 0), textcoords="offset points", ha="center", va="center",
        fontsize=SMALL, fontweight="bold", color=INK, zorder=8, annotation_clip=False,
        bbox={"boxstyle": "round,pad=0.25,rounding_size=0.6", "facecolor": SIGNAL, "edgecolor": INK, "linewidth": 1.2},
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 2},
    )  # fmt: skip
