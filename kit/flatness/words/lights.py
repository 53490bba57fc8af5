"""What lights show of a surface, in plain words, and how deep a wave may be before one shows it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from flatness.lengths import format_length
from flatness.light.findings import NOTHING, ROW, SHOWS, STRIP, WINDOW, LightFinding, LightFindings
from flatness.survey.readings import Survey
from flatness.words.printed import FOOT_MM, INCH_MM, WIDTH, columns, good_to, indented, printed_place, small

ANGLES = (5.0, 10.0, 20.0)  # of the table, where no angle was given
WAVES_IN = (6, 12, 16, 24, 36, 48, 72, 96, 144, 192)  # [in]
WAVES_MM = (150, 300, 400, 600, 900, 1200, 1800, 2400, 3600, 4800)
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
ON_A_CURVE = (
    "This wall curves. Light from one side meets each place of it at another angle. These figures are of the wall "
    "unrolled, in light at one angle all along: they hold where light meets the wall at that angle. Light and shade "
    "of the curve itself are no fault, and are not in them."
)
NOT_MODELLED = (
    "Not modelled: gloss, texture and color of the paint, light from other surfaces, the beam of a lamp. Hang a sample "
    "lamp before it counts."
)


def light_report(found: LightFindings, unit: str) -> str:
    """All of it, at most 80 wide, the answer first."""
    parts = [
        indented(answer(found, unit), ""),
        _heading(found, unit),
        "\n".join(_table(found, unit)),
        indented(_between(found, unit), ""),
        "\n".join(_waves(found, unit)),
        indented(_how_to_read(unit), ""),
        *([indented(ON_A_CURVE, "")] if found.survey.bend is not None else []),
        indented(NOT_MODELLED, ""),
    ]
    return "\n\n".join(parts)


def answer(found: LightFindings, unit: str) -> str:
    """The first line: in which light it will look flat, and which shows what."""
    name = found.survey.surface
    windows = [one for one in found.lights if one.kind == WINDOW]
    lamps = [one for one in found.lights if one.kind != WINDOW]
    parts = [_of_windows(windows, name, found, unit)]
    if lamps:
        parts.append(_of_lamps(lamps, found.survey, unit))
    text = "; ".join(parts)
    curved = " This wall curves: see below what the angle is." if found.survey.bend is not None else ""
    return f"{text[:1].upper()}{text[1:]}. {not_read(found, unit)}.{curved}"


def _of_windows(windows: list[LightFinding], name: str, found: LightFindings, unit: str) -> str:
    worst = max(windows, key=lambda one: one.safe)
    away = printed_place(found.distance, unit)
    if worst.given is None:
        return f"this {name} will look flat from {away} in light from the window at {degrees(worst.safe)} or more"
    at = f"light from the window at {degrees(worst.given, exact=True)}"
    showing = [one for one in windows if one.answer == SHOWS]
    if showing:
        one = max(showing, key=lambda one: one.shows)
        return f"{at} will show {spot(found.survey, one.at, unit)} of this {name} from {away}"
    if all(one.answer == NOTHING for one in windows):
        return f"this {name} will look flat from {away} in {at}"
    return f"these readings cannot say whether {at} shows anything of this {name} from {away}"


def _of_lamps(lamps: list[LightFinding], survey: Survey, unit: str) -> str:
    surest, safest = max(lamps, key=lambda one: one.shows), max(lamps, key=lambda one: one.safe)
    here = f" along the {surest.side}" if len({one.side for one in lamps}) > 1 else ""
    if surest.given is not None:
        off = f"a lamp {given_distance(surest.given, unit)} off it"
        if surest.answer == SHOWS:
            return f"{off}{here} will show {spot(survey, surest.at, unit)}"
        if all(one.answer == NOTHING for one in lamps):
            return f"{off} shows nothing"
        return f"of a lamp {given_distance(surest.given, unit)} off it these readings cannot say"
    if surest.shows > 0:
        return (
            f"a lamp closer than {distance(surest.shows, unit)} to it{here} will show {spot(survey, surest.at, unit)}"
        )
    if math.isinf(safest.safe):
        return "no lamp is sure to show nothing"
    return f"a lamp {distance(safest.safe, unit, up=True)} or more off it shows nothing"


def _heading(found: LightFindings, unit: str) -> str:
    survey = found.survey
    title = survey.title or survey.source or "survey"
    return f"{title}\n{indented(f'{survey.surface}, {len(survey.points)} readings, {good_to(survey, unit)}', '')}"


def light_name(one: LightFinding, found: LightFindings, unit: str, *, either: bool = False) -> str:
    """A light by what it is and where: ``lamps every 4' along the top``; ``either``: a strip or lamps, no matter."""
    if one.kind == WINDOW:
        return f"window, along {one.along}"
    lamps = f"lamps every {printed_place(found.every, unit)}"
    what = "strip or lamps" if either else "strip" if one.kind == STRIP else lamps
    return f"{what} along the {one.side}"


