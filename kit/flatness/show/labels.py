"""Labels that keep clear of one another, of the marks they belong to, and of the edge of the axes."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.text import Annotation, Text
from matplotlib.textpath import text_to_path

from flatness.survey.readings import Floats

HARD_SPACE = "\N{NO-BREAK SPACE}"
WITH_UNIT = re.compile(r"(?<=\d) (?=(?:mm|m|%|in|ft)(?!\w))|(?<=') (?=\d)")
Box = tuple[float, float, float, float]  # x0, y0, x1, y1 [pixels]
Offset = tuple[float, float, str, str]  # dx, dy [points], horizontal and vertical alignment

NEAR: tuple[Offset, ...] = (
    (4, 3, "left", "bottom"), (-4, 3, "right", "bottom"), (4, -3, "left", "top"), (-4, -3, "right", "top"),
)  # fmt: skip


def settle_layout(figure: Figure) -> None:
    """Bring all axes to the places and proportions in which they will be drawn: pixels are known only after it."""
    if figure.get_layout_engine() is not None:
        figure.draw_without_rendering()
        return
    # to draw it for that takes a multiple of the time
    for ax in figure.axes:
        locator = ax.get_axes_locator()
        ax.apply_aspect(None if locator is None else locator(ax, None))  # type: ignore[arg-type]


class FreeSpace:
    """What is still free within the axes, in pixels of the figure as it now stands."""

    def __init__(self, ax: Axes) -> None:
        figure = ax.get_figure(root=True)
        assert figure is not None
        settle_layout(figure)
        self._ax = ax
        self._points = figure.dpi / 72
        self._bounds = tuple(ax.get_window_extent().extents)
        self._taken: list[Box] = []

    def pixels(self, xy: Floats) -> Floats:
        """[n, 2] data to [n, 2] pixels."""
        return np.asarray(self._ax.transData.transform(np.atleast_2d(xy)), dtype=np.float64)

    def points_between(self, a: tuple[float, float], b: tuple[float, float]) -> float:
        """Distance of two data points on paper [points]."""
        p = self.pixels(np.array([a, b]))
        return float(np.hypot(*(p[1] - p[0]))) / self._points

    def take(self, box: Box) -> None:
        self._taken.append(box)

    def take_area(self, bounds: tuple[float, float, float, float]) -> None:
        """A rectangle x0, y0, x1, y1 of data, less a hair at its edges."""
        (x0, y0), (x1, y1) = self.pixels(np.array([bounds[:2], bounds[2:]]))
        self.take((x0 + 2, y0 + 2, x1 - 2, y1 - 2))

    def take_text(self, text: Text) -> None:
        """A text where it now stands, without its leader."""
        text.get_window_extent()  # an annotation moves to where it belongs only when it is asked
        x0, y0, x1, y1 = (float(side) for side in Text.get_window_extent(text).extents)
        pad = _padding(text) * self._points
        self.take((x0 - pad, y0 - pad, x1 + pad, y1 + pad))

    def take_marks(self, xy: Floats, radius: float) -> None:
        """Marks of this radius [points] at [n, 2] data."""
        r = radius * self._points
        if len(xy):
            self._taken.extend((x - r, y - r, x + r, y + r) for x, y in self.pixels(xy).tolist())

    def take_line(self, xy: Floats, half: float) -> None:
        """A line through [n, 2] data, ``half`` wide to each side [points]."""
        self._take_path(self.pixels(xy), half)

    def _take_path(self, path: Floats, half: float) -> None:
        r = half * self._points
        for a, b in itertools.pairwise(path):
            count = max(1, math.ceil(float(np.hypot(*(b - a))) / max(r, 2)))
            for t in np.linspace(0, 1, count + 1):
                x, y = a + t * (b - a)
                self._taken.append((x - r, y - r, x + r, y + r))

    def copy(self) -> FreeSpace:
        """The same space, to be filled on without touching this one."""
        twin = object.__new__(FreeSpace)
        twin.__dict__.update(self.__dict__, _taken=list(self._taken))
        return twin

    def emptied(self) -> FreeSpace:
        """The same axes with nothing in them."""
        twin = self.copy()
        twin._taken = []
        return twin

    def size(self, text: Text) -> tuple[float, float]:
        """Width and height of a text [points], the padding of its box included."""
        box, pad = Text.get_window_extent(text), 2 * _padding(text)
        return box.width / self._points + pad, box.height / self._points + pad

    def place(self, text: Annotation, offsets: Iterable[Offset], *, leader: bool = False, gap: float = 1.5) -> bool:
        """Move the text to the first of the offsets that is free, and take it; False where none is."""
        pad = _padding(text) * self._points
        extent = Text.get_window_extent(text)
        x, y = self.pixels(np.array([text.xy]))[0]
        for dx, dy, ha, va in offsets:
            box = _box(x + dx * self._points, y + dy * self._points, extent.width, extent.height, ha, va, pad)
            if not self._is_free(box, gap * self._points):
                continue
            text.set_position((dx, dy))
            text.set(ha=ha, va=va)
            self.take(box)
            if leader:
                middle = np.array([[(box[0] + box[2]) / 2, (box[1] + box[3]) / 2], [x, y]])
                self._take_path(middle, 1.0)
            return True
        return False

    def _is_free(self, box: Box, gap: float) -> bool:
        x0, y0, x1, y1 = box
        left, bottom, right, top = self._bounds
        if x0 < left + 1 or y0 < bottom + 1 or x1 > right - 1 or y1 > top - 1:
            return False
        x0, y0, x1, y1 = x0 - gap, y0 - gap, x1 + gap, y1 + gap
        return not any(a < x1 and c > x0 and b < y1 and d > y0 for a, b, c, d in self._taken)


def _padding(text: Text) -> float:
    patch = text.get_bbox_patch()
    return 0.0 if patch is None else float(getattr(patch.get_boxstyle(), "pad", 0.0)) * float(text.get_fontsize())


def _box(x: float, y: float, width: float, height: float, ha: str, va: str, pad: float) -> Box:
    x0 = x - width * {"left": 0.0, "center": 0.5, "right": 1.0}[ha]
    y0 = y - height * {"bottom": 0.0, "center": 0.5, "top": 1.0}[va]
    return (x0 - pad, y0 - pad, x0 + width + pad, y0 + height + pad)


def rings(first: float = 20, last: float = 420, step: float = 14) -> Iterator[Offset]:
    """Offsets around a point, ever farther off: beside and above first, then all round."""
    for radius in np.arange(first, last, step):
        for degrees in (45, 135, 315, 225, 90, 270, 20, 160, 340, 200, 65, 115, 245, 295, 0, 180):
            dx, dy = radius * math.cos(math.radians(degrees)), radius * math.sin(math.radians(degrees))
            ha = "left" if dx > 4 else "right" if dx < -4 else "center"
            va = "bottom" if dy > 4 else "top" if dy < -4 else "center"
            yield (dx, dy, ha, va)


def text_width(line: str, size: float, weight: str = "normal") -> float:
    """Width of one line of text [points]."""
    return _width(line, size, weight, (*rcParams["font.family"], *rcParams["font.sans-serif"]))


@lru_cache(maxsize=4096)
def _width(line: str, size: float, weight: str, families: tuple[str, ...]) -> float:
    """In the font that the families, which whoever draws may change at any time, give now."""
    prop = FontProperties(size=size, weight=weight)
    return float(text_to_path.get_text_width_height_descent(line, prop, ismath=False)[0])


def wrap(text: str, width: float, size: float, weight: str = "normal") -> str:
    """The text broken into lines at most ``width`` [points] wide; a longer word is broken too.

    A number stays with its unit, and feet with their inches.
    """

    def wide(line: str) -> bool:
        return text_width(line, size, weight) > width

    lines: list[str] = []
    for paragraph in WITH_UNIT.sub(HARD_SPACE, text).split("\n"):
        line = ""
        for word in filter(None, paragraph.split(" ")):
            if line and wide(f"{line} {word}"):
                lines.append(line)
                line = ""
            while wide(word) and len(word) > 1:
                cut = next((n for n in range(len(word) - 1, 0, -1) if not wide(word[:n])), 1)
                lines.append(word[:cut])
                word = word[cut:]
            line = f"{line} {word}".strip()
        lines.append(line)
    return "\n".join(lines).replace(HARD_SPACE, " ")
