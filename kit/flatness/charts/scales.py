"""Steps, colours and printed numbers of the charts: every step edge is a length that a tape shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap, ListedColormap

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_choice
from flatness.lengths import format_length, settle

INCH = 25.4
FOOT = 304.8
MOST_STEPS = 6  # colours on one side of the reference that an eye still tells apart
UNITS = ("in", "mm")
_STEPS = {
    "in": [n * INCH for n in (1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024)],
    "mm": [m * 10.0**k for k in range(-1, 5) for m in (1, 2, 5)],
}
# Light in the middle; both arms stay light enough for dark text (4.5:1). In grey the low end is the darker.
_LOW = ("#e6eff7", "#9cc3e0", "#4f92c4")
_PROUD = ("#fdf1da", "#f8cf8b", "#eb9c3f")
_NEUTRAL = (0.955, 0.955, 0.945)
_GAP = ("#fbfaf8", "#e3dcec", "#c3b1d8", "#a283bd")


@dataclass(frozen=True, eq=False, kw_only=True)
class Scale:
    """The steps of a map and their colours.

    Attributes
    ----------
    edges : [n + 1] step edges [mm], rising
    colours : one colour a step
    norm : height or gap [mm] to step
    limit : the limit that lies on an edge [mm], or None
    unit : ``in`` or ``mm``
    even : whether all steps are equal; where not, they double beyond the limit
    """

    edges: Floats
    colours: ListedColormap
    norm: BoundaryNorm
    limit: float | None
    unit: str
    even: bool

    @property
    def step(self) -> float:
        """The step next to the reference [mm]."""
        return float(self.edges[self.edges > 0][0])

    def labels(self, signed: bool) -> list[str]:
        """What stands at each edge, as a tape reads it."""
        return [printed(edge, self.unit, 64, signed=signed) for edge in self.edges]


def check_unit(unit: str) -> str:
    """``in`` or ``mm``, or an :class:`~flatness.errors.ArgumentError`."""
    check_choice("unit", unit, UNITS, "unknown unit for a chart")
    return unit


def check_limit(limit: float | None, name: str) -> float | None:
    """A limit above zero [mm], or None."""
    if limit is not None and not (math.isfinite(limit) and limit > 0):
        raise ArgumentError(f"{name} out of range", value=str(limit), expected="millimetres above zero, or None")
    return None if limit is None else float(limit)


def step_edges(most: float, unit: str, limit: float | None = None, count: int = MOST_STEPS) -> Floats:
    """Step edges [mm] from 0 until they cover ``most`` [mm]; ``limit`` [mm] lies on one of them.

    Equal steps that a tape shows while ``count`` of them suffice; beyond that they double.

    Examples
    --------
    >>> (step_edges(7, "in", limit=4.7625) / 25.4).round(6).tolist()
    [0.0, 0.0625, 0.125, 0.1875, 0.25, 0.3125]
    """
    if limit is None:
        step = next((s for s in _STEPS[unit] if most <= count * s * (1 + 1e-9)), _STEPS[unit][-1])
        return _multiples(step, max(2, math.ceil(settle(most) / step - 1e-9)))
    parts = [k for k in (4, 3, 2) if _on_tape(limit / k, unit)] or [2]
    for k in [*parts, 1]:
        steps = max(k, math.ceil(settle(most) / limit * k - 1e-9))
        if steps <= max(count, k):
            return _multiples(limit / k, steps)
    doublings = math.ceil(math.log2(most / limit) - 1e-9)
    return np.array([0.0, 0.5 * limit, *(limit * 2.0**n for n in range(doublings + 1))])


def _multiples(step: float, count: int) -> Floats:
    return np.array([step * n for n in range(count + 1)], dtype=np.float64)


def height_step(extent: float, unit: str, most: int) -> float:
    """A step [mm] that a tape shows, for at most ``most`` ticks over ``extent`` [mm] of height."""
    return next((step for step in _STEPS[unit] if extent <= most * step), _STEPS[unit][-1])


def _on_tape(mm: float, unit: str) -> bool:
    parts = mm / INCH * 32 if unit == "in" else mm * 10
    return parts >= 1 - 1e-6 and abs(parts - round(parts)) < 1e-6


def deviation_scale(most: float, unit: str, limit: float | None = None) -> Scale:
    """Steps equally to both sides of the reference, low in blue, proud in orange."""
    half = step_edges(most, unit, limit)
    shades = _shades(_LOW, len(half) - 1)[::-1] + _shades(_PROUD, len(half) - 1)
    if settle(most) == 0:  # neither proud nor low
        n = len(half) - 1
        shades[n - 1 : n + 1] = [_NEUTRAL, _NEUTRAL]
    return _scale(np.concatenate([-half[:0:-1], half]), shades, limit, unit)


def gap_scale(most: float, unit: str, allowed: float | None = None) -> Scale:
    """Steps from no gap to the largest one, in ever darker violet."""
    edges = step_edges(most, unit, allowed, count=8)
    return _scale(edges, _shades(_GAP, len(edges) - 1), allowed, unit)


def _shades(anchors: Sequence[str], count: int) -> list[tuple[float, ...]]:
    ramp = LinearSegmentedColormap.from_list("ramp", list(anchors))
    # few steps stay pale: full colour is for what is several steps off
    return [tuple(float(c) for c in ramp(t)) for t in np.linspace(0, min(1.0, (count - 1) / 3), count)]


def _scale(edges: Floats, shades: list[tuple[float, ...]], limit: float | None, unit: str) -> Scale:
    steps = np.diff(edges)
    colours = ListedColormap(shades)
    norm = BoundaryNorm(edges.tolist(), len(shades))
    return Scale(
        edges=edges, colours=colours, norm=norm, limit=limit, unit=unit, even=bool(np.allclose(steps, steps[0]))
    )


def printed(mm: float, unit: str, fraction: int = 16, *, signed: bool = False) -> str:
    """A small length as a tape reads it, with a true minus sign and, if asked, a plus sign.

    >>> printed(4.7625, "in", signed=True)
    '+3/16"'
    """
    text = format_length(mm, unit, fraction)
    if text in ('0"', "0 mm"):
        return "0"
    return ("+" if signed and mm > 0 else "") + text.replace("-", "\N{MINUS SIGN}")


def printed_limit(mm: float, unit: str) -> str:
    """A limit, with the other unit beside it where it is a round number only there.

    >>> printed_limit(4.7625, "mm")
    '4.8 mm (3/16")'
    """
    other = "mm" if unit == "in" else "in"
    text = format_length(mm, unit, 64)
    exact = {"mm": abs(mm * 10 - round(mm * 10)) < 1e-6, "in": abs(mm / INCH * 64 - round(mm / INCH * 64)) < 1e-6}
    return f"{text} ({format_length(mm, other, 64)})" if not exact[unit] and exact[other] else text


def place_step(extent: float, unit: str, most: int = 10) -> float:
    """A step [mm] for ticks over ``extent`` [mm]: 6 in, whole feet, or 0.1 m and its round multiples."""
    if unit == "in":
        steps = [FOOT * n for n in (0.25, 0.5, 1, 2, 4, 5, 10, 20, 50, 100, 200, 500)]
    else:
        steps = [1000 * n for n in (0.05, 0.1, 0.25, 0.5, 1, 2, 5, 10, 20, 50, 100)]
    return next((step for step in steps if extent <= most * step), steps[-1])


def step_note(scale: Scale) -> str:
    """How large a colour step is, in words."""
    step = printed(scale.step, scale.unit, 64)
    if scale.limit is None:
        return f"Color step {step}."
    limit = f"the limit of {printed_limit(scale.limit, scale.unit)}"
    if not scale.even:
        return f"Color steps double beyond {limit}."
    share = ("", "half ", "a third of ", "a quarter of ")[round(scale.limit / scale.step) - 1]
    return f"Color step {step}, {share}{limit}."
