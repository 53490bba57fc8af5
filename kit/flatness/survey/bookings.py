"""A level book: back sights and fore sights reduced to heights, as they are booked in the field."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from flatness.errors import ArgumentError


def book_levels(back: ArrayLike, fore: ArrayLike, start: float = 0.0, points: Sequence[str] = ()) -> pd.DataFrame:
    """Heights along a line of levels, by rise and fall and by height of instrument alike.

    Each set-up looks back to a point of known height and fore to the next one. Both ways of booking give the
    same heights: instrument = height + back sight, next height = instrument - fore sight.

    Parameters
    ----------
    back : back sight of each set-up [mm]
    fore : fore sight of each set-up [mm]
    start : height of the first point [mm]
    points : names of the points, one more than set-ups; without them ``1``, ``2``, ...; a line that closes on
        its first mark ends with its name

    Returns
    -------
    DataFrame, one row a set-up: ``from``, ``to``, ``back``, ``fore``, ``rise``, ``fall``, ``instrument`` (its line
    of sight), ``height`` (of ``to``) and ``difference`` (``to`` minus ``from``) [mm]; as it stands it can be given to
    :func:`~flatness.survey.levelling.adjust_levels`

    Raises
    ------
    ArgumentError : unequal numbers of sights, sights that are no numbers, names that do not match

    Examples
    --------
    >>> book_levels([1200, 1500], [1700, 900], start=5000)["height"].tolist()
    [4500.0, 5100.0]
    """
    backs, fores = (np.asarray(sights, dtype=np.float64).ravel() for sights in (back, fore))
    if len(backs) != len(fores) or not len(backs):
        raise ArgumentError(
            "every set-up has one back sight and one fore sight", value=f"{len(backs)} back, {len(fores)} fore",
            expected="as many back sights as fore sights", remedy="look for the sight that was not booked",
        )  # fmt: skip
    for name, sights in (("back", backs), ("fore", fores)):
        if not np.isfinite(sights).all():
            at = int(np.flatnonzero(~np.isfinite(sights))[0])
            raise ArgumentError(
                f"{name} sight {at + 1} is not a number", value=str(sights[at]), expected="millimetres",
                remedy="fill it in, or leave out its set-up and book the two parts apart",
            )  # fmt: skip
    if not math.isfinite(start):
        raise ArgumentError("the starting height is not a number", value=str(start), expected="millimetres")
    names = [str(k + 1) for k in range(len(backs) + 1)] if len(points) == 0 else list(points)
    if len(names) != len(backs) + 1:
        raise ArgumentError(
            f"{len(names)} points for {len(backs)} set-ups", expected="one more point than set-ups",
            remedy="name the first point, each turning point and the last point",
        )  # fmt: skip
    difference = backs - fores
    after = start + np.cumsum(difference)
    return pd.DataFrame({
        "from": names[:-1], "to": names[1:], "back": backs, "fore": fores,
        "rise": np.maximum(difference, 0.0), "fall": np.maximum(-difference, 0.0),
        "instrument": after + fores, "height": after, "difference": difference,
    })  # fmt: skip