def _table(found: LightFindings, unit: str) -> Iterator[str]:
    rows = [["light", "nothing from", "shows below", "what shows first"]]
    for one in found.lights:
        if one.kind == WINDOW:
            safe, shows = degrees(one.safe), degrees(one.shows, up=False)
        else:
            safe, shows = distance(one.safe, unit, up=True), distance(one.shows, unit)
        cells = [safe, shows if one.shows else "-", _short_place(found.survey, one.at, unit)]
        # at a low angle a row of lamps shows what a strip does
        if one.kind == ROW and rows[-1][1:3] == cells[:2]:
            rows[-1][0] = light_name(one, found, unit, either=True)
        else:
            rows.append([light_name(one, found, unit), *cells])
    yield from columns(rows, (0, 3), WIDTH, ruled=True)


def _between(found: LightFindings, unit: str) -> str:
    worst = max((one for one in found.lights if one.kind == WINDOW), key=lambda one: one.safe)
    over = FOOT_MM if unit == "in" else 1000.0
    rise = over * math.tan(math.radians(_rounded(worst.safe, up=True)))
    sides = "" if found.survey.surface == "wall" else "Left is where x is least, bottom where y is. "
    each = "in each foot" if unit == "in" else "in each metre"
    return (
        f"A light shows nothing from the first number on: an angle above the surface, or a distance off it. Below the "
        f"second it shows something for sure. Between the two these readings cannot say. {sides}"
        f"{degrees(worst.safe)} is {distance(rise, unit)} out {each} along."
    )


def _waves(found: LightFindings, unit: str) -> Iterator[str]:
    given = next((one.given for one in found.lights if one.kind == WINDOW), None)
    angles, ways = ANGLES if given is None else (given,), sorted(found.spectra)
    yield indented(
        f"How deep a wave may be, trough to crest, before light from the window shows it from "
        f"{printed_place(found.distance, unit)}, and how deep it is {' and '.join(f'along {way}' for way in ways)}:",
        "",
    )
    heads = (head for way in ways for head in (f"{way}: now", "at most"))
    rows = [["wave", *(f"at {angle:g} deg" for angle in angles), *heads]]
    each = [list(wave_rows(found, unit, angles, way)) for way in ways]
    for same in zip(*each, strict=False):
        allowed = [amount(mm, unit) for mm in same[0].allowed]
        here = [[amount(row.here, unit), amount(row.most, unit)] if row.here is not None else ["-", ""] for row in same]
        rows.append([printed_place(same[0].wave, unit), *allowed, *(cell for cells in here for cell in cells)])
    yield from columns(rows, (), WIDTH, ruled=True)


@dataclass(frozen=True)
class WaveRow:
    """A wave of the window's light, all in mm from trough to crest.

    Attributes
    ----------
    wave : its length [mm]
    allowed : what it may be before it shows, at each angle [mm]
    here, most : what it likely is, and the end of its 95 % range [mm]; None and NaN where it was not read
    """

    wave: float
    allowed: tuple[float, ...]
    here: float | None
    most: float


def wave_rows(found: LightFindings, unit: str, angles: Sequence[float], along: str) -> Iterator[WaveRow]:
    """What waves of usual lengths may be in the window's light at angles [degrees], and what they are along x or y."""
    usual = np.array(WAVES_IN) * INCH_MM if unit == "in" else np.array(WAVES_MM, dtype=np.float64)
    longest = max(*(float(waves[-1]) for waves, _ in found.spectra.values()), usual[0])
    for wave in usual[usual <= longest * 1.2]:
        here = found.here(float(wave), along)
        allowed = tuple(2 * float(found.allowed(angle, np.array([wave]))[0]) for angle in angles)
        likely, most = (None, math.nan) if here is None else (2 * float(here[0]), 2 * float(here[2]))
        yield WaveRow(float(wave), allowed, likely, most)


def not_read(found: LightFindings, unit: str) -> str:
    """The waves that the readings are too far apart to show."""
    shortest = {one.along: one.shortest for one in found.lights}
    lengths = [about(mm, unit) for _, mm in sorted(shortest.items())]
    wording = " and ".join(f"{text} along {way}" for text, way in zip(lengths, sorted(shortest), strict=True))
    if len(shortest) == 2 and len(set(lengths)) == 1:
        wording = lengths[0]
    return f"Waves shorter than {wording} were not read and may still show"


