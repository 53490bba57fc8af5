"""How readings became heights, where the change is greatest, and what lies outside the plan, in words and lengths."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from typing import Any

from flatness.comparison.against_plan import OVER, SHORT, UNSEEN, UNTOLD, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.comparison.suspects import extremes, suspects
from flatness.lengths import FRACTIONS, format_length
from flatness.show.done_words import area
from flatness.show.words import percent, place
from flatness.survey.readings import Survey


def small(mm: float, unit: str, *, sign: bool = False) -> str:
    """What an instrument shows and a tape does not: thousandths of an inch, hundredths of a millimetre."""
    if not math.isfinite(mm):
        return "-"
    plus = "+" if sign else ""
    return f'{mm / 25.4:{plus}.3f}"' if unit == "in" else f"{mm:{plus}.2f} mm"


def fine(mm: float, unit: str) -> str:
    """A length to a 64th of an inch or a tenth of a millimetre, for errors; what is less is not told as none.

    >>> fine(0.5, "in"), fine(0.1, "in"), fine(0.0, "in"), fine(0.01, "mm")
    ('1/64"', 'under 1/64"', '0"', 'under 0.1 mm')
    """
    if math.isnan(mm):
        return "-"
    text = format_length(mm, unit, 64)
    if text not in ('0"', "0 mm") or abs(mm) < 1e-6:
        return text
    return 'under 1/64"' if unit == "in" else "under 0.1 mm"


def true_minus(text: str) -> str:
    """A text for paper, where a number below zero has the sign that is made for it.

    >>> true_minus("-1/8\\" at -0.5, 1-1/2 in, 2026-03-02")
    '−1/8" at −0.5, 1-1/2 in, 2026-03-02'
    """
    return re.sub(r"(^|[ (])-(?=\d)", r"\1−", text)


def signed(mm: float, unit: str) -> str:
    """A small length with its sign, as fine as it takes not to print a change as none.

    >>> signed(-7.01, "in"), signed(0.3, "in")
    ('-9/32"', '+1/64"')
    """
    if not math.isfinite(mm):
        return "-"
    if unit != "in":
        text = format_length(mm, unit)
    else:
        text = next((t for n in FRACTIONS[2:] if (t := format_length(mm, unit, n)) != '0"'), '0"')
    return f"+{text}" if mm > 0 and text not in ('0"', "0 mm") else text


def known_ties(survey: Survey) -> list[dict[Any, Any]]:
    """The readings of benchmarks whose height is known, one a row of ``ties``."""
    return [tie for tie in survey.ties.to_dict("records") if str(tie["label"]) in survey.benchmarks]


def heights_from(survey: Survey, unit: str) -> str:
    """What was added to the readings, or taken from what, to give heights; empty where they are heights as read."""
    sign = -1.0 if survey.quantity == "drop" else 1.0
    if survey.adjustment is not None and len(survey.adjustment.setups):
        each = [f"{name} {small(offset, unit)}" for name, offset in survey.adjustment.setups["offset"].items()]
        how = "a height is the line of its set-up less the drop" if sign < 0 else (
            "a height is the reading and what its set-up adds"
        )  # fmt: skip
        return f"{len(each)} set-ups, brought together by least squares: {how} ({', '.join(each)})"
    ties = known_ties(survey)
    if not ties:
        return ""
    constant = float(ties[0]["height"]) - sign * float(ties[0]["reading"])
    read = "its reading of a benchmark" if len(ties) == 1 else f"its {len(ties)} readings of benchmarks"
    fits = f"so that {read} {'gives' if len(ties) == 1 else 'give in the mean'} the known height"
    if sign < 0:
        return f"one set-up: a height is {small(constant, unit)} less the drop, {fits}"
    return f"one set-up: {small(constant, unit, sign=True)} was added to every reading, {fits}"


def greatest(found: Comparison, unit: str) -> Iterator[str]:
    """The greatest change each way, with its error and place, away from readings that may be slips, which follow."""
    for word, one, below in zip(("Most taken off", "Most added"), extremes(found, clear=True), (True, False),
                                strict=True):  # fmt: skip
        if one.shown and (one.difference < 0) == below:
            doubt = ", beside a reading that may be a slip" if one.is_suspect else ""
            yield (
                f"{word}: {signed(one.difference, unit)}, give or take {fine(one.error, unit)} (1 s.d.), at "
                f"{place((one.x, one.y), unit)}{doubt}."
            )
    for slip in suspects(*found.surveys):
        yield (
            f"Left out of these, since its reading may be a slip: {place((slip.x, slip.y), unit)} ({slip.day}, cell "
            f"{slip.cell}). Areas, volumes and verdicts still count it."
        )


def compared_share(found: Comparison) -> str:
    """How much of each survey was compared, as a sentence."""
    return (
        f"Compared is {percent(found.compared.before)} of what the survey before reached, and "
        f"{percent(found.compared.after)} of what the one after did."
    )


def outside_plan(row: Mapping[Any, Any], unit: str) -> str:
    """One row ``elsewhere`` of the table of done against planned, as a sentence."""
    done = float(row["done_mm"])
    size = signed(abs(done), unit).lstrip("+")
    return (
        f"Elsewhere {row['name']}: {size} {'taken off' if done < 0 else 'added'} in the mean over "
        f"{area(row['area_mm2'], unit)} about {place((row['x_mm'], row['y_mm']), unit)}, where nothing was planned."
    )


SIDES = {  # of a height toward the room: beyond what was to be set, and behind it
    "floor": ("too high", "too low"), "ceiling": ("too low", "too high"), "wall": ("too far out", "too far back"),
}  # fmt: skip


def off_words(row: Mapping[Any, Any], surface: str, unit: str) -> str:
    """Which station of a place is farthest off its height, by how much and which way: ``1/8" too high at ...``."""
    off = float(row["off_mm"])
    way = SIDES[surface][off < 0]
    return f"{signed(abs(off), unit).lstrip('+')} {way} at {place((row['worst_x_mm'], row['worst_y_mm']), unit)}"


def agree_words(row: Mapping[Any, Any]) -> str:
    """How many of a place's stations are within tolerance: ``12 of 16``; a dash where none stands in it."""
    return f"{row['agreeing']:.0f} of {row['stations']:.0f}" if row["stations"] > 0 else "-"


def to_do_again(found: Comparison, unit: str) -> list[str]:
    """What must be done again, worst first, and what cannot be told, in sentences; one says that there is nothing."""
    rows = [] if found.plan is None else [row for row in found.plan.to_dict("records") if row["what"] == "patch"]
    if not rows:
        return []
    surface = found.surveys[1].surface
    off = [row for row in rows if row["status"] in (SHORT, OVER, UNTOUCHED)]
    lines = [
        f"{row['name']}, {row['status']}: {off_words(row, surface, unit)}."
        for row in sorted(off, key=lambda row: -abs(row["off_mm"]))
    ]
    within = sum(row["status"] == WITHIN for row in rows)
    told = [f"To do again: {len(off) or 'none'} of {len(rows)} places; {within} within tolerance.", *lines]
    for status, why in (
        (UNTOLD, "what was read there would pass, but so would doing nothing"), (UNSEEN, "nothing was read there")
    ):  # fmt: skip
        names = [str(row["name"]) for row in rows if row["status"] == status]
        told += [f"Not known: {', '.join(names)} ({why})."] if names else []
    return told
