"""What a comparison found, in sentences and a table for the Compare panel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

import numpy as np

from flatness.comparison.comparing import Comparison
from flatness.comparison.suspects import extremes
from flatness.limits.verdict import Judged
from flatness.limits.wording import describe
from flatness.measures.measured import Place
from flatness.show.compared import amounts_table
from flatness.show.datum_words import fine, signed
from flatness.show.panels.verdict_words import verdict_mark
from flatness.show.words import in_unit, number, percent, place

HEIGHTS_BY = "Heights of both surveys brought together by"
WAY_NAMES = {
    "Benchmarks of one name": "benchmarks", "The surface: one offset": "offset", "The surface: offset and tilt": "tilt",
    "Nothing: one datum both times": "none",
}  # fmt: skip


def changed_sentence(found: Comparison, unit: str) -> str:
    """How much of the surface shows change, and from what size on a difference is one."""
    least = fine(float(np.nanmedian(found.detection)), unit)
    if not found.changed.any():
        return (
            f"No change is shown anywhere: all differences are within the limit of detection, about {least} at "
            f"{100 * found.confidence:g} %. That does not mean that there was none."
        )
    parts = [f"Change is shown on {percent(found.share_changed)} of the area"]
    parts += list(_extremes(found, unit))
    return (
        f"{', '.join(parts)}. A difference counts as change beyond the limit of detection, about {least} at "
        f"{100 * found.confidence:g} %; elsewhere no change is shown, which does not mean that there was none."
    )


def _extremes(found: Comparison, unit: str) -> Iterator[str]:
    ends = zip(("most taken off", "most added"), (-1.0, 1.0), extremes(found, clear=True), strict=True)
    for word, sign, one in ends:
        if one.shown and sign * one.difference > 0:
            slip = ", beside a reading that may be a slip" if one.is_suspect else ""
            yield f"{word} {signed(abs(one.difference), unit).lstrip('+')} at {place((one.x, one.y), unit)}{slip}"


def alignment_sentence(found: Comparison, unit: str) -> str:
    """What the alignment rests on, and how sure it is."""
    one = found.alignment
    said = f"Aligned on {one.rests_on}."
    if one.way == "none":
        return said
    said += (
        f" The later datum stood {hair(one.offset, unit)} off the earlier one, give or take "
        f"{hair(one.offset_error, unit).lstrip('+')} (1 s.d.); that is taken out"
    )
    if one.way == "tilt":
        said += f", and so is its tilt of {one.tilt_x:+.2f} mm a metre along x and {one.tilt_y:+.2f} along y"
    return f"{said}."


def hair(mm: float, unit: str) -> str:
    """What an instrument shows and a tape does not, with its sign: thousandths of an inch, hundredths of a millimetre.

    >>> hair(0.254, "in"), hair(-0.254, "mm")
    ('+0.010"', '-0.25 mm')
    """
    return f'{mm / 25.4:+.3f}"' if unit == "in" else f"{mm:+.2f} mm"


def told_change(found: Comparison, xy: Place, unit: str) -> str:
    """What changed at a place [mm], in one line."""
    i, j = (round((p - axis[0]) / found.spacing) for p, axis in zip(xy, (found.x, found.y), strict=True))
    here = place(xy, unit)
    inside = 0 <= i < len(found.x) and 0 <= j < len(found.y)
    if not inside or not math.isfinite(found.difference[j, i]):
        return f"{here}: not read both times"
    value, least = float(found.difference[j, i]), fine(float(found.detection[j, i]), unit)
    if not found.changed[j, i]:
        return f"{here}: no change shown; {signed(value, unit)} is within the {least} limit of detection"
    word = "added" if value > 0 else "taken off"
    return f"{here}: {signed(value, unit)}, {word}; more than the {least} limit of detection"


def verdicts_table(found: Comparison, unit: str) -> str:
    """Verdicts before and after as HTML, one row a limit; empty where no finish was chosen."""
    if found.assessments is None:
        return ""
    head = "".join(
        f'<th scope="col">{text}</th>' for text in ("Limit", "Before", "likely", "After", "likely", "Turned")
    )
    pairs = zip(found.assessments[0].judged, found.assessments[1].judged, strict=True)
    rows = "".join(_row(one, other, unit) for one, other in pairs)
    return f'<table class="fk-table"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'


def _row(one: Judged, other: Judged, unit: str) -> str:
    turned = f"<b>turned: {one.verdict} to {other.verdict}</b>" if one.verdict != other.verdict else "as before"
    cells = [verdict_mark(one.verdict), _likely(one, unit), verdict_mark(other.verdict), _likely(other, unit), turned]
    return (
        f'<tr><th scope="row">{escape(describe(other.limit, unit))}</th>{"".join(f"<td>{c}</td>" for c in cells)}</tr>'
    )


def _likely(one: Judged, unit: str) -> str:
    if one.finding is None:
        return escape(in_unit(f"not measured: {one.reason}", unit))
    return escape(f"{number(one, one.likely()[0], unit)}, chance within {percent(one.chance)}").replace(" %", "&nbsp;%")


def how_much(found: Comparison, unit: str) -> str:
    """Areas and volumes, to be opened."""
    table = escape(amounts_table(found, unit))
    return f"<details><summary>How much was taken off and added</summary><pre>{table}</pre></details>"


def warnings_list(found: Comparison, unit: str) -> str:
    """What looks like a mistake, as HTML; empty where nothing does."""
    items = "".join(f"<li>{escape(in_unit(f'{text[:1].upper()}{text[1:]}.', unit))}</li>" for text in found.warnings)
    return f"<b>Look here first</b><ul>{items}</ul>" if items else ""


def notes_list(found: Comparison, unit: str) -> str:
    """What must be known, as HTML."""
    items = "".join(f"<li>{escape(in_unit(f'{note[:1].upper()}{note[1:]}.', unit))}</li>" for note in found.notes)
    return f"<details><summary>Worth knowing</summary><ul>{items}</ul></details>"
