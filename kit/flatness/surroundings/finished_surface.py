"""The finished surface: as found, plus the planned change, plus the layers on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.notes import Note
from flatness.surface.lattice import Surface


class Planned(Protocol):
    """What the corrections need of a plan: the surface as found and the change planned."""

    @property
    def surface(self) -> Surface:
        """As found."""
        ...

    @property
    def change(self) -> Floats:
        """[ny, nx] mm, adding positive."""
        ...


@dataclass(frozen=True)
class Layer:
    """One layer of the build-up.

    Attributes
    ----------
    name : such as ``plywood`` or ``underlay``
    thickness : [mm]; negative for a covering that is taken up after the survey
    """

    name: str
    thickness: float


def build_up(layers: Sequence[Layer]) -> float:
    """Thickness of all layers [mm].

    >>> build_up([Layer("old covering, taken up", -12.7), Layer("plywood", 15.9), Layer("oak", 19.05)])
    22.25
    """
    for layer in layers:
        if not math.isfinite(layer.thickness):
            what = f"the thickness of the layer {layer.name} is not a finite number"
            raise ArgumentError(what, column="thickness", value=str(layer.thickness), expected="millimetres")
    return round(sum(float(layer.thickness) for layer in layers), 9)


def target_heights(plan: Planned) -> Floats:
    """[ny, nx] mm: surface plus change, NaN where there is no surface.

    Raises
    ------
    ArgumentError : a change whose shape is not the surface's, or that is blank where there is a surface
    """
    change = np.asarray(plan.change, dtype=np.float64)
    if change.shape != plan.surface.height.shape:
        what, expected = "the change does not lie on the surface's lattice", f"[ny, nx] = {plan.surface.height.shape}"
        raise ArgumentError(what, column="change", value=str(change.shape), expected=expected)
    if not np.isfinite(change[plan.surface.inside]).all():
        what, remedy = "the change is blank, or not finite, where there is a surface", "write 0 where nothing changes"
        raise ArgumentError(what, column="change", expected="millimetres at every node of the surface", remedy=remedy)
    heights: Floats = plan.surface.height + change
    return heights


def finished_surface(plan: Planned, layers: Sequence[Layer] = ()) -> Surface:
    """The Surface that stands when the plan is carried out and the layers are on it.

    Parameters
    ----------
    plan : anything with ``.surface`` (as found) and ``.change`` ([ny, nx] mm, adding positive)
    layers : what lies on it, each of even thickness
    """
    return replace(plan.surface, height=target_heights(plan) + build_up(layers))


def height_at(surface: Surface, x: float, y: float, name: str = "this place") -> float:
    """Height [mm] at (x, y) [mm], bilinear.

    Raises
    ------
    ArgumentError : no reading reaches there
    """
    height = float(surface.at(x, y)[0])
    if not math.isfinite(height):
        raise ArgumentError(
            f"no reading reaches {name}",
            column="x, y",
            value=Note("place", at=(x, y)),
            expected=Note(
                "place-with-readings",
                reach=Note("reach", x0=surface.x[0], x1=surface.x[-1], y0=surface.y[0], y1=surface.y[-1]),
            ),
            remedy="give its nearest place on the surface, or take readings there",
        )
    return height
