"""What is written on a drawing, how wide it is, and what room it leaves."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from flatness.lengths import format_length

TYPE_MM = 3.53  # 10 points
FEW = 0.5  # of the patches may be too shallow for the rule on which the others are read


@dataclass
class Drawn:
    """What stands on one sheet, in mm of paper from its top left corner, y downward.

    Attributes
    ----------
    lines : ``[x1, y1, x2, y2, kind]``
    texts : ``[x, y, words, kind]``, each centred at its place
    across, up : (place, words) of the tape positions below and beside the drawing
    """

    lines: list[list[Any]] = field(default_factory=list)
    texts: list[list[Any]] = field(default_factory=list)
    across: list[list[Any]] = field(default_factory=list)
    up: list[list[Any]] = field(default_factory=list)
    _taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def put(self, x: float, y: float, words: str, kind: str) -> None:
        """A text at its place, whatever stands there."""
        self.texts.append([x, y, words, kind])
        self._taken.append(_box(x, y, words))

    def is_free(self, x: float, y: float, words: str, within: tuple[float, float]) -> bool:
        """Whether a text would stand clear of the others, on the sheet."""
        a, b, c, d = _box(x, y, words)
        if a < 0 or b < 0 or c > within[0] or d > within[1]:
            return False
        return not any(a < r and p < c and b < s and q < d for p, q, r, s in self._taken)


def text_size(words: str) -> tuple[float, float]:
    """About how wide and high a text in the papers' face is at 10 points [mm], rather too much than too little."""
    wide = sum(0.32 if c in " .,'′\"″/|()il" else 0.56 if c.isdigit() or c in "+−" else 0.68 for c in words)
    return wide * TYPE_MM, 0.75 * TYPE_MM


def _box(x: float, y: float, words: str) -> tuple[float, float, float, float]:
    wide, high = text_size(words)
    return x - wide / 2 - 0.3, y - high / 2 - 0.3, x + wide / 2 + 0.3, y + high / 2 + 0.3


def depth_text(mm: float, unit: str, fraction: int = 16, *, decimals: int = 0) -> str:
    """A depth as it is written on the plan: signed, inches and a fraction, or millimetres with so many decimals.

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
    """How closely depths are written: to a part of an inch, or in millimetres with so many decimals.

    >>> Rule("in").listed(-0.5), Rule("in").listed(0.0), Rule("in").listed(-3.2), Rule("mm", decimals=1).listed(0.02)
    ('under 1/16', '0', '−1/8', 'under 0.1')
    """

    unit: str
    fraction: int = 16
    decimals: int = 0

    def depth(self, mm: float) -> str:
        return depth_text(mm, self.unit, self.fraction, decimals=self.decimals)

    def listed(self, mm: float) -> str:
        """A depth; what is too little for the rule is not written as if it were nothing."""
        return self._told(mm, "under ")

    def short(self, mm: float) -> str:
        """As listed, for where there is little room."""
        return self._told(mm, "<")

    def _told(self, mm: float, under: str) -> str:
        text = self.depth(mm)
        return text if text != "0" or abs(mm) < 1e-6 else f"{under}{self._least()}"

    def says(self) -> str:
        if self.unit == "in":
            return f"inches, to the nearest {self._least()}"
        return "mm, to the nearest tenth" if self.decimals else "whole mm"

    def _least(self) -> str:
        return f"1/{self.fraction}" if self.unit == "in" else f"{10.0**-self.decimals:g}"


def rule_for(depths: Iterable[float], unit: str) -> Rule:
    """The coarsest usual rule on which few of these depths [mm] are nothing: 1/16, 1/32, 1/64 in; 1 mm, 0.1 mm."""
    rules = [Rule(unit, part) for part in (16, 32, 64)] if unit == "in" else [Rule(unit), Rule(unit, decimals=1)]
    seen = [mm for mm in depths if math.isfinite(mm) and mm]
    return next((rule for rule in rules if sum(rule.depth(mm) == "0" for mm in seen) <= FEW * len(seen)), rules[-1])


def tape(mm: float, unit: str) -> str:
    """A position as a tape reads it, short: ``12' 6"``, ``1.2 m``."""
    text = format_length(mm, "ft" if unit == "in" else "m", 8)
    return "0" if text in ('0"', "0 m") else text.removesuffix(' 0"').replace("-", "−")