def _how_to_read(unit: str) -> str:
    feeler = "2 or 3 in" if unit == "in" else "50 or 75 mm"
    return (
        f"A wave needs two stations to be seen. For short ones set a feeler every {feeler} along a straightedge, on "
        "one line or more, and check that file in the same way."
    )


def spot(survey: Survey, at: tuple[float, float], unit: str) -> str:
    """A place by the bay between two members, where their layout is known, else by tape."""
    bay = _bay(survey, at)
    x, y = (about(value, unit) for value in at)
    up = "up" if survey.surface == "wall" else "along y"
    return f"the {bay}" if bay else f"the place {x} along x, {y} {up}"


def _short_place(survey: Survey, at: tuple[float, float], unit: str) -> str:
    x, y = (about(value, unit) for value in at)
    bay = _bay(survey, at)
    return f"{bay}, {y} up" if bay and survey.surface == "wall" else f"x {x}, y {y}"


def about(mm: float, unit: str) -> str:
    """A position to the inch or to 10 mm."""
    return printed_place(round(mm / INCH_MM) * INCH_MM if unit == "in" else round(mm / 10) * 10, unit)


def _bay(survey: Survey, at: tuple[float, float]) -> str:
    framing = survey.framing
    if framing is None or framing.typical <= 0:
        return ""
    across = 0 if framing.along == "y" else 1
    stations = survey.stations()[across]
    low = survey.outline.bounds[across] if survey.outline is not None else float(stations.min())
    # bays are counted from the first member on the surface
    first = framing.first + math.ceil((low - framing.first) / framing.spacing - 1e-6) * framing.spacing
    number = math.floor((at[across] - first) / framing.spacing + 1e-6) + 1
    member = "stud" if survey.surface == "wall" else "joist"
    if number < 1:
        return f"{member} bay before the first {member}"
    return f"{ORDINALS[number - 1] if number <= len(ORDINALS) else f'{number}th'} {member} bay"


def _rounded(value: float, *, up: bool) -> float:
    step = 0.5 if value >= 2 else 0.1
    whole = math.ceil(value / step - 1e-9) if up else math.floor(value / step + 1e-9)
    return whole * step


def degrees(value: float, *, up: bool = True, exact: bool = False) -> str:
    """An angle on the careful side, to half a degree; below two to a tenth.

    >>> degrees(4.3), degrees(4.3, up=False), degrees(0.42), degrees(5.25, exact=True)
    ('4.5 degrees', '4 degrees', '0.5 degrees', '5.25 degrees')
    """
    shown = f"{value if exact else _rounded(value, up=up):.4g}"
    return f"{shown} degree{'' if shown == '1' else 's'}"


def distance(mm: float, unit: str, *, up: bool = False) -> str:
    """A distance off the surface: whole inches, below two of them eighths; or 10 mm, below 100 whole mm.

    >>> distance(360, "in"), distance(360, "in", up=True), distance(30, "in"), distance(364, "mm"), distance(9.4, "mm")
    ('14"', '15"', '1 1/8"', '360 mm', '9 mm')
    """
    if math.isinf(mm):
        return "no distance"
    if unit == "in":
        step = INCH_MM if mm >= 2 * INCH_MM else INCH_MM / 8
    else:
        step = 10.0 if mm >= 100 else 1.0
    whole = math.ceil(mm / step - 1e-6) if up else math.floor(mm / step + 1e-6)
    if unit != "in":
        return f"{whole * step:.0f} mm" if whole else "under 1 mm"
    if not whole:
        return 'under 1/8"'
    # a lamp is set by the inch up to a yard
    return format_length(whole * step, "in" if whole * step < 36 * INCH_MM else "ft", 8)


def given_distance(mm: float, unit: str) -> str:
    """A distance as it was given, to the nearest eighth or mm.

    >>> given_distance(90, "in"), given_distance(355.6, "in"), given_distance(90, "mm")
    ('3 1/2"', '14"', '90 mm')
    """
    return format_length(mm, "in" if mm < 36 * INCH_MM else "ft", 8) if unit == "in" else f"{mm:.0f} mm"


def amount(mm: float, unit: str) -> str:
    """A depth from trough to crest: a tape's fraction from 1/32 in on, below it thousandths; or mm to two figures.

    >>> amount(0.27, "in"), amount(9.6, "in"), amount(0.274, "mm"), amount(9.63, "mm")
    ('0.011"', '3/8"', '0.27 mm', '9.6 mm')
    """
    if unit != "in":
        return f"{mm:.2f} mm" if mm < 1 else f"{mm:.1f} mm"
    return small(mm, unit) if mm < INCH_MM / 32 else format_length(mm, "in", 32)
