"""What windows and lamps show of a surface that was read: from which angle or distance on nothing, and where first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.light.eye import Eye
from flatness.light.lamps import SIDES, Daylight, Lamp, Row, Strip
from flatness.light.waves import (
    CONFIDENCE,
    FIRST,
    LEAST_NODES,
    allowed_amplitudes,
    angle_of,
    check_distance,
    lattice_of,
    least_distance,
    shortest_wave,
    shown,
)
from flatness.measures.planes import fit_surface_plane
from flatness.surface.lattice import MOST_DRAWN, Surface, default_spacing
from flatness.surface.likely import LikelySurface, likely_surface
from flatness.survey.readings import Survey

EYE_MM = 1524.0  # 5 ft; common practice, no source
EVERY_MM = 1219.2  # 4 ft from lamp to lamp; common practice, no source
WINDOW, STRIP, ROW = "window", "strip", "row"
SHOWS, NOTHING, UNKNOWN = "shows", "does not show", "not known"
LINE_MM = 25.4  # readings no farther apart than this across are one line
ENDS = {"x": ("left", "right"), "y": ("bottom", "top")}
ACROSS = {"left": "x", "right": "x", "bottom": "y", "top": "y"}


@dataclass(frozen=True, kw_only=True)
class LightFinding:
    """What one light shows.

    Attributes
    ----------
    kind : ``window``, ``strip`` (a line of light along a side) or ``row`` (of lamps along a side)
    along : ``x`` or ``y``, the way its light runs over the surface
    side : that it stands along; empty of a window
    safe : from which on it shows nothing: degrees of a window, mm off the surface of a lamp; infinite where no distance
        up to 20 ft will do
    shows : up to which the readings prove that it shows something; 0 where they prove nothing
    at : x, y [mm] of what it shows first; where nothing is proved, of what is likeliest to show
    wave : length of the wave there that counts most [mm]
    shortest : the shortest wave along its light that the readings show [mm]; lamps show those across it as well
    given : where it is, as it was given; None where not
    """

    kind: str
    along: str
    side: str
    safe: float
    shows: float
    at: tuple[float, float]
    wave: float
    shortest: float
    given: float | None = None

    @property
    def answer(self) -> str | None:
        """``shows``, ``does not show`` or ``not known``, of the light where it is; None where nobody said."""
        if self.given is None:
            return None
        if self.given >= self.safe:
            return NOTHING
        return SHOWS if self.given <= self.shows else UNKNOWN


@dataclass(frozen=True, eq=False, kw_only=True)
class LightFindings:
    """What lights show of a surface.

    Attributes
    ----------
    survey, likely : what was read, and the surface that it makes likely
    lights : what each light shows
    distance : of the eye [mm]
    eye : who looks
    every : from lamp to lamp in a row [mm]
    spectra : along ``x`` and ``y``, as far as they were read: [bands] mm, and how many times as strong as what is seen
        they are in light at 45 degrees [3, bands], the median and 95 % range over surfaces that the readings allow
    waves_along : ``x`` or ``y``, the way of the window's light that shows most
    draws, seed, confidence : of these
    """

    survey: Survey
    likely: LikelySurface
    lights: tuple[LightFinding, ...]
    distance: float
    eye: Eye
    every: float
    spectra: Mapping[str, tuple[Floats, Floats]]
    waves_along: str
    draws: int
    seed: int
    confidence: float

    @property
    def surface(self) -> Surface:
        """The best estimate."""
        return lattice_of(self.likely)

    @property
    def answer(self) -> str | None:
        """Of all lights that were given: ``shows`` if one does, else ``not known`` if of one it is not."""
        found = {one.answer for one in self.lights} - {None}
        return next((word for word in (SHOWS, UNKNOWN, NOTHING) if word in found), None)

    def allowed(self, angle: float, waves: Floats) -> Floats:
        """Amplitude [bands] mm that waves may have in light from a window at an angle [degrees]."""
        return allowed_amplitudes(angle, self.distance, waves, self.eye)

    @property
    def waves(self) -> Floats:
        """[bands] mm, of the window's light that shows most."""
        return self.spectra[self.waves_along][0]

    def here(self, wave: float, along: str | None = None, within: float = 0.5) -> Floats | None:
        """Median and 95 % range [3] mm of the amplitude of the band nearest to a wave; None past so many octaves."""
        waves, times = self.spectra[along or self.waves_along]
        apart = np.abs(np.log2(waves / wave))
        near = int(apart.argmin())
        if apart[near] > within:
            return None
        return np.asarray(times[:, near] * self.allowed(45.0, waves[near : near + 1])[0])


