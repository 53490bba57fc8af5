"""A surface as it would look in a light along it, and beside it as it looked before the work.

Exposed once for all pictures of a chart: the flat surface comes out a light gray, what is brighter or darker by so much
in the room is so much brighter or darker on a screen that keeps to sRGB. Where a lamp's own light falls off across the
surface that alone is drawn by its cube root, about as the eye takes it (CIE 1976 lightness goes with the cube root).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.image import AxesImage
from matplotlib.text import Annotation, Text
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import distance_transform_edt

from flatness.arrays import Floats
from flatness.charts.axes import INK, NORMAL, PALE, SMALL, Extent, FreeSpace, dress_map, note, panel_axes, rings
from flatness.charts.map_base import LEAST_HIGH, LEAST_WIDE, bounds_of, draw_outline, outline_path
from flatness.charts.scales import check_unit
from flatness.errors import ArgumentError
from flatness.light.contrast import contrast_in
from flatness.light.lamps import Daylight, Light, Strip
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.lights import about, degrees, given_distance
from flatness.words.printed import printed_place

PIXELS = 500  # about as many along the longer side of the surface
FLAT, BRIGHTEST = 0.5, 1.0  # linear light of the flat surface, and the most that a screen shows
LEVELS_OFF = 0.5  # of the light in the middle
# neutral: of a tint the three channels round apart, and bands of hue show where the light has none
PAINT = (0.98, 0.98, 0.98)
STACKED = 1.2  # panels wider than this many times their height stand one above the other
TALLEST_IN = 8.6  # of a figure's panels, all together [in]


@dataclass(frozen=True, eq=False, kw_only=True)
class LitChart:
    """The artists of :func:`lit_chart`.

    Attributes
    ----------
    axes, images, names : of each panel: its axes, the picture, what it is called
    marks : rings about what shows, and their words
    outlines : outline and openings of each panel
    """

    axes: tuple[Axes, ...]
    images: tuple[AxesImage, ...]
    names: tuple[Text, ...]
    marks: tuple[Annotation, ...]
    outlines: tuple[tuple[Artist, ...], ...]

    @property
    def ax(self) -> Axes:
        """The first panel's."""
        return self.axes[0]


@dataclass(frozen=True, kw_only=True)
class Lit:
    """One picture of a chart.

    Attributes
    ----------
    name : such as ``Before``
    surface : as it likely is
    survey : what was read of it
    shows : x, y [mm] of a place to mark; None: nothing shows
    """

    name: str
    surface: Surface
    survey: Survey
    shows: tuple[float, float] | None = None


def lit_chart(pictures: Sequence[Lit], light: Light, *, shortest: float, unit: str = "in") -> LitChart:
    """A surface as it would look in a light.

    Parameters
    ----------
    pictures : one, or before and after, of one surface
    light : where it comes from
    shortest : the shortest wave that the readings show [mm]: what is shorter is not in the picture
    unit : ``in`` or ``mm``

    Raises
    ------
    ArgumentError : an unknown unit, or no picture
    """
    check_unit(unit)
    if not pictures:
        raise ArgumentError("no picture to draw", expected="one surface, or before and after")
    kind = pictures[0].survey.surface
    heading = (
        f"How the {kind} would look in {light_words(light, unit)}",
        f"Drawn from the readings, which show no wave shorter than {about(shortest, unit)}. Matt paint and this one "
        "light alone: texture, gloss and all other light are left out, so a lit room shows less. White: not read."
        + (" Both pictures have one exposure." if len(pictures) > 1 else ""),
    )
    boxes = np.array([bounds_of(one.surface, one.survey) for one in pictures])
    bounds = (float(boxes[:, 0].min()), float(boxes[:, 1].max()), float(boxes[:, 2].min()), float(boxes[:, 3].max()))
    axes, _ = panel_axes(_shown(bounds), heading, len(pictures), stacked=STACKED, tall_in=TALLEST_IN)
    images, names, marks, outlines = [], [], [], []
    for ax, one in zip(axes, pictures, strict=True):
        images.append(draw_lit(ax, one, light))
        dress_map(ax, bounds, kind, unit)
        space = FreeSpace(ax)
        outlines.append(draw_outline(ax, one.survey, space))
        if one.shows is not None:
            marks.append(_mark(ax, one.shows, space, bounds))
        name = ax.set_title(one.name, loc="left", fontsize=NORMAL + 1, fontweight="bold", color=INK, pad=6)
        name.set_parse_math(False)
        names.append(name)
        _say_where_from(ax, light, kind)
    return LitChart(axes=axes, images=tuple(images), names=tuple(names), marks=tuple(marks), outlines=tuple(outlines))


def light_words(light: Light, unit: str) -> str:
    """A light in words: ``light from the window at 5 degrees``."""
    if isinstance(light, Daylight):
        return f"light from the window at {degrees(light.angle, exact=True)}"
    if isinstance(light, Strip):
        return f"light from a strip {given_distance(light.off, unit)} off it"
    return f"light from lamps {given_distance(light.off, unit)} off it, every {printed_place(light.spacing, unit)}"


