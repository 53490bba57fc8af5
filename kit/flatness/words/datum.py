"""How readings became heights, where the change is greatest, and what lies outside the plan, in words and lengths."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flatness.comparison.against_plan import OVER, SHORT, UNSEEN, UNTOLD, UNTOUCHED, WITHIN
from flatness.comparison.comparing import Comparison, extremes
from flatness.comparison.mistakes import suspects
from flatness.survey.readings import Survey
from flatness.words.printed import area, percent, place
from flatness.words.printed import fine as fine
from flatness.words.printed import signed as signed
from flatness.words.printed import small as small
from flatness.words.printed import true_minus as true_minus


def known_ties(survey: Survey) -> list[dict[Any, Any]]:
    """The readings of benchmarks whose height is known, one a row of ``ties``."""
    return [tie for tie in survey.ties.to_dict("records") if str(tie["label"]) in survey.benchmarks]


def heights_from(survey: Survey, unit: str) -> str:
    """What was added to the readings, or taken from what, to give heights; empty where they are heights as read."""
    sign = -1.0 if survey.quantity == "drop" else 1.0
    if survey.adjustment is not None and len(survey.adjustment.setups):
        each = [f"{name} {small(offset, unit)}" for name, offset in survey.adjustment.setups["offset"].items()]
        how = (
            "a height is the line of its set-up less the drop"
            if sign < 0
            else ("a height is the reading and what its set-up adds")
        )
        return f"{len(each)} set-ups, brought together by least squares: {how} ({', '.join(each)})"
    ties = known_ties(survey)
    if not ties:
        return ""
    constant = float(ties[0]["height"]) - sign * float(ties[0]["reading"])
    read = "its reading of a benchmark" if len(ties) == 1 else f"its {len(ties)} readings of benchmarks"
    fits = f"so that {read} {'gives' if len(ties) == 1 else 'average'} the known height"
    if sign < 0:
        return f"one set-up: a height is {small(constant, unit)} less the drop, {fits}"
    return f"one set-up: {small(constant, unit, sign=True)} was added to every reading, {fits}"


def greatest(found: Comparison, unit: str) -> Iterator[str]:
    """The greatest change each way, with its error and place, away from readings that may be slips, which follow."""
    for word, one, below in zip(
        ("Most taken off", "Most added"), extremes(found, clear=True), (True, False), strict=True
    ):
        if one.shown and (one.difference < 0) == below:
            doubt = ", beside a reading that may be a slip" if one.is_suspect else ""
            yield (
                f"{word}: {signed(one.difference, unit)}, give or take {fine(one.error, unit)} (1 s.d.), at "
                f"{place((one.x, one.y), unit, found.surveys[1])}{doubt}."
            )
    for slip in suspects(*found.surveys):
        yield (
            f"Left out of these, since its reading may be a slip: {place((slip.x, slip.y), unit, found.surveys[1])} "
            f"({slip.day}, cell "
            f"{slip.cell}). Areas, volumes and verdicts still count it."
        )


def compared_share(found: Comparison) -> str:
    """How much of each survey was compared, as a sentence."""
    return (
        f"Compared is {percent(found.compared.before)} of what the survey before reached, and "
        f"{percent(found.compared.after)} of what the one after did."
    )


def outside_plan(row: Mapping[Any, Any], unit: str, survey: Survey | None = None) -> str:
    """One row ``elsewhere`` of the table of done against planned, as a sentence."""
    done = float(row["done_mm"])
    size = signed(abs(done), unit).lstrip("+")
    return (
        f"Elsewhere {row['name']}: {size} {'taken off' if done < 0 else 'added'} in the mean over "
        f"{area(row['area_mm2'], unit)} about {place((row['x_mm'], row['y_mm']), unit, survey)}, where nothing was "
        "planned."
    )


SIDES = {  # of a height toward the room: beyond what was to be set, and behind it
    "floor": ("too high", "too low"),
    "ceiling": ("too low", "too high"),
    "wall": ("too far out", "too far back"),
}


def off_words(row: Mapping[Any, Any], surface: str, unit: str, survey: Survey | None = None) -> str:
    """Which station of a place is farthest off its height, by how much and which way: ``1/8" too high at ...``."""
    off = float(row["off_mm"])
    way = SIDES[surface][off < 0]
    at = place((row["worst_x_mm"], row["worst_y_mm"]), unit, survey)
    return f"{signed(abs(off), unit).lstrip('+')} {way} at {at}"


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
        f"{row['name']}, {row['status']}: {off_words(row, surface, unit, found.surveys[1])}."
        for row in sorted(off, key=lambda row: -abs(row["off_mm"]))
    ]
    within = sum(row["status"] == WITHIN for row in rows)
    told = [f"To do again: {len(off) or 'none'} of {len(rows)} places; {within} within tolerance.", *lines]
    for status, why in (
        (UNTOLD, "the readings there fit the plan, but they fit no work at all as well"),
        (UNSEEN, "nothing was read there"),
    ):
        names = [str(row["name"]) for row in rows if row["status"] == status]
        told += [f"Not known: {', '.join(names)} ({why})."] if names else []
    return told
