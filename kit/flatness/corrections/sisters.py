"""What a full-depth sister still laps, what may be taken down, and where a cut chord is blocked."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from flatness.corrections.members import STOCK_THICKNESS_MM, Members
from flatness.errors import ArgumentError
from flatness.lengths import settle
from flatness.survey.readings import Floats

BLOCKED_MM = 609.6  # about 2 ft either side of a cut chord; common practice, no source
NOTCH_SHARE = 1 / 6  # of the depth of a sawn joist: IRC R502.8.1, as quoted by others


def flange_laps(raised: Floats, depth: float, flange: float, sister_depth: float) -> tuple[Floats, Floats]:
    """Height of the top and of the bottom flange [mm] that a sister covers.

    Parameters
    ----------
    raised : [...] mm that the sister stands above the existing member; negative where it is below
    depth, flange : of the existing member [mm]
    sister_depth : of the sister [mm]

    Returns
    -------
    (top, bottom) : each [...] mm, 0 to ``flange``

    Examples
    --------
    >>> top, bottom = flange_laps(np.array([0.0, 12.0, 50.0]), 302, 38, 302)
    >>> top.tolist(), bottom.tolist()
    ([38.0, 38.0, 38.0], [38.0, 26.0, 0.0])
    """
    upper, lower = np.asarray(raised, dtype=np.float64), np.asarray(raised, dtype=np.float64) - sister_depth

    def lap(over: float, under: float) -> Floats:
        covered: Floats = np.clip(np.minimum(upper, over) - np.maximum(lower, under), 0.0, None)
        return covered

    return lap(0.0, -flange), lap(flange - depth, -depth)


def lap_words(raised: Floats, members: Members, sister_depth: float | None, least_lap: float | None) -> str:
    """Whether a sister raised so far still laps both flanges, in words; empty for kinds without flanges.

    ``raised`` [n] mm at the stations, blanks left out. Common practice, no source: a sister is of full depth
    and fastened along both chords, so it must lap both.
    """
    if not members.flanged or not len(raised):
        return ""
    if members.depth is None or members.flange is None:
        return "not known: give the depth and the flange thickness"
    deep = members.depth if sister_depth is None else sister_depth
    top, bottom = (float(lap.min()) for lap in flange_laps(raised, members.depth, members.flange, deep))
    name, least = ("top", top) if top < bottom else ("bottom", bottom)
    if settle(least) <= 0:
        return f"no: it misses the {name} flange"
    if least_lap is not None and settle(least) < settle(least_lap):
        return f"no: {least:.1f} mm of the {name} flange, {least_lap:g} mm wanted"
    if settle(least - members.flange) >= 0:
        return "both flanges whole"
    return f"part of the {name} flange: {least:.1f} mm of its {members.flange:g} mm; ask the maker whether it is enough"


def take_down_words(members: Members, stations: Floats, raised: Floats, start: float, end: float) -> str:
    """Whether what stands proud of the line may be taken down, in words; empty where nothing does.

    Parameters
    ----------
    members : what is to be taken down
    stations, raised : [n] mm along the member, rising, and mm that its line is above it there; below 0 where it
        stands proud; straight between stations
    start, end : of the member [mm], taken for its span

    Notes
    -----
    IRC R502.8.1 (as quoted by others): notches in sawn joists at most 1/6 of the depth, none in the middle third
    of the span. Its 1/4 at the very ends is left to the user. IRC R502.8.2: engineered members not at all.
    """
    most = settle(-float(raised.min()))
    if most <= 0:
        return ""
    if members.engineered:
        return "no: an engineered member; raise the line, or ask its maker or the engineer"
    if members.kind != "sawn joist":
        return "ask: no rule for this kind of member is known here"
    third = (end - start) / 3
    # what stands proud on either side of a third point reaches into the middle third
    bounds = np.clip([start + third, end - third], stations[0], stations[-1])
    middle = np.concatenate([bounds, stations[(stations > bounds[0]) & (stations < bounds[1])]])
    if settle(float(np.interp(middle, stations, raised).min())) < 0:
        return "no: in the middle third of the span"
    if members.depth is None:
        return "not known: give the depth"
    if most > settle(members.depth * NOTCH_SHARE):
        return "no: deeper than 1/6 of the depth"
    return "within 1/6 of the depth, outside the middle third; check what lies beneath and your code"


def blocking(members: Members, reach: dict[str, tuple[float, float]]) -> pd.DataFrame:
    """Where blocking goes beside cut chords: about 2 ft either side, as the maker confirms.

    Parameters
    ----------
    members : with ``cuts``
    reach : start and end [mm] of each member by name, beyond which there is nothing to block

    Returns
    -------
    DataFrame : ``member``, ``cut_at_mm``, ``from_mm``, ``to_mm`` along the member, one row a cut

    Raises
    ------
    ArgumentError : a cut beyond the ends of its member
    """
    rows = []
    for name, places in members.cuts.items():
        start, end = reach.get(name, (-math.inf, math.inf))
        for at in places:
            if not start <= at <= end:
                raise ArgumentError(
                    f"a cut beyond the ends of {name}", column="cuts", value=f"{at:g} mm",
                    expected=f"{start:g} mm to {end:g} mm", remedy="measure the cut along it, as its stations are",
                )  # fmt: skip
        rows += [(name, at, max(start, at - BLOCKED_MM), min(end, at + BLOCKED_MM)) for at in places]
    return pd.DataFrame(rows, columns=["member", "cut_at_mm", "from_mm", "to_mm"])


def sister_notes(members: Members, sister_thickness: float) -> Sequence[str]:
    """What to know of the sisters themselves."""
    notes = ["sisters: full depth, fastened along both chords or the whole depth; common practice, no source"]
    if settle(sister_thickness) < STOCK_THICKNESS_MM:
        notes.append(
            f"a sister {sister_thickness:g} mm thick gives a wood floor less bearing than one of 1-1/2 in (38.1 mm); "
            "common practice, no source"
        )
    if members.cuts:
        notes.append("cut chords: block about 2 ft either side, as the maker confirms; common practice, no source")
    return notes
