"""What is written on a drawing, how wide it is, and what room it leaves."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.ft2font import FT2Font
from shapely.geometry.base import BaseGeometry

from flatness.lengths import format_length

POINT_MM = 25.4 / 72
CLEAR = 0.4  # kept free around every text [mm]
DISC = 6.4  # across the disc that holds a place's number [mm]
# size [points] and weight of each kind of text; the template takes them from here
TYPE: dict[str, tuple[float, bool]] = {
    "reading": (9.5, True), "small": (8.0, False), "strong": (8.0, True), "extreme": (8.0, True),
    "member": (8.0, True), "spot": (8.0, True), "match": (8.0, False), "place": (9.5, True),
}  # fmt: skip


@dataclass
class Drawn:
    """What stands on one sheet, in mm of paper from its top left corner, y downward.

    Attributes
    ----------
    size : width and height of the sheet's drawing
    lines : ``[x1, y1, x2, y2, kind]``
    areas : ``[[[x, y], ...], kind]``
    signs : ``[x, y, kind]``: corner, dot, spot, origin
    texts : ``[x, y, words, kind]``, each centered at its place
    across, up : (place, words) of the tape positions below and beside the drawing
    labeled : numbers of the heights that are written
    """

    size: tuple[float, float]
    lines: list[list[Any]] = field(default_factory=list)
    areas: list[list[Any]] = field(default_factory=list)
    signs: list[list[Any]] = field(default_factory=list)
    texts: list[list[Any]] = field(default_factory=list)
    across: list[list[Any]] = field(default_factory=list)
    up: list[list[Any]] = field(default_factory=list)
    labeled: set[int] = field(default_factory=set)
    _taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    _kept: list[BaseGeometry] = field(default_factory=list)

    def put(self, x: float, y: float, words: str, kind: str) -> None:
        """A text at its place, whatever stands there."""
        self.texts.append([x, y, words, kind])
        self._taken.append(text_box(x, y, words, kind))

    def sign(self, x: float, y: float, kind: str, reach: float) -> None:
        """A sign, from whose middle texts keep so far away [mm]."""
        self.signs.append([x, y, kind])
        self._taken.append((x - reach, y - reach, x + reach, y + reach))

    def keep_clear(self, geometry: BaseGeometry) -> None:
        """A line that no text is to cross."""
        if not geometry.is_empty:
            shapely.prepare(geometry)
            self._kept.append(geometry)

    def is_free(self, x: float, y: float, words: str, kind: str) -> bool:
        """Whether a text would stand clear of the others and of the lines, on the sheet."""
        a, b, c, d = text_box(x, y, words, kind)
        if a < 0 or b < 0 or c > self.size[0] or d > self.size[1]:
            return False
        taken = np.array(self._taken, dtype=np.float64).reshape(-1, 4)
        if ((a < taken[:, 2]) & (taken[:, 0] < c) & (b < taken[:, 3]) & (taken[:, 1] < d)).any():
            return False
        here = shapely.box(a, b, c, d)
        return not any(line.intersects(here) for line in self._kept)


@cache
def _font(bold: bool) -> FT2Font:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FT2Font(str(Path(mpl.get_data_path()) / "fonts" / "ttf" / name))


@cache
def text_size(words: str, kind: str) -> tuple[float, float]:
    """Width and height of the capitals [mm] of a text of this kind, in the face that it is printed in."""
    size, bold = TYPE[kind]
    font = _font(bold)
    font.set_size(100, 72)
    font.set_text(words.partition(" ")[2] if kind == "place" else words)
    wide = font.get_width_height()[0] / 64 / 100 * size * POINT_MM
    return (wide + DISC + 1.8, DISC) if kind == "place" else (wide, 0.75 * size * POINT_MM)


def text_box(x: float, y: float, words: str, kind: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom [mm] of what a text takes up."""
    wide, high = text_size(words, kind)
    return x - wide / 2 - CLEAR, y - high / 2 - CLEAR, x + wide / 2 + CLEAR, y + high / 2 + CLEAR


def depth_text(mm: float, unit: str, fraction: int = 16, *, decimals: int = 0) -> str:
    """A depth as it is written on a plan: signed, inches and a fraction, or millimetres with so many decimals.

    >>> depth_text(-4.77, "in"), depth_text(30.2, "in"), depth_text(0.2, "in"), depth_text(-4.77, "mm")
    ('−3/16', '+1 3/16', '0', '−5')
    >>> depth_text(-4.77, "mm", decimals=1), depth_text(3.02, "mm", decimals=1)
    ('−4.8', '+3')
    """
    if unit == "in":
        text = format_length(abs(mm), "in", fraction).removesuffix('"')
    else:
        text = f"{math.floor(abs(mm) * 10**decimals + 0.5) / 10**decimals:g}"
    return text if text == "0" else f"{'−' if mm < 0 else '+'}{text}"


@dataclass(frozen=True)
class Rule:
    """How closely lengths are written: to a part of an inch, or in half millimetres.

    >>> rule = Rule("in")
    >>> rule.change(-4.77), rule.reading(1047.75), rule.named(4.77), Rule("mm").change(3.3), Rule("mm").reading(-1.2)
    ('−3/16', '41 1/4', '3/16 in', '+3.5', '−1')
    """

    unit: str
    fraction: int = 32

    def change(self, mm: float) -> str:
        """With its sign, adding positive."""
        if self.unit == "in":
            return depth_text(mm, "in", self.fraction)
        return depth_text(math.floor(2 * abs(mm) + 0.5) / 2 * math.copysign(1, mm), "mm", decimals=1)

    def reading(self, mm: float) -> str:
        """With a sign only below zero."""
        return self.change(mm).removeprefix("+")

    def at_most(self, mm: float) -> str:
        """What is allowed, with its unit: rounded down, so that nobody allows more.

        >>> Rule("mm").at_most(4.7625), Rule("in").at_most(4.7625), Rule("in").at_most(3.0)
        ('4.5 mm', '3/16 in', '3/32 in')
        """
        step = 25.4 / self.fraction if self.unit == "in" else 0.5
        return self.named(step * math.floor(mm / step + 1e-6))

    def named(self, mm: float) -> str:
        """With its unit, and what is too little for the rule not written as if it were nothing."""
        text = self.reading(mm)
        if text == "0" and abs(mm) > 1e-6:
            text = f"under {f'1/{self.fraction}' if self.unit == 'in' else '0.5'}"
        return f"{text} {self.unit}"


def tape(mm: float, unit: str) -> str:
    """A position as a tape reads it, short: ``12' 6"``, ``1.2 m``."""
    text = format_length(mm, "ft" if unit == "in" else "m", 8)
    return "0" if text in ('0"', "0 m") else text.removesuffix(' 0"').replace("-", "−")
