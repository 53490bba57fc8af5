"""What was found in a scan, in plain words: the answer first, then a line a surface, 80 wide."""

from __future__ import annotations

import textwrap

from flatness.scans.records import Scan, ScanSurface
from flatness.words.phrases import sentence
from flatness.words.printed import WIDTH, accuracy, area, bulleted, counted, hanging, percent, position

SHARED = (
    "Errors are from how the points of each cell scatter. What they share does not show in it, such as the scanner's "
    "own error of distance, or two set-ups that do not match: check a few places with a laser and a rod"
)
UPRIGHT = "The scan's z is taken as plumb"
HIDDEN = "Where nothing was seen the surveys have openings: those areas are not judged"


def scan_report(scan: Scan, unit: str) -> str:
    """What a scan shows as text, the answer in its first line."""
    notes = [sentence(note, unit) for note in scan.notes]
    notes += [f"{text}." for text in (HIDDEN, SHARED, UPRIGHT)]
    surfaces = "\n".join(hanging(_surface(one, unit)) for one in scan.surfaces.values())
    return "\n\n".join([textwrap.fill(answer(scan, unit), WIDTH), surfaces, bulleted("Worth knowing", notes)])


def answer(scan: Scan, unit: str) -> str:
    """What was found, in one line."""
    length, width, height = (position(size, unit) for size in scan.size)
    readings, share = sum(len(one.cells) for one in scan.surfaces.values()), percent(scan.used / scan.points)
    found = f"{counted(len(scan.surfaces), 'surface')} found in {scan.source}, of a room {length} x {width} x {height}"
    made = f"{readings:,} readings {position(scan.cell, unit)} apart, from {scan.points:,} points"
    return f"{found}: {made}, {share} of them on these surfaces."


def _surface(one: ScanSurface, unit: str) -> str:
    text = f"{one.name}: {counted(len(one.cells), 'reading')}, good to {accuracy(one.survey.accuracy or 0.0, unit)}"
    text += f"; points scatter by {accuracy(one.noise, unit)}"
    if one.survey.openings:
        text += f"; {area(one.hidden, unit)} hidden or open"
    if one.emptied:
        text += f"; {counted(one.emptied, 'cell')} left out, where something stands"
    return text
