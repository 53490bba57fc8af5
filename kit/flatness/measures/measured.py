"""The record that every measure gives back: a number, where it was found, and what rests where."""

from __future__ import annotations

from dataclasses import dataclass

Place = tuple[float, float]


@dataclass(frozen=True)
class Measured:
    """One measure of a surface.

    Attributes
    ----------
    value : the number; mm unless the measure is a ratio or an F-number
    at : (x, y) [mm] where it was found, or None where it belongs to no place
    contacts : (x, y) [mm] of the points it rests on or compares, in order along the line
    note : what the reader of the number must know
    """

    value: float
    at: Place | None = None
    contacts: tuple[Place, ...] = ()
    note: str = ""
