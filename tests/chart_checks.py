"""Rooms to draw, and what makes a chart readable: used by the tests of all charts."""

from __future__ import annotations

import itertools
import re

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from shapely import Polygon, box

from flatness.survey.readings import make_survey

INCH, FOOT = 25.4, 304.8


def survey_of(nx, ny, step, height, **attributes):
    x, y = (a.ravel() for a in np.meshgrid(step * np.arange(nx), step * np.arange(ny)))
    return make_survey(x, y, height(x, y), **attributes)


def waves(x, y):
    return 5 * np.sin(x / (2.5 * FOOT)) * np.cos(y / (3 * FOOT)) + x / 1500


def l_shaped():
    """An L of 16 ft x 12 ft with a stair opening, and an empty corner."""
    return survey_of(
        17,
        13,
        FOOT,
        waves,
        outline=Polygon([(0, 0), (4876.8, 0), (4876.8, 3657.6), (1828.8, 3657.6), (1828.8, 3048), (0, 3048)]),
        openings=(box(11 * FOOT, 8 * FOOT, 14.5 * FOOT, 11 * FOOT),),
    )


ROOMS = {
    "l-shaped floor": l_shaped,
    "4 ft room": lambda: survey_of(5, 5, FOOT, waves, outline=box(0, 0, 4 * FOOT, 4 * FOOT)),
    "60 ft x 40 ft": lambda: survey_of(31, 21, 2 * FOOT, waves),
    "corridor": lambda: survey_of(31, 3, 2 * FOOT, waves, outline=box(0, 0, 60 * FOOT, 4 * FOOT)),
    "corridor upright": lambda: survey_of(3, 31, 2 * FOOT, waves),
    "flat": lambda: survey_of(9, 7, 2 * FOOT, lambda x, y: 0 * x),
    "tilted": lambda: survey_of(9, 7, 2 * FOOT, lambda x, y: 1040 + x / 40 + 3 * np.sin(x / 500)),
    "wall": lambda: survey_of(15, 9, FOOT, waves, surface="wall", reference="plumb"),
    "ceiling": lambda: survey_of(9, 7, 2 * FOOT, lambda x, y: -(((x - 2400) / 800) ** 2), surface="ceiling"),
}


def lay_out(figure: Figure) -> None:
    """Bring everything to where it will be drawn: pixels are not looked at."""
    FigureCanvasAgg(figure)
    figure.draw_without_rendering()


def texts_of(figure: Figure) -> list[Text]:
    lay_out(figure)
    found = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    # a tick beyond the axes is made but not drawn
    shown = []
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low - 1e-6 <= tick.get_loc() <= high + 1e-6:
                    shown += [tick.label1, tick.label2]
    return [t for t in found if t not in shown]


def extent(text: Text):
    return Text.get_window_extent(text)


def overlapping(texts):
    boxes = [(t.get_text(), extent(t).shrunk(0.98, 0.9)) for t in texts]
    return [(a, b) for (a, p), (b, q) in itertools.combinations(boxes, 2) if p.overlaps(q)]


def assert_clean(figure: Figure, ax: Axes):
    texts = texts_of(figure)
    inside = figure.bbox
    for text in texts:
        e = extent(text)
        assert e.x0 >= 0, text.get_text()
        assert e.y0 >= 0, text.get_text()
        assert e.x1 <= inside.x1, text.get_text()
        assert e.y1 <= inside.y1, text.get_text()
        assert text.get_fontsize() >= 8
        assert not re.search(r"\d\.\d{4}", text.get_text()), text.get_text()
    assert overlapping(texts) == []


def luminance(colour):
    """Relative luminance of an sRGB colour, by the formula of WCAG 2.1."""
    c = np.asarray(colour[:3])
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def rgb(text):
    return [int(text[i : i + 2], 16) / 255 for i in (1, 3, 5)]
