"""What a plan is asked for, checked before any work is done."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from flatness.corrections.least_work import Progress
from flatness.corrections.plan import WAYS
from flatness.corrections.seeking import STRATEGIES
from flatness.corrections.set_members import PLANES
from flatness.corrections.setting import SETTING_ERROR_MM
from flatness.corrections.target import SHIFTS, TILTS
from flatness.corrections.terms import FixedSpot
from flatness.errors import ArgumentError

SURFACES = ("likely", "as-read")


@dataclass(frozen=True)
class Asked:
    """Arguments of :func:`~flatness.corrections.planner.plan_corrections` that name a choice or a number."""

    strategy: str
    surface: str
    shift: str
    fixed: tuple[FixedSpot, ...]
    level_within: float | None
    height: float | None
    tilt: str
    aim: float | str
    confidence: float
    draws: int
    progress: Progress | None
    way: str | None = "patches"
    plane: str | None = None
    setting_error: float = SETTING_ERROR_MM
    keep_clear: float = 0.0


def check_asked(asked: Asked) -> None:
    """Check them, alone and against each other.

    Raises
    ------
    ArgumentError : one that is unknown, out of range, or without a meaning for the strategy
    """
    for name, value, known in (
        ("strategy", asked.strategy, STRATEGIES), ("surface", asked.surface, SURFACES),
        ("shift", asked.shift, SHIFTS), ("tilt", asked.tilt, TILTS), ("way", asked.way, (None, *WAYS)),
        ("plane", asked.plane, (None, "plumb", *PLANES)),
    ):  # fmt: skip
        if value not in known:
            raise ArgumentError(
                f"unknown {name}",
                column=name,
                value=str(value),
                remedy="name one of these",
                expected=", ".join(one for one in known if one is not None),
            )
    for spot in asked.fixed:
        if not isinstance(spot, FixedSpot):
            raise ArgumentError(
                "a fixed spot that cannot be read", column="fixed", value=str(spot), expected="FixedSpot(x, y, height)",
                remedy="give places and heights in millimetres as FixedSpot",
            )  # fmt: skip
    if asked.strategy in ("through-benchmarks", "fixed-spots") and not asked.fixed:
        raise ArgumentError(
            f"the strategy {asked.strategy} without any spots", column="fixed", value="none",
            expected="one fixed spot or more, with its place", remedy="give the spots, or take the best plane",
        )  # fmt: skip
    for name, what, number, strategy in (
        ("height", "a height", asked.height, "level"),
        ("level_within", "a band for level", asked.level_within, "least-work"),
    ):
        if number is None:
            continue
        if asked.strategy != strategy and not (name == "height" and asked.way in (None, "members", "overlay")):
            raise ArgumentError(
                f"{what} is for the strategy {strategy}", column=name, value=f"{number}, with {asked.strategy}",
                expected="nothing", remedy=f"leave it out, or take the strategy {strategy}",
            )  # fmt: skip
        _finite(name, number)
    for name, number in (("setting_error", asked.setting_error), ("keep_clear", asked.keep_clear)):
        if not _is_number(number) or not (math.isfinite(number) and number >= 0):
            raise ArgumentError(
                f"{name} out of range", column=name, value=str(number), expected="millimetres, 0 or more"
            )
    _check_aim(asked.aim)
    if not _is_number(asked.confidence) or not 0.5 <= asked.confidence < 1:
        raise ArgumentError(
            "confidence out of range", column="confidence", value=str(asked.confidence),
            expected="0.5 to under 1, such as 0.95", remedy="give it as a share, not in per cent",
        )  # fmt: skip
    if isinstance(asked.draws, bool) or not isinstance(asked.draws, (int, np.integer)) or asked.draws < 0:
        raise ArgumentError(
            "draws out of range", column="draws", value=str(asked.draws), expected="a whole number from 0",
            remedy="200 draws tell chances to about 2 %; 0 gives none",
        )  # fmt: skip
    if asked.aim == "sure" and not asked.draws:
        raise ArgumentError(
            "no chance is known without draws", column="aim", value="sure, without draws", expected="draws above 0",
            remedy="aim at a share such as 0.7, or draw",
        )  # fmt: skip


def _check_aim(aim: float | str) -> None:
    if aim == "sure" or (_is_number(aim) and 0 < float(aim) <= 1):
        return
    raise ArgumentError(
        "aim out of range", column="aim", value=str(aim), expected='over 0 up to 1, or "sure"',
        remedy="1 plans to the limit itself, 0.7 to 70 % of it",
    )  # fmt: skip


def _finite(name: str, value: Any) -> None:
    if not _is_number(value) or not math.isfinite(value):
        raise ArgumentError(
            f"{name} is not a finite number", column=name, value=str(value), expected="millimetres",
            remedy="read lengths as people write them with parse_length first",
        )  # fmt: skip


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