def what_light_shows(
    survey: Survey,
    *,
    distance: float = EYE_MM,
    eye: Eye | None = None,
    along: Sequence[str] | None = None,
    sides: Sequence[str] | None = None,
    angle: float | None = None,
    off: float | None = None,
    every: float = EVERY_MM,
    draws: int = 60,
    seed: int = 0,
    confidence: float = CONFIDENCE,
) -> LightFindings:
    """What windows and lamps show of a surface that was read.

    Parameters
    ----------
    survey : the readings
    distance : of the eye [mm]
    eye : who looks; None: in a room that is not bright, and what is just seen counts
    along : ways that light from a window runs, of ``x`` and ``y``; None: x on a wall, both on a floor or ceiling
    sides : along which lamps stand; None: the top of a wall, all sides of a floor or ceiling
    angle : of the window's light above the surface [degrees], where it is known
    off : how far lamps stand off the surface [mm], where it is known
    every : from lamp to lamp in a row [mm]
    draws, seed : surfaces that the readings allow
    confidence : part of them by which something is said to show or not to

    Raises
    ------
    ArgumentError : an unknown axis or side, a number out of range
    MeasureError : stations too few, or a surface shorter than the shortest wave that they show
    """
    check_distance(distance)
    wall, line = survey.surface == "wall", line_of(survey)
    ways = tuple(along or line or (("x",) if wall else ("x", "y")))
    stand = tuple(sides or (ENDS[line] if line else ("top",) if wall else SIDES))
    for name, given, known in (("along", ways, ("x", "y")), ("sides", stand, SIDES)):
        if not set(given) <= set(known):
            raise ArgumentError("unknown", column=name, value=", ".join(given), expected=", ".join(known))
    if line and not {*ways, *(ACROSS[side] for side in stand)} <= {line}:
        raise ArgumentError(
            "one line of readings shows nothing of waves across it",
            column="along",
            expected=f"light along {line}, or lamps at its ends: {', '.join(ENDS[line])}",
            remedy="read a second line beside it",
        )
    if not 0.5 <= confidence < 1:
        raise ArgumentError("confidence out of range", value=str(confidence), expected="0.5 to under 1")
    if angle is not None:
        Daylight(angle=angle)
    Row(side="top", off=100.0 if off is None else off, spacing=every)
    eye = eye or Eye()
    read = _widened(survey, line) if line else survey
    x, y, _, _ = read.stations()
    shortest = {way: shortest_wave(x, y, 0.0 if way == "x" else 90.0) for way in "xy"}
    likely = likely_surface(read, light_spacing(read, min(shortest.values())))
    lattice, stack = lattice_of(likely), likely.draw(draws, seed)
    # lamps stand off the wall as it leans
    stack = stack - fit_surface_plane(lattice).at(*np.meshgrid(lattice.x, lattice.y))
    lights: list[LightFinding] = []
    spectra: dict[str, tuple[Floats, Floats]] = {}
    for way in (*ways, *(way for way in ("" if line else "xy") if way not in ways)):
        light = Daylight(angle=45, heading=0.0 if way == "x" else 90.0)
        try:
            found = shown(stack, lattice, light, distance, eye=eye, shortest=shortest[way], confidence=confidence)
        except MeasureError:  # too few stations the other way
            if way in ways:
                raise
            continue
        one = LightFinding(
            kind=WINDOW,
            along=way,
            side="",
            safe=angle_of(found.most(confidence)),
            shows=angle_of(found.proved),
            at=found.at,
            wave=found.wave,
            shortest=float(found.wavelengths[0]),
            given=angle,
        )
        spectra[way] = found.wavelengths, np.quantile(found.times, (0.5, 0.025, 0.975), axis=0)
        lights += [one] if way in ways else []
    waves_along = max(lights, key=lambda one: one.safe).along
    for side in stand:
        near = FIRST
        for kind in (STRIP, ROW):
            way = ACROSS[side]
            safe, shows, what = least_distance(
                stack,
                lattice,
                _lamp(kind, side, every),
                distance,
                eye=eye,
                shortest=(shortest["x"], shortest["y"]),
                confidence=confidence,
                first=near,
            )
            near = safe if math.isfinite(safe) else near
            lights.append(
                LightFinding(
                    kind=kind,
                    along=way,
                    side=side,
                    safe=safe,
                    shows=shows,
                    at=what.at,
                    wave=what.wave,
                    shortest=max(shortest[way], float(what.wavelengths[0])),
                    given=off,
                )
            )
    return LightFindings(
        survey=survey,
        likely=likely,
        lights=tuple(lights),
        distance=distance,
        eye=eye,
        every=every,
        spectra=spectra,
        waves_along=waves_along,
        draws=draws,
        seed=seed,
        confidence=confidence,
    )


def line_of(survey: Survey) -> str:
    """``x`` or ``y``, along which the readings stand on one line; empty where they stand on more than one."""
    x, y, _, _ = survey.stations()
    return next((way for way, across in (("x", y), ("y", x)) if np.ptp(across) <= LINE_MM), "")


def _widened(survey: Survey, line: str) -> Survey:
    """A line of readings as a strip: itself to either side too, three readings that say as much as one."""
    along, across = ("x", "y") if line == "x" else ("y", "x")
    step = float(np.median(np.diff(np.unique(survey.points[along]))))
    beside = [survey.points.assign(**{across: survey.points[across].mean() + k * step}) for k in (-1, 0, 1)]
    accuracy = None if survey.accuracy is None else survey.accuracy * math.sqrt(3)
    points = pd.concat(beside, ignore_index=True)
    return replace(survey, points=points, accuracy=accuracy, outline=None, openings=(), framing=None)


def _lamp(kind: str, side: str, every: float) -> Lamp:
    if kind == STRIP:
        return lambda off: Strip(side=side, off=off)
    return lambda off: Row(side=side, off=off, spacing=every)


def light_spacing(survey: Survey, shortest: float, spacing: float | None = None) -> float:
    """A lattice step [mm] fine enough for the shortest wave [mm], where that takes no more nodes than draws can bear.

    ``spacing`` [mm] is one that is fine enough for all else; None: the default.
    """
    spacing = default_spacing(survey) if spacing is None else spacing
    parts = math.ceil(spacing * LEAST_NODES / shortest - 1e-6)
    if parts <= 1:
        return spacing
    x, y, _, _ = survey.stations()
    while parts > 1 and (np.ptp(x) / (spacing / parts) + 1) * (np.ptp(y) / (spacing / parts) + 1) > MOST_DRAWN:
        parts -= 1
    return spacing / parts
