"""Waves of a surface, by their length, and which of them a light shows.

The slope toward the light over the tangent of its angle is the contrast of each place. It is parted into bands by how
fine its pattern is, in any direction, and each band is compared with what the eye needs there: a place shows where one
of its bands passes that (contrast by bands, at each place on its own: E. Peli, J. Opt. Soc. Am. A 7 (1990) 2032, from
memory). Each band is a Gaussian over the logarithm of the wavelength, 0.7 of an octave wide at half its height; a sine
comes out of the whole within a few hundredths of its size.

Past its edges and within blank places the pattern is what the nearest place has. So a wave shows at an edge by about
seven tenths of what it would show in the middle. The middle loses by it too, of a wave half as long as the
surface about a fifth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.fft import dctn, idctn, next_fast_len
from scipy.ndimage import distance_transform_edt

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.light.contrast import slope_weights, slopes
from flatness.light.eye import Eye, contrast_sensitivity, cycles_per_degree
from flatness.light.lamps import Daylight, Lamp, Light
from flatness.surface.lattice import Surface, grid_axes
from flatness.surface.likely import LikelySurface

BAND_OCTAVES = 0.3  # one standard deviation of a band
PER_OCTAVE = 6  # bands
LEAST_NODES = 5  # of the lattice to a wave: its slope is then good to 2 %
BEYOND = 0.35  # of the surface's shorter side: so far past its edges the pattern is carried on
CONFIDENCE = 0.95
NEAREST, FIRST, FARTHEST = 3.0, 300.0, 6100.0  # [mm] off the surface, at which a lamp is looked for: 1/8 in to 20 ft
NEAREST_EYE = 1.0  # [mm]
ROUNDS, CLOSE = 10, 0.01  # until its distance changes by so small a part


@dataclass(frozen=True, eq=False, kw_only=True)
class Shown:
    """What a light shows of surfaces that a survey allows, band by band.

    Attributes
    ----------
    wavelengths : [bands] mm, from the shortest that the readings show
    times : [n, bands] how many times as strong as what counts as seen each surface's strongest place is
    proved : the same of the place that all but a few of the surfaces show alike, brighter or darker, whatever its band
    at : x, y [mm] of that place; where nothing is proved, of the one that is strongest on average
    wave : wavelength of that band [mm]
    """

    wavelengths: Floats
    times: Floats
    proved: float
    at: tuple[float, float]
    wave: float

    @property
    def strongest(self) -> Floats:
        """[n] of each surface, over all bands."""
        return np.asarray(self.times.max(axis=1))

    def most(self, confidence: float = CONFIDENCE) -> float:
        """What so large a part of the surfaces does not pass."""
        return float(np.quantile(self.strongest, confidence))


def wavelengths(surface: Surface, shortest: float = 0.0) -> Floats:
    """Bands [mm] from the shortest wave that the lattice holds, or ``shortest``, to the longest that fits in.

    Raises
    ------
    MeasureError : not even the shortest wave fits in
    """
    ny, nx = surface.height.shape
    first = max(LEAST_NODES * surface.spacing, shortest)
    last = surface.spacing * (max(nx, ny) - 1)
    if last < first:
        raise MeasureError(
            "the surface is shorter than the shortest wave that can be seen on it",
            value=f"{last:.0f} mm",
            expected=f"{first:.0f} mm or more",
            remedy="read more closely, or a longer part",
        )
    found: Floats = first * 2.0 ** (np.arange(math.floor(PER_OCTAVE * math.log2(last / first)) + 1) / PER_OCTAVE)
    return found


def strengths(
    stack: Floats,
    surface: Surface,
    light: Light,
    distance: float,
    eye: Eye,
    waves: Floats,
    shortest: tuple[float, float] = (0.0, 0.0),
) -> Iterator[Floats]:
    """Band by band [n, ny, nx] how many times what counts as seen each place is, brighter above 0 and darker below.

    ``stack`` [n, ny, nx] mm are surfaces on the lattice of ``surface``; ``distance`` [mm] is the eye's;
    of waves that are shorter along x or along y than ``shortest`` [mm] nothing counts.
    """
    contrast = _contrast(stack, surface, light).astype(np.float32)
    behind = _beyond(surface)
    parts = dctn(np.pad(contrast, ((0, 0), *behind), mode="edge"), axes=(1, 2), norm="ortho")
    rows, columns = (slice(before, size - after) for (before, after), size in zip(behind, parts.shape[1:], strict=True))
    for band in _filters(surface, distance, eye, waves, shortest):
        whole = idctn(parts * band.astype(np.float32), axes=(1, 2), norm="ortho")
        yield whole[:, rows, columns]


def _beyond(surface: Surface) -> list[tuple[int, int]]:
    """Nodes that the pattern is carried on by, before and after, along y and along x."""
    beyond = math.ceil(BEYOND * min(surface.height.shape))
    whole = (next_fast_len(count + 2 * beyond, real=True) for count in surface.height.shape)
    return [(beyond, size - count - beyond) for size, count in zip(whole, surface.height.shape, strict=True)]


def _filters(
    surface: Surface, distance: float, eye: Eye, waves: Floats, shortest: tuple[float, float] = (0.0, 0.0)
) -> Iterator[Floats]:
    """Band by band [ny, nx] what each cosine of the pattern that is carried on counts, over what counts as seen."""
    ny, nx = (sum(beyond) + n for beyond, n in zip(_beyond(surface), surface.height.shape, strict=True))
    along = np.arange(nx) / nx / (2 * surface.spacing), (np.arange(ny) / ny / (2 * surface.spacing))[:, None]
    cycles = np.hypot(*along)
    cycles[0, 0] = 1e-12
    read = 1.0
    for one, least in zip(along, shortest, strict=True):
        if least > waves[0]:
            read = read * np.exp(-((np.log2(np.maximum(one * least, 1.0)) / BAND_OCTAVES) ** 2) / 2)
    seen = contrast_sensitivity(cycles_per_degree(waves, distance), eye) / eye.times
    for wave, sensitivity in zip(waves, seen, strict=True):
        yield sensitivity * read * np.exp(-((np.log2(cycles * wave) / BAND_OCTAVES) ** 2) / 2)


def strength_weights(
    places: NDArray[np.int64], surface: Surface, light: Light, distance: float, eye: Eye, waves: Floats
) -> Floats:
    """Weights [m, ny, nx] on the heights with which they make :func:`strengths` at some places.

    ``places`` [m, 3]: number of the band, row and column; what a light shows is linear in the heights.
    """
    ny, nx = surface.height.shape
    behind = _beyond(surface)
    one = np.zeros((len(places), *(sum(beyond) + n for beyond, n in zip(behind, (ny, nx), strict=True))))
    one[np.arange(len(places)), places[:, 1] + behind[0][0], places[:, 2] + behind[1][0]] = 1.0
    parts = dctn(one, axes=(1, 2), norm="ortho")
    for k, band in enumerate(_filters(surface, distance, eye, waves)):
        parts[places[:, 0] == k] *= band
    onto = idctn(parts, axes=(1, 2), norm="ortho")
    # what is carried on past an edge is the edge's own
    for axis, (before, after), size in ((1, behind[0], ny), (2, behind[1], nx)):
        ends = np.clip(np.arange(before + size + after) - before, 0, size - 1)
        onto = np.add.reduceat(onto, np.searchsorted(ends, np.arange(size)), axis=axis)
    along_x, along_y = slopes(surface.height, surface.spacing)
    known = np.isfinite(along_x) & np.isfinite(along_y)
    if not known.all():
        near = distance_transform_edt(~known, return_distances=False, return_indices=True)
        gathered = np.zeros((ny * nx, len(places)))
        np.add.at(gathered, np.ravel_multi_index(near, (ny, nx)).ravel(), onto.reshape(len(places), ny * nx).T)
        onto = gathered.T.reshape(len(places), ny, nx)
    x, y, out = light.field(surface).toward
    return slope_weights(-onto * x / out, -onto * y / out, surface.inside, surface.spacing)


def _contrast(stack: Floats, surface: Surface, light: Light) -> Floats:
    """[n, ny, nx] contrast to first order in the slopes, blank places filled with what is nearest."""
    along_x, along_y = slopes(stack, surface.spacing)
    x, y, out = light.field(surface).toward
    contrast = -(along_x * x + along_y * y) / out
    known = np.isfinite(contrast).all(axis=0)
    if not known.any():
        raise MeasureError("the surface has no slopes", expected="neighboring places with heights along x and y")
    if not known.all():
        near = distance_transform_edt(~known, return_distances=False, return_indices=True)
        contrast = contrast[:, near[0], near[1]]
    return np.asarray(contrast)


def shown(
    stack: Floats,
    surface: Surface,
    light: Light,
    distance: float,
    *,
    eye: Eye | None = None,
    shortest: float | tuple[float, float] = 0.0,
    confidence: float = CONFIDENCE,
) -> Shown:
    """What a light shows of surfaces.

    Parameters
    ----------
    stack : [n, ny, nx] mm, surfaces that the readings allow
    surface : whose lattice they are on
    light : where it comes from
    distance : of the eye from the surface [mm]
    eye : who looks
    shortest : the shortest wave that the readings show [mm]; or one along x and one along y, each of which counts
    confidence : part of the surfaces that must show a place alike for it to be proved
    """
    check_distance(distance)
    each = shortest if isinstance(shortest, tuple) else (0.0, 0.0)
    eye, waves = eye or Eye(), wavelengths(surface, min(each) if isinstance(shortest, tuple) else shortest)
    inside = np.asarray(np.isfinite(stack).all(axis=0))
    places = np.argwhere(inside)
    few = math.floor((1 - confidence) * (len(stack) - 1) + 1e-9)
    times, proved, likeliest = np.empty((len(stack), len(waves))), 0.0, 0.0
    at, wave = places[0], float(waves[0])
    for k, strength in enumerate(strengths(stack, surface, light, distance, eye, waves, each)):
        strength = strength[:, inside]
        times[:, k] = np.abs(strength).max(axis=1)
        mean = np.abs(strength.mean(axis=0))
        # what most surfaces pass their mean passes as well
        some = np.flatnonzero(mean > proved)
        if not len(some):
            continue
        low, high = np.partition(strength[:, some].T, (few, len(stack) - 1 - few))[:, [few, len(stack) - 1 - few]].T
        alike = np.maximum(low, -high)
        if alike.max() > proved:
            proved, at, wave = float(alike.max()), places[some[alike.argmax()]], float(waves[k])
        elif proved == 0 and mean.max() > likeliest:
            likeliest, at, wave = float(mean.max()), places[mean.argmax()], float(waves[k])
    place = float(surface.x[at[1]]), float(surface.y[at[0]])
    return Shown(wavelengths=waves, times=times, proved=proved, at=place, wave=wave)


def angle_of(times: float) -> float:
    """The least angle [degrees] at which a light shows nothing, from what light at 45 degrees shows: as 1 / tan."""
    return math.degrees(math.atan(times))


def least_grazing_angle(
    surface: Surface | LikelySurface, heading: float, distance: float, *, eye: Eye | None = None
) -> float:
    """The least angle at which light from far away shows nothing of a surface.

    Parameters
    ----------
    surface : a surface, all of whose waves of five lattice steps or more count; or a likely surface, of whose best
        estimate those do that its stations show. How sure that is, a check against a limit of kind ``light`` says
    heading : from x toward y, the way the light travels [degrees]; light the other way shows the same
    distance : of the eye from the surface [mm]
    eye : who looks; None: at 60 trolands, and what is just seen counts

    Returns
    -------
    degrees above the surface, 0 of a plane

    Raises
    ------
    MeasureError : a surface shorter than the shortest wave that can be seen on it

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> wave = [[0.14 * math.sin(2 * math.pi * 25.4 * i / 406.4) for i in range(200)] for _ in range(30)]
    >>> round(least_grazing_angle(make_surface(wave, 25.4), 0, 1524))  # 16 in long, from 5 ft
    5
    """
    if isinstance(surface, Surface):
        lattice, shortest = surface, 0.0
    else:
        lattice, shortest = lattice_of(surface), _shortest(surface, heading)
    level = Daylight(angle=45, heading=heading)
    found = shown(lattice.height[None], lattice, level, distance, eye=eye, shortest=shortest)
    return angle_of(float(found.strongest[0]))


def least_distance(
    stack: Floats,
    surface: Surface,
    lamp: Lamp,
    distance: float,
    *,
    eye: Eye | None = None,
    shortest: float | tuple[float, float] = 0.0,
    confidence: float = CONFIDENCE,
    first: float = FIRST,
) -> tuple[float, float, Shown]:
    """How far off the surface a lamp must stand to show nothing, and how close it shows what is proved.

    Parameters as of :func:`shown`, and ``first`` [mm], the distance that is tried first.

    Returns
    -------
    safe : [mm] from which on so large a part of the surfaces shows nothing; infinite where 20 ft are too few
    shows : [mm] up to which a place is proved to show, 1/8 in at the least; 0 where none is
    what : what the lamp shows there
    """

    @cache
    def look(off: float) -> Shown:
        return shown(stack, surface, lamp(off), distance, eye=eye, shortest=shortest, confidence=confidence)

    def edge(times: Callable[[Shown], float]) -> float:
        """The distance at which it is once what counts as seen: it goes about with one over the distance."""
        off = first
        for _ in range(ROUNDS):
            there = min(max(off * times(look(off)), NEAREST), FARTHEST)
            if abs(there / off - 1) < CLOSE:
                break
            off = there
        return off

    safe, shows = edge(lambda found: found.most(confidence)), edge(lambda found: found.proved)
    what = look(shows)
    safe = safe if look(safe).most(confidence) < 1 + 2 * CLOSE else math.inf
    return safe, shows if what.proved > 1 - 2 * CLOSE else 0.0, what


def allowed_amplitudes(angle: float, distance: float, waves: Floats, eye: Eye | None = None) -> Floats:
    """The amplitude [bands] mm that a long wave along the light's heading may have before it shows.

    Half of what it measures from trough to crest. A sine of amplitude A and length L has the slope 2 pi A / L.

    Parameters
    ----------
    angle : of the light above the surface [degrees]
    distance : of the eye from the surface [mm]
    waves : [bands] their lengths [mm]

    Examples
    --------
    >>> round(2 * float(allowed_amplitudes(5, 1524, np.array([406.4]))[0]), 2)  # from trough to crest
    0.27
    """
    eye = eye or Eye()
    check_distance(distance)
    threshold = eye.times / contrast_sensitivity(cycles_per_degree(waves, distance), eye)
    return np.asarray(threshold * math.tan(math.radians(angle)) * waves / (2 * math.pi))


def wave_spectrum(
    surface: Surface | LikelySurface, along: str = "x", *, draws: int = 100, seed: int = 0
) -> pd.DataFrame:
    """The largest wave of each length along x or y.

    Parameters
    ----------
    surface : a surface, or a likely one: then waves shorter than two stations, which its readings cannot show, are left
        out, and the range is that of surfaces that the readings allow
    along : ``x`` or ``y``: slopes along it count

    Returns
    -------
    DataFrame, one row a band, six to an octave: ``wavelength_mm``; ``amplitude_mm``, where the wave is largest, the
        median over the surfaces; ``low_mm`` and ``high_mm``, the ends of its 95 % range
    """
    if along not in ("x", "y"):
        raise ArgumentError("unknown axis", column="along", value=str(along), expected="x or y")
    heading = 0.0 if along == "x" else 90.0
    if isinstance(surface, Surface):
        lattice, stack, shortest = surface, surface.height[None], 0.0
    else:
        lattice, stack, shortest = lattice_of(surface), surface.draw(draws, seed), _shortest(surface, heading)
    waves = wavelengths(lattice, shortest)
    inside = np.isfinite(stack).all(axis=0)
    light, eye = Daylight(angle=45, heading=heading), Eye()
    bands = strengths(stack, lattice, light, 1000.0, eye, waves)
    of_slope = contrast_sensitivity(cycles_per_degree(waves, 1000.0), eye) * 2 * math.pi / waves
    amplitude = np.stack([np.abs(band[:, inside]).max(axis=1) for band in bands]) / of_slope[:, None]
    low, middle, high = np.quantile(amplitude, (0.025, 0.5, 0.975), axis=1)
    return pd.DataFrame({"wavelength_mm": waves, "amplitude_mm": middle, "low_mm": low, "high_mm": high})


def shortest_wave(x: Floats, y: Floats, heading: float) -> float:
    """The shortest wave [mm] that stations at x, y [n] mm show to light of a heading [degrees]: two steps of theirs.

    Steps along whichever of x and y the light runs more along: lines of close readings count for what they are.
    """
    axes = grid_axes(x, y)
    if axes is None:
        area = float(np.ptp(x) * np.ptp(y))
        return 2 * math.sqrt(area / len(x))
    along_x = abs(math.cos(math.radians(heading))) >= abs(math.sin(math.radians(heading)))
    return 2 * float(np.median(np.diff(axes[0 if along_x else 1])))


def _shortest(likely: LikelySurface, heading: float) -> float:
    return shortest_wave(likely.fit.stations.x, likely.fit.stations.y, heading)


def check_distance(distance: float) -> None:
    """Refuse an eye at no distance."""
    if not NEAREST_EYE <= distance < math.inf:
        expected = f"{NEAREST_EYE:g} mm or more"
        raise ArgumentError("an eye at no distance", column="distance", value=f"{distance:g} mm", expected=expected)


def lattice_of(likely: LikelySurface) -> Surface:
    """The best estimate as a surface."""
    return Surface(x=likely.x, y=likely.y, height=likely.mean, spacing=likely.spacing, reference=likely.reference)