def rendered(surface: Surface, light: Light) -> tuple[Surface, Floats]:
    """The surface on a finer lattice, by cubic splines, and its light there [ny, nx], linear, 0 to 1; else NaN."""
    fine = _finer(surface)
    onto = light.field(fine).toward[2]
    fall = np.cbrt(onto / np.median(onto[fine.inside]))
    # close to a lamp no screen is bright enough: it levels off, and is 1 where the light is as in the middle
    fall = (1 + LEVELS_OFF) * fall / (fall + LEVELS_OFF)
    linear = FLAT * fall * (1 + contrast_in(fine, light))
    return fine, np.clip(linear, 0, BRIGHTEST)


def _finer(surface: Surface) -> Surface:
    ny, nx = surface.height.shape
    times = max(1, PIXELS // max(nx, ny))
    known = surface.inside
    near = distance_transform_edt(~known, return_distances=False, return_indices=True)
    whole = surface.height[near[0], near[1]]
    step = surface.spacing / times
    x = surface.x[0] + step * np.arange((nx - 1) * times + 1)
    y = surface.y[0] + step * np.arange((ny - 1) * times + 1)
    spline = RectBivariateSpline(surface.y, surface.x, whole, kx=min(3, ny - 1), ky=min(3, nx - 1))
    height = np.asarray(spline(y, x))
    column, row = (np.rint(np.arange(len(axis)) / times).astype(int) for axis in (x, y))
    height[~known[np.ix_(row, column)]] = np.nan
    return Surface(x=x, y=y, height=height, spacing=step, reference=surface.reference)


def draw_lit(ax: Axes, one: Lit, light: Light) -> AxesImage:
    """The picture of a surface alone, within its outline, on axes whose limits stand."""
    fine, linear = rendered(one.surface, light)
    # the encoding of sRGB, IEC 61966-2-1
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    colours = np.concatenate(
        [encoded[..., None] * np.array(PAINT), np.isfinite(linear)[..., None].astype(float)], axis=-1
    )
    half = fine.spacing / 2
    limits = ax.get_xlim(), ax.get_ylim()
    image = ax.imshow(
        np.nan_to_num(colours),
        origin="lower",
        extent=(fine.x[0] - half, fine.x[-1] + half, fine.y[0] - half, fine.y[-1] + half),
        interpolation="bilinear",
        zorder=1,
    )
    ax.set(xlim=limits[0], ylim=limits[1])
    if one.survey.outline is not None:
        image.set_clip_path(outline_path(one.survey.outline), ax.transData)
    return image


def _mark(ax: Axes, at: tuple[float, float], space: FreeSpace, bounds: Extent) -> Annotation:
    """A ring of dark and light about a place, with its words beside it."""
    across = 0.05 * max(bounds[1] - bounds[0], bounds[3] - bounds[2])
    for width, colour in ((3.0, "white"), (1.4, INK)):
        turn = np.linspace(0, 2 * np.pi, 73)
        ring = np.column_stack([at[0] + across * np.cos(turn), at[1] + across * np.sin(turn)])
        ax.plot(*ring.T, color=colour, linewidth=width, zorder=5, scalex=False, scaley=False)
    space.take_line(ring, 2.0)
    radius = space.points_between(at, (at[0] + across, at[1]))
    words = note(
        ax,
        "shows first here",
        at,
        zorder=6,
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": PALE, "linewidth": 0.8},
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 1.2, "shrinkB": radius, "shrinkA": 0},
    )
    space.place(words, rings(radius + 8))
    return words


def _say_where_from(ax: Axes, light: Light, kind: str) -> None:
    """Which way the light travels, above the panel."""
    if isinstance(light, Daylight):
        turned = np.radians(light.heading)
        x, y = np.cos(turned), np.sin(turned)
        side = ("left" if x > 0 else "right") if abs(x) >= abs(y) else ("bottom" if y > 0 else "top")
    else:
        side = light.side
    arrow, where = {
        "left": ("\N{RIGHTWARDS ARROW}", "from the left"),
        "right": ("\N{LEFTWARDS ARROW}", "from the right"),
        "bottom": ("\N{UPWARDS ARROW}", "from below"),
        "top": ("\N{DOWNWARDS ARROW}", "from above"),
    }[side]
    words = f"light {where}" if kind == "wall" else "light travels this way"
    ax.set_title(f"{arrow} {words}", loc="right", fontsize=SMALL, color=PALE, pad=6)


def _shown(bounds: Extent) -> Extent:
    """What a panel spans [mm]: of a corridor some room beside it, for the words above."""
    x0, x1, y0, y1 = bounds
    more_x, more_y = (
        max(0.0, part) / 2 for part in (LEAST_WIDE * (y1 - y0) - x1 + x0, LEAST_HIGH * (x1 - x0) - y1 + y0)
    )
    return x0 - more_x, x1 + more_x, y0 - more_y, y1 + more_y
