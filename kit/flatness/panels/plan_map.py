"""The live map of a plan or its draft: its artists stay, and only what they show changes while a slider moves.

Many short numbers on a live map, drawn together: texts of their own would take most of the time of a picture.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.text import Annotation
from matplotlib.textpath import TextPath
from matplotlib.transforms import Affine2D, Bbox
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NORMAL,
    PALE,
    SMALL,
    FreeSpace,
    dress_map,
    new_figure,
    root_of,
    show_extent,
    text_width,
    turns_of,
)
from flatness.charts.hatching import PATTERNS
from flatness.charts.map_base import bounds_of, draw_outline, with_margin
from flatness.charts.member_lines import member_chart
from flatness.charts.plan_map import FIXED, deepest_spot, draw_ground, draw_members, draw_tags, say_untagged
from flatness.framing.schedule import Schedule
from flatness.panels.instrument import DOTS_PER_INCH
from flatness.panels.maps import map_box, name_place
from flatness.planning.constraints import FixedSpot
from flatness.planning.draft import Draft
from flatness.planning.plan import ACTIONS, Plan
from flatness.planning.substrate import Beneath
from flatness.words.printed import least_shown, without_unit

SIZE = 8.0  # [points]
PAD = 1.2  # of the paper behind a number [points]


@lru_cache(maxsize=4096)
def glyphs(words: str) -> Path:
    """Outlines of a text about its middle [points]."""
    path = TextPath((0, 0), words, size=SIZE, usetex=False)
    box = path.get_extents()
    # all on one height, whatever letters they have
    middle = ((box.x0 + box.x1) / 2, SIZE * 0.36)
    return Path(path.vertices - middle, path.codes)


@lru_cache(maxsize=4096)
def paper(words: str) -> Path:
    """What is drawn behind a text [points]."""
    half = glyphs(words).get_extents().width / 2 + PAD
    high = SIZE * 0.5 + PAD / 2
    return Path([(-half, -high), (half, -high), (half, high), (-half, high), (-half, -high)], closed=True)


class Numbers:
    """Numbers at places of the axes.

    Attributes
    ----------
    texts : the text at each place, by the place's (row, column)
    """

    def __init__(self, ax: Axes) -> None:
        self.texts: dict[tuple[int, int], str] = {}
        points = Affine2D().scale(1 / 72) + root_of(ax).dpi_scale_trans
        self._paper, self._ink = (
            PathCollection(
                [],
                offsets=np.zeros((0, 2)),
                offset_transform=ax.transData,
                facecolors=colour,
                linewidths=0,
                alpha=alpha,
                zorder=order,
            )
            for colour, alpha, order in (("white", 0.75, 4.9), (INK, 1.0, 5.0))
        )
        for part in (self._paper, self._ink):
            part.set_transform(points)
            ax.add_collection(part, autolim=False)

    def set(self, texts: Sequence[tuple[tuple[int, int], tuple[float, float], str]]) -> None:
        """Show these texts: (row, column), place [mm], words."""
        self.texts = {node: words for node, _, words in texts}
        places = np.array([xy for _, xy, _ in texts], dtype=np.float64).reshape(-1, 2)
        for part, shape in ((self._paper, paper), (self._ink, glyphs)):
            part.set_paths([shape(words) for _, _, words in texts])
            part.set_offsets(places)


HEAD_IN = 0.3  # over the map, for its title
MOST_NUMBERS = 130
HALF_WIDE = 15.0  # of a number [points]
Shown = Plan | Draft


def what_stays(shown: Shown) -> tuple[Any, ...]:
    """What the map of a plan or a draft has in common with those that follow while a slider moves."""
    table = shown.members
    framing = None if table is None else (table.direction, table.table.to_csv())
    return shown.surface.x.tobytes(), shown.surface.y.tobytes(), shown.survey, framing


class LiveActions:
    """The map of plans and drafts that have in common :func:`what_stays`, in a live figure that is empty.

    Attributes
    ----------
    ax : its axes
    caption : what is said of it beneath
    title : what it is of
    areas : fill and hatch of each action but ``leave``, by name
    edges : borders between actions
    numbers : signed depths at nodes, on an even grid of them
    spots, spot_names : the fixed spots and the benchmarks
    grounds : parts of which something else is said
    tags : name and greatest depth of each patch, where patches are known
    """

    caption = ""

    def __init__(self, figure: Figure, shown: Shown, unit: str) -> None:
        self.figure, self.unit = figure, unit
        kind = shown.survey.surface
        bounds = bounds_of(shown.surface, shown.survey)
        turns = shown.survey.turns
        ax = self.figure.add_axes(map_box(figure, HEAD_IN))
        show_extent(ax, with_margin(bounds, turns), turns)
        ax.apply_aspect()
        dress_map(ax, bounds, kind, unit, shown.survey)
        self.ax = ax
        self.title = self.figure.text(
            0.02,
            1 - 0.1 / figure.get_size_inches()[1],
            "",
            va="top",
            fontsize=NORMAL + 1,
            fontweight="bold",
            color=INK,
            parse_math=False,
        )
        whole: Any = shown
        ground = draw_ground(ax, whole)
        self.areas: dict[str, PathPatch] = {}
        for name in ACTIONS[1:]:
            pattern = PATTERNS[name]
            area = PathPatch(
                Path(np.zeros((0, 2))),
                facecolor=pattern.face,
                edgecolor=pattern.line,
                hatch=pattern.hatch,
                linewidth=0,
                zorder=1,
                antialiased=False,
            )
            self.areas[name] = area
            ax.add_artist(area)
            area.set_clip_path(ground.get_clip_path())
        self.edges = LineCollection([], colors=INK, linewidths=1.0, zorder=2.5)
        ax.add_collection(self.edges, autolim=False)
        self.edges.set_clip_path(ground.get_clip_path())
        space = FreeSpace(ax)
        self._names = [
            one for one in draw_outline(ax, whole.survey, space, hatched=False) if isinstance(one, Annotation)
        ]
        draw_members(ax, whole, space)
        self._nodes = self._numbered(shown, space)
        self.numbers = Numbers(ax)
        (self.spots,) = ax.plot([], [], linestyle="none", zorder=7, scalex=False, scaley=False, **FIXED)
        self.spot_names: list[Annotation] = []
        self.tags: dict[str, Annotation] = {}
        self.grounds: list[Artist] = []
        self._untagged: list[Annotation] = []
        self._taken = space

    def _numbered(self, shown: Shown, space: FreeSpace) -> list[tuple[int, int]]:
        """Nodes whose depths are shown: an even grid that leaves each number its room."""
        widest = text_width('−15/16"' if self.unit == "in" else "−88.8", SIZE) + 4
        pitch = space.points_between((0.0, 0.0), (shown.surface.spacing, 0.0))
        needs = (widest, SIZE * 1.3 + 2)[:: -1 if turns_of(self.ax) % 2 else 1]
        strides = [max(1, int(np.ceil(size / pitch))) for size in needs]
        ny, nx = shown.change.shape
        while (ny // strides[1] + 1) * (nx // strides[0] + 1) > MOST_NUMBERS:
            strides[int(strides[1] / needs[1] < strides[0] / needs[0])] += 1
        inset = strides[0] // 2  # so that no number at either end hangs over the edge
        columns = range(inset, max(nx - inset, inset + 1), strides[0])
        return [(j, i) for j in range(strides[1] // 2, ny, strides[1]) for i in columns]

    def show(
        self,
        shown: Shown,
        spots: Sequence[tuple[str, FixedSpot]],
        grounds: Sequence[Beneath],
        title: str = "",
        faded: bool = False,
    ) -> None:
        """Show a plan or a draft; ``faded`` where it is of what was set before."""
        self.title.set(text=title, color=PALE if faded else INK)
        x, y, half = shown.x, shown.y, shown.surface.spacing / 2
        for number_, name in enumerate(ACTIONS):
            if name != "leave":
                self.areas[name].set_path(cells(np.asarray(shown.actions == number_), x, y, half))
        self.edges.set_segments(list(borders(shown.actions, x, y, half)))
        old: list[Artist] = [*self.tags.values(), *self._untagged, *self.spot_names, *self.grounds]
        for one in old:
            one.remove()
        self.grounds = list(self._draw_grounds(grounds))
        self.tags, self._untagged = {}, []
        self.spots.set_data([spot.x for _, spot in spots], [spot.y for _, spot in spots])
        self.spot_names = [name_place(self.ax, name, (spot.x, spot.y)) for name, spot in spots]
        if isinstance(shown, Plan):
            self._tag(shown)
        self.numbers.set(list(self._texts(shown)))

    def _texts(self, shown: Shown) -> Iterator[tuple[tuple[int, int], tuple[float, float], str]]:
        """The depths, where they are any and no name of a patch stands."""
        least = least_shown(self.unit)
        wide, high = (self.figure.dpi / 72 * size for size in (HALF_WIDE, SIZE * 0.7))
        texts = (text.get_window_extent() for text in (*self.tags.values(), *self._names))
        over = [Bbox.from_extents(b.x0 - wide, b.y0 - high, b.x1 + wide, b.y1 + high) for b in texts]
        for j, i in self._nodes:
            change, at = float(shown.change[j, i]), (float(shown.x[i]), float(shown.y[j]))
            if shown.actions[j, i] > 0 and abs(change) >= least:
                where = self.ax.transData.transform(at)
                if not any(box.contains(*where) for box in over):
                    yield (j, i), at, without_unit(change, self.unit)

    def _draw_grounds(self, grounds: Sequence[Beneath]) -> Iterator[Artist]:
        """The parts of which something else is said than of the rest, numbered."""
        for count, one in enumerate(grounds, 1):
            assert one.area is not None
            x0, y0, x1, y1 = one.area.bounds
            box = Rectangle(
                (x0, y0), x1 - x0, y1 - y0, fill=False, edgecolor=INK, linewidth=1.2, linestyle=(0, (6, 3)), zorder=6.5
            )
            yield self.ax.add_artist(box)
            yield self.ax.annotate(
                f"area {count}",
                (x0, y0),
                (4, 4),
                textcoords="offset points",
                fontsize=SMALL,
                color=INK,
                zorder=8,
                bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
            )

    def _tag(self, plan: Plan) -> None:
        """Names of the patches, each with its greatest depth."""
        patches = [row for row in plan.patches.to_dict("records") if row["action"] != "leave"]
        named = sorted(patches, key=lambda row: -row["volume_mm3"])[:MOST_NUMBERS]
        space = self._taken.copy()
        space.take_marks(np.array([deepest_spot(row) for row in named]).reshape(-1, 2), 2.4)
        self.tags = draw_tags(self.ax, named, self.unit, space)
        if len(self.tags) < len(patches):
            before = set(self.ax.texts)
            say_untagged(self.ax, len(patches) - len(self.tags), space)
            self._untagged = [text for text in self.ax.texts if text not in before and isinstance(text, Annotation)]


def cells(mask: NDArray[np.bool_], x: Floats, y: Floats, half: float) -> Path:
    """The squares about the nodes of a mask [ny, nx] as one path: a rectangle for each run along a row."""
    padded = np.zeros((mask.shape[0], mask.shape[1] + 2), dtype=np.int8)
    padded[:, 1:-1] = mask
    step = np.diff(padded, axis=1)
    rows, starts = np.nonzero(step == 1)
    _, ends = np.nonzero(step == -1)
    left, right, low, high = x[starts] - half, x[ends - 1] + half, y[rows] - half, y[rows] + half
    corners = np.stack(
        [np.column_stack(pair) for pair in ((left, low), (right, low), (right, high), (left, high), (left, low))],
        axis=1,
    )
    codes = np.tile([Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY], len(rows))
    return Path(corners.reshape(-1, 2), codes.astype(Path.code_type))


def borders(actions: NDArray[np.int8], x: Floats, y: Floats, half: float) -> Floats:
    """[n, 2, 2] mm, lines between nodes of different actions; what is outside has no border of its own."""
    both = actions >= 0
    rows, columns = np.nonzero((actions[:, 1:] != actions[:, :-1]) & both[:, 1:] & both[:, :-1])
    at, low, high = x[columns] + half, y[rows] - half, y[rows] + half
    upright = np.stack([np.column_stack((at, low)), np.column_stack((at, high))], axis=1)
    rows, columns = np.nonzero((actions[1:] != actions[:-1]) & both[1:] & both[:-1])
    at, low, high = y[rows] + half, x[columns] - half, x[columns] + half
    lying = np.stack([np.column_stack((low, at)), np.column_stack((high, at))], axis=1)
    return np.concatenate([upright, lying])


def member_picture(schedule: Schedule, name: str, unit: str) -> bytes:
    """The chart of one member as a PNG."""
    picture = io.BytesIO()
    root_of(member_chart(schedule, name, unit=unit).ax).savefig(picture, format="png", dpi=1.5 * DOTS_PER_INCH)
    return picture.getvalue()


def key_html(actions: NDArray[np.int8], has_spots: bool) -> str:
    """What the patterns of the map mean, as HTML; ``has_spots``: whether spots are fixed."""
    texts = [(swatch(name), PATTERNS[name].words) for k, name in enumerate(ACTIONS) if (actions == k).any()]
    texts += [(swatch("fixed"), "fixed spot")] if has_spots else []
    return "".join(f'<span><img alt="" src="data:image/png;base64,{image}">{words}</span>' for image, words in texts)


@lru_cache(maxsize=16)
def swatch(name: str) -> str:
    """A sample of an action's pattern, or of a fixed spot, as a PNG in base64."""
    figure = new_figure(26 / 72, 13 / 72)
    if name == "fixed":
        figure.add_artist(Line2D([0.5], [0.5], linestyle="none", **FIXED))
    else:
        look = PATTERNS[name]
        figure.add_artist(
            Rectangle((0, 0), 1, 1, facecolor=look.face, edgecolor=look.line, hatch=look.hatch, linewidth=0)
        )
        figure.add_artist(Rectangle((0, 0), 1, 1, fill=False, edgecolor=INK, linewidth=1.2))
    picture = io.BytesIO()
    figure.savefig(picture, format="png", dpi=3 * 72, transparent=True)
    return base64.b64encode(picture.getvalue()).decode("ascii")
