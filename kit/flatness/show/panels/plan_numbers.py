"""Many short numbers on a live map, drawn together: texts of their own would take most of the time of a picture."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.path import Path
from matplotlib.textpath import TextPath
from matplotlib.transforms import Affine2D

from flatness.show.axes import INK, root_of

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
    """What is laid behind a text [points]."""
    half = glyphs(words).get_extents().width / 2 + PAD
    high = SIZE * 0.5 + PAD / 2
    return Path([(-half, -high), (half, -high), (half, high), (-half, high), (-half, -high)], closed=True)


class Numbers:
    """Numbers at places of the axes.

    Attributes
    ----------
    told : the text at each place, by the place's (row, column)
    """

    def __init__(self, ax: Axes) -> None:
        self.told: dict[tuple[int, int], str] = {}
        points = Affine2D().scale(1 / 72) + root_of(ax).dpi_scale_trans
        self._paper, self._ink = (
            PathCollection(
                [], offsets=np.zeros((0, 2)), offset_transform=ax.transData, facecolors=colour, linewidths=0,
                alpha=alpha, zorder=order,
            )
            for colour, alpha, order in (("white", 0.75, 4.9), (INK, 1.0, 5.0))
        )  # fmt: skip
        for part in (self._paper, self._ink):
            part.set_transform(points)
            ax.add_collection(part, autolim=False)

    def set(self, told: Sequence[tuple[tuple[int, int], tuple[float, float], str]]) -> None:
        """Show these texts: (row, column), place [mm], words."""
        self.told = {node: words for node, _, words in told}
        places = np.array([xy for _, xy, _ in told], dtype=np.float64).reshape(-1, 2)
        for part, shape in ((self._paper, paper), (self._ink, glyphs)):
            part.set_paths([shape(words) for _, _, words in told])
            part.set_offsets(places)
