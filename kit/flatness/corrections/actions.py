"""What to do at each node: leave, plane, fill, sister (or fur on ceilings and walls), or ask the engineer.

Which of them depends on how deep, how long and how heavy it is and on what lies beneath. The numbers behind that are
:data:`THRESHOLDS`; none has a published source, and each may be set.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from flatness.corrections.beneath import Permitted
from flatness.corrections.plan import ACTIONS, OUTSIDE
from flatness.corrections.quantities import SET_BY_YOU, Quantities, Setting, quantities
from flatness.corrections.setting import CHANGED_MM
from flatness.corrections.volumes import node_areas
from flatness.errors import ArgumentError
from flatness.lengths import MM2_PER_FT2
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats

_NO_SOURCE = "common practice, no source"
THRESHOLDS: dict[str, Setting] = {
    setting.name: setting
    for setting in (
        Setting("deepest_fill", 12.7, "mm", f"fill no deeper than 1/2 in, framing beyond; {_NO_SOURCE}"),
        Setting("thin_fill", 6.35, "mm", f"up to 1/4 in is filled, however long, beside framing too; {_NO_SOURCE}"),
        Setting("longest_fill", 2438.4, "mm", f"a hollow deeper than thin_fill for over 8 ft is framed; {_NO_SOURCE}"),
        Setting("heaviest_fill", 100.0, "kg", f"heavier fill deeper than thin_fill is framed; {_NO_SOURCE}"),
        Setting("thinnest_fill", 25.4 / 16, "mm", f"fill that is all under 1/16 in deep does not hold; {_NO_SOURCE}"),
        Setting("thinnest_pour", 5.0, "mm", "a pour over all is nowhere thinner; quoted by its trade"),
        Setting("strapping", 19.05, "mm", f"3/4 in, the thickness of strapping over all; {_NO_SOURCE}"),
        Setting("deepest_plane", 3.175, "mm", f"1/8 in, where no deepest planing is given; {_NO_SOURCE}"),
        Setting("least_patch", MM2_PER_FT2, "mm2", f"1 ft2: smaller patches are left or joined; {_NO_SOURCE}"),
        Setting("least_depth", 25.4 / 64, "mm", f"1/64 in: shallower patches are left or joined; {_NO_SOURCE}"),
    )
}

# overhead and upright, compound is skimmed on in thin coats, and strapping or furring comes sooner than on a floor
SKIM_THRESHOLDS: dict[str, Setting] = THRESHOLDS | {
    setting.name: setting
    for setting in (
        Setting("deepest_fill", 6.35, "mm", f"skim no deeper than 1/4 in, strapping or furring beyond; {_NO_SOURCE}"),
        Setting("thinnest_fill", 25.4 / 32, "mm", f"a skim that is nowhere as deep as 1/32 in is none; {_NO_SOURCE}"),
        Setting("thin_fill", 3.175, "mm", f"up to 1/8 in is skimmed, however long; {_NO_SOURCE}"),
    )
}


def thresholds_of(kind: str = "floor", /, **values: float | None) -> dict[str, Setting]:
    """The thresholds of a ``floor``, ``ceiling`` or ``wall``, with the user's own values in place of defaults.

    None keeps the default.

    Raises
    ------
    ArgumentError : an unknown name, or a value that is not a number, 0 or more

    Examples
    --------
    >>> thresholds_of(deepest_fill=10)["deepest_fill"].source
    'set by you'
    >>> thresholds_of("ceiling")["deepest_fill"].value
    6.35
    """
    chosen = dict(THRESHOLDS if kind == "floor" else SKIM_THRESHOLDS)
    for name, value in values.items():
        if name not in THRESHOLDS:
            raise ArgumentError(
                "unknown argument", column=name, value=str(value), expected=", ".join(THRESHOLDS),
                remedy="check its spelling",
            )  # fmt: skip
        if value is None:
            continue
        known = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
        if not known or math.isnan(value) or value < 0:
            raise ArgumentError(
                f"{name} out of range", column=name, value=str(value), expected=f"{THRESHOLDS[name].unit}, 0 or more"
            )
        chosen[name] = Setting(name, float(value), THRESHOLDS[name].unit, SET_BY_YOU)
    if chosen["thin_fill"].value > chosen["deepest_fill"].value:
        # what may be filled is never deeper than what must be framed
        chosen["thin_fill"] = Setting("thin_fill", chosen["deepest_fill"].value, "mm", "no deeper than deepest_fill")
    return chosen


def assign_actions(
    surface: Surface, change: Floats, kind: str, permitted: Permitted, thresholds: Mapping[str, Setting],
    fill_density: float,
) -> NDArray[np.int8]:  # fmt: skip
    """The action at each node.

    Parameters
    ----------
    surface : as found
    change : [ny, nx] mm, adding positive
    kind : ``floor``, ``ceiling`` or ``wall``
    permitted : how deep anything may come off, and where there is something to frame on
    thresholds : from :func:`thresholds_of`
    fill_density : [kg/mm3]

    Returns
    -------
    [ny, nx] index into :data:`~flatness.corrections.plan.ACTIONS`; ``OUTSIDE`` where there is no surface
    """
    moved = np.where(np.isfinite(change), change, 0.0)
    actions = np.where(surface.inside, ACTIONS.index("leave"), OUTSIDE).astype(np.int8)
    down, up = moved < -CHANGED_MM, moved > CHANGED_MM
    deeper = -moved > permitted.cut + CHANGED_MM
    actions[down & ~deeper] = ACTIONS.index("plane")
    actions[down & deeper] = ACTIONS.index("engineer")
    actions[up] = ACTIONS.index("fill")
    # strapping is fixed to a slab overhead and to a masonry wall as well
    framable = up & (permitted.framed if kind == "floor" else np.ones_like(up))
    actions[_framed(surface, moved, framable, thresholds, fill_density)] = ACTIONS.index(framing_of(kind))
    return actions


def framing_of(kind: str) -> str:
    """How a surface is framed out to its target: a floor is sistered, a ceiling or wall furred."""
    return "sister" if kind == "floor" else "fur"


def _framed(
    surface: Surface, moved: Floats, framable: NDArray[np.bool_], thresholds: Mapping[str, Setting], density: float
) -> NDArray[np.bool_]:
    """Where what is added is too deep, too long or too heavy for fill."""
    limit = {name: setting.value for name, setting in thresholds.items()}
    thick = framable & (moved > limit["thin_fill"])
    deep = framable & (moved > limit["deepest_fill"])
    # a member laid in for the deepest part carries on until a thin fill will do
    framed = np.asarray(ndimage.binary_propagation(deep, mask=thick | deep), dtype=bool)
    mass = moved * node_areas(surface.inside, surface.spacing) * density
    labels, _ = ndimage.label(thick & ~framed)
    for number, box in enumerate(ndimage.find_objects(labels), 1):
        part = labels[box] == number
        reach = max(side.stop - side.start - 1 for side in box) * surface.spacing
        if reach > limit["longest_fill"] or float(mass[box][part].sum()) > limit["heaviest_fill"]:
            framed[box] |= part
    return framed


@dataclass(frozen=True)
class _Changed:
    surface: Surface
    change: Floats


def quantities_of(
    surface: Surface, change: Floats, actions: NDArray[np.int8], settings: Mapping[str, Setting]
) -> Quantities:  # fmt: skip
    """What a change takes, counted where its actions [ny, nx] fill and plane."""
    fill, plane = (np.asarray(actions == ACTIONS.index(name)) for name in ("fill", "plane"))
    return quantities(_Changed(surface, change), fill=fill, plane=plane, settings=settings)
