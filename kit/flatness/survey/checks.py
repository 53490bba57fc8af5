"""Checks of what was read: a surface, inside its outline, and no reading far off its neighbours."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from flatness.arrays import Floats
from flatness.errors import Problem
from flatness.notes import Note
from flatness.survey.cells import Reading, Readings, Report, column_letter, meant
from flatness.survey.header import Header
from flatness.survey.readings import SAME_PLACE_MM, Survey, place_keys
from flatness.survey.setups import EIGHTH_MM

INCH_MM = 25.4  # how far a reading, or an opening, may lie over the edge: a tape's width of care in laying out
LEAST_FILLED = 0.5  # share of the outline's length and width that stations of a survey span; the kit's own
SLIP = "height-off"  # the key of a note on a reading far off its neighbors
FAR_MM = 300.0  # heights all over a foot off their datum are seldom heights; the kit's own
FEWEST_DROPS = 3  # of which none is above zero, as one or two off a string may be
NEIGHBOURS = 8
SHARP_MM = 254.0  # readings so far from zero have digits enough to tell a slip by; the kit's own
# by which, by which part of itself, and by how many times the spread around it no one station stands off; the kit's own
GROSS_MM, GROSS_SHARE, GROSS_SPREADS = 50.8, 0.25, 10.0
FEWEST_STATIONS = 9  # under this a reading far off cannot be known from its neighbours
FAR_STEPS, LEAST_FAR_MM = 10.0, 4876.8  # usual steps, or 16 ft, beyond which stations stand apart; the kit's own
MOST_FAR = 3  # stations that stand apart together and may still be mistyped; more are another room
SIGMAS = 6.0
MAD_TO_SIGMA = 1.4826  # median absolute deviation to standard deviation, normal distribution (closed form)


def check_outlines(header: Header, report: Report) -> None:
    """Report openings that do not lie inside the outline."""
    if header.outline is None:
        return
    room = header.outline.buffer(INCH_MM, join_style="mitre")
    for row, opening in header.openings:
        if not room.covers(opening):
            what, expected = "the opening does not lie inside the outline", "an opening within the outline"
            report.add(what, row, 0, expected=expected, remedy="correct its corners, or those of the outline")


def check_readings(readings: Readings, heights: list[float], header: Header, report: Report) -> list[Problem]:
    """Report what makes the readings no surface; give back notes on what is worth a look.

    Parameters
    ----------
    readings : as the file gives them
    heights : of each of them [mm]
    header : outline, openings and accuracy
    report : takes what is wrong
    """
    points, z = _on_surface(readings, heights)
    x, y = _places(points)
    place, index = _stations(x, y)
    _check_spread(x[place], y[place], points, report)
    _check_drops(readings, points, report)
    _check_inside(x, y, points, header, report)
    _check_repeats(index, z, points, header.accuracy, report)
    _check_reach(x, y, points, header, report)
    typed_wrong = _check_slips(x, y, z, readings, points, header.accuracy, report)
    notes = [*readings.doubts, *_far_stations(x[place], y[place], [points[k] for k in place], report.file)]
    if not typed_wrong:
        notes += far_off_neighbours(x, y, z, points, header.accuracy, report.file, readings)
    notes += _look_like_drops(z, readings, points, report.file)
    return notes + _not_taken(readings, header, report.file)


def check_what_was_read(readings: Readings, header: Header, report: Report) -> None:
    """Check places and repeats of the readings that could be read, where others could not.

    So one report names all that is wrong. Heights of several set-ups cannot be compared yet: their repeats wait.
    """
    points, z = _on_surface(readings, [reading.value for reading in readings.readings])
    if not points:
        return
    x, y = _places(points)
    _check_inside(x, y, points, header, report)
    if len({reading.setup for reading in points}) == 1:
        _check_repeats(_stations(x, y)[1], z, points, header.accuracy, report)
        _check_slips(x, y, z if readings.quantity == "height" else -z, readings, points, header.accuracy, report)


def _on_surface(readings: Readings, heights: list[float]) -> tuple[list[Reading], Floats]:
    kept = [(r, h) for r, h in zip(readings.readings, heights, strict=True) if r.kind == "surface"]
    return [reading for reading, _ in kept], np.array([height for _, height in kept], dtype=float)


def _places(points: list[Reading]) -> tuple[Floats, Floats]:
    x, y = (np.array([getattr(reading, name) for reading in points], dtype=float) for name in ("x", "y"))
    return x, y


def _check_reach(x: Floats, y: Floats, points: list[Reading], header: Header, report: Report) -> None:
    """Report stations that would fill the outline were their positions read in feet or metres."""
    if header.outline is None or len(x) < 3:
        return
    west, south, east, north = header.outline.bounds
    for unit, factor in (("ft", 12.0), ("m", 1000.0)):
        shares = [float(np.ptp(x)) * factor / (east - west), float(np.ptp(y)) * factor / (north - south)]
        if all(LEAST_FILLED <= share <= 1.05 for share in shares):
            report.at(
                points[0],
                Note(
                    "outline-unit",
                    x=float(np.ptp(x)),
                    y=float(np.ptp(y)),
                    of_x=east - west,
                    of_y=north - south,
                    unit=unit,
                ),
                expected="stations spread over the outline",
                remedy=f"state the positions' unit: {unit} in the grid's corner cell, or x [{unit}] as the heading",
            )


def _check_drops(readings: Readings, points: list[Reading], report: Report) -> None:
    """Report drops that are all below zero: with the minus the surface would be judged upside down."""
    if readings.quantity == "drop" and len(points) >= FEWEST_DROPS and all(one.value < 0 for one in points):
        what = "every drop is below zero, so that what is too high would be shown as too low"
        expected = "distances from the instrument's line to the surface, above zero"
        remedy = "leave out the minus, or write `# reading: height` if they are heights below a datum"
        report.at(points[0], what, value=Note("read", mm=points[0].value), expected=expected, remedy=remedy)


def _look_like_drops(z: Floats, readings: Readings, points: list[Reading], file: str) -> list[Problem]:
    """A note where heights all stand far above their datum, as drops from an instrument do."""
    if readings.quantity != "height" or not len(z) or z.min() < FAR_MM or np.ptp(z) > z.min() / 2:
        return []
    return [
        Problem(
            Note("like-drops", low=float(z.min()), high=float(z.max())),
            file,
            points[0].row,
            points[0].cell.rstrip("0123456789"),
            expected="heights off a datum near the surface, or drops",
            remedy="write `# reading: drop` if they were measured from the instrument's line to the surface",
        )
    ]


def _stations(x: Floats, y: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First reading of each distinct station, and the station of each reading."""
    _, first, index = np.unique(place_keys(x, y), axis=0, return_index=True, return_inverse=True)
    return first.astype(np.int64), index.reshape(-1).astype(np.int64)


# stations along x or y that are a line by themselves: what light shows along it needs no more
FEELERS = 8


def _check_spread(x: Floats, y: Floats, points: list[Reading], report: Report) -> None:
    if len(x) < 3:
        what, expected = "fewer than three stations are no surface", "at least three stations, not on one line"
        report.add(what, value=f"{len(x)} stations", expected=expected, remedy="take more readings")
        return
    xy = np.column_stack([x - x.mean(), y - y.mean()])
    across = np.linalg.svd(xy, full_matrices=False)[2][1]
    width = xy @ across
    straight = min(np.ptp(x), np.ptp(y)) <= 2 * SAME_PLACE_MM
    if np.ptp(width) <= 2 * SAME_PLACE_MM and not (straight and len(x) >= FEELERS):
        what, remedy = "all stations lie on one line", "read a second line beside the first"
        report.add(what, points[0].row, points[0].column, expected="stations that span an area", remedy=remedy)


def _far_stations(x: Floats, y: Floats, points: list[Reading], file: str) -> list[Problem]:
    """Questions on stations so far from most others that they are hardly of one surface: one, two or three together."""
    if len(x) < FEWEST_STATIONS:
        return []
    near = np.asarray(cKDTree(np.column_stack([x, y])).query(np.column_stack([x, y]), k=2)[0])[:, 1]
    reach = max(FAR_STEPS * float(np.median(near)), LEAST_FAR_MM)
    group = _groups(x, y, reach)
    counts = np.bincount(group)
    most = counts.argmax()
    if 2 * counts[most] < len(x):  # lines far apart, each a separate group
        return []
    far = np.flatnonzero((group != most) & (counts[group] <= MOST_FAR))
    others = cKDTree(np.column_stack([x, y])[group == most])
    away = np.asarray(others.query(np.column_stack([x[far], y[far]]))[0])
    return [
        Problem(
            Note("station-far", x=float(x[k]), y=float(y[k]), away=float(by)),
            file,
            points[k].row,
            column_letter(points[k].column),
            expected="stations of one surface",
            remedy="check its position with the tape; leave it out if it is of another room",
        )
        for k, by in zip(far, away, strict=True)
    ]


def _groups(x: Floats, y: Floats, reach: float) -> NDArray[np.int64]:
    """Number of the group of each station: squares of this side that touch hold one group."""
    squares = np.floor(np.column_stack([x, y]) / reach).astype(np.int64)
    held, of_square = np.unique(squares, axis=0, return_inverse=True)
    touching = cKDTree(held.astype(np.float64)).query_pairs(1.5, output_type="ndarray")
    links = coo_matrix((np.ones(len(touching)), (touching[:, 0], touching[:, 1])), shape=(len(held),) * 2)
    return connected_components(links, directed=False)[1].astype(np.int64)[of_square.reshape(-1)]


def _check_inside(x: Floats, y: Floats, points: list[Reading], header: Header, report: Report) -> None:
    place = shapely.points(x, y)
    if header.outline is not None:
        beyond = shapely.distance(header.outline, place)
        for k in np.flatnonzero(beyond > INCH_MM + 1e-6):
            _report_place(report, points[k], x[k], y[k], float(beyond[k]), "outside the outline")
    for row, opening in header.openings:
        inside = shapely.contains_xy(opening, x, y)
        depth = np.where(inside, shapely.distance(opening.exterior, place), 0.0)
        for k in np.flatnonzero(depth > INCH_MM + 1e-6):
            _report_place(report, points[k], x[k], y[k], float(depth[k]), f"inside the opening of row {row}")


def _report_place(report: Report, reading: Reading, x: float, y: float, by: float, where: str) -> None:
    report.at(
        reading,
        Note("station-outside", x=x, y=y, where=where, by=(by, INCH_MM)),
        expected="stations on the surface",
        remedy="correct the station's x and y, or the corners of the outline or opening",
    )


def _check_repeats(
    index: NDArray[np.int64], z: Floats, points: list[Reading], accuracy: float | None, report: Report
) -> None:
    allowed = EIGHTH_MM if accuracy is None else 4 * math.sqrt(2) * accuracy
    order = np.lexsort((z, index))
    same = np.flatnonzero(np.diff(index[order]) != 0)
    starts, ends = np.concatenate([[0], same + 1]), np.concatenate([same, [len(order) - 1]])
    if not len(order):
        return
    apart = z[order[ends]] - z[order[starts]]
    for k in np.flatnonzero(apart > allowed + 1e-6):
        first, second = sorted((points[order[starts[k]]], points[order[ends[k]]]), key=lambda r: (r.row, r.column))
        report.at(
            second,
            Note("read-twice", cell=first.cell, apart=(float(apart[k]), allowed)),
            expected=Note("within-most", most=allowed),
            remedy="read the station again, or correct the x and y of one of the two",
        )


def _check_slips(
    x: Floats, y: Floats, z: Floats, readings: Readings, points: list[Reading], accuracy: float | None, report: Report
) -> bool:
    """Report readings that are no surface, where another sign, point, order of digits or unit makes them one.

    A reading is compared with the median of its nearest stations. Near zero a slip and a real spot are too alike:
    there it stays a note.
    """
    if len(z) < FEWEST_STATIONS:
        return False
    _, near = cKDTree(np.column_stack([x, y])).query(np.column_stack([x, y]), k=min(NEIGHBOURS, len(z) - 1) + 1)
    others = z[np.asarray(near)[:, 1:]]
    around = np.median(others, axis=1)
    spread = np.median(np.abs(others - around[:, None]), axis=1)
    sign = -1.0 if readings.quantity == "drop" else 1.0
    found = False
    for k in range(len(z)):
        off = sign * float(z[k] - around[k])
        expected = points[k].value - off
        gross = max(GROSS_MM, GROSS_SHARE * abs(expected), GROSS_SPREADS * float(spread[k]))
        if abs(expected) < SHARP_MM or abs(off) < gross:
            continue
        text = likely_meant(points[k], expected, INCH_MM, readings.decimal_comma)
        if text is not None:
            found = True
            report.at(
                points[k],
                "a reading that its neighbours rule out",
                value=points[k].typed,
                expected=Note("as-around", mm=expected),
                remedy=f"did you mean {text}? Type it again, or read the station again; if it is right, it is no part "
                "of this surface: leave the cell empty and state an opening there",
            )
    return found


def likely_meant(reading: Reading, expected: float, within: float, decimal_comma: bool) -> str | None:
    """What may have been typed wrong: the text nearest to what is expected [mm], no farther than ``within``."""
    near = [
        (abs(mm - expected), text)
        for text, mm in meant(reading.typed, reading.unit, decimal_comma)
        if abs(mm - expected) <= within
    ]
    return min(near)[1] if near else None


def far_off_neighbours(
    x: Floats, y: Floats, z: Floats, points: list[Reading], accuracy: float | None, file: str, readings: Readings
) -> list[Problem]:
    """Notes on readings far off what their neighbours say.

    Each station is predicted, without itself, by a plane through its eight nearest stations, of which the
    one that fits worst is left out. A reading is noted where it is off by more than six robust standard
    deviations of all predictions and by more than 1/8 in + 4 x accuracy.
    """
    residual, least = off_neighbours(x, y, z, accuracy)
    notes = []
    for k in np.flatnonzero(np.abs(residual) > least):
        off = float(residual[k])
        expected = points[k].value + (off if readings.quantity == "drop" else -off)
        said = likely_meant(points[k], expected, least, readings.decimal_comma)
        notes.append(
            Problem(
                Note(SLIP, by=(abs(off), least), side="proud of" if off > 0 else "lower than"),
                file,
                points[k].row,
                points[k].cell.rstrip("0123456789"),
                expected=Note("within-plane", most=least),
                remedy=(f"did you mean {said}? " if said else "")
                + "check the reading for a slip of an inch or a wrong station, or read it again",
            )
        )
    return notes


def notes_but_on(survey: Survey, stations: Iterable[tuple[float, float]]) -> tuple[Problem, ...]:
    """A survey's notes, but for those on readings far off their neighbours at some stations, x and y [mm].

    For whoever names those stations in other words.
    """
    x, y, _ = survey.xyz()
    here = np.zeros(len(x), dtype=bool)
    for at in stations:
        here |= np.hypot(x - at[0], y - at[1]) <= SAME_PLACE_MM
    cells = set(survey.points["cell"][here])
    return tuple(note for note in survey.notes if not (getattr(note.what, "key", "") == SLIP and note.cell in cells))


def off_neighbours(x: Floats, y: Floats, z: Floats, accuracy: float | None) -> tuple[Floats, float]:
    """By how much each reading is off its neighbours [mm], and from where on that looks like a slip."""
    if len(z) < FEWEST_STATIONS:
        return np.zeros(len(z)), math.inf
    residual = z - predict(x, y, z)
    sigma = MAD_TO_SIGMA * float(np.median(np.abs(residual)))
    return residual, max(SIGMAS * sigma, EIGHTH_MM + 4 * (accuracy or 0.0))


def predict(x: Floats, y: Floats, z: Floats) -> Floats:
    """Height of each station [mm] by a plane through its nearest others, the worst of them left out."""
    k = min(NEIGHBOURS, len(z) - 1)
    xy = np.column_stack([x, y])
    _, near = cKDTree(xy).query(xy, k=k + 1)
    # repeated stations may come before the station itself
    near = np.asarray(near)
    itself = near == np.arange(len(z))[:, None]
    itself[~itself.any(axis=1), -1] = True
    near = near[~itself].reshape(len(z), k)
    offset = xy[near] - xy[:, None, :]
    reach = np.maximum(np.abs(offset).max(axis=(1, 2)), SAME_PLACE_MM)
    design = np.concatenate([np.ones((len(z), k, 1)), offset / reach[:, None, None]], axis=2)
    level = np.median(z[near], axis=1)
    values = z[near] - level[:, None]
    best = np.full(len(z), np.inf)
    predicted = np.zeros(len(z))
    for left_out in range(k):
        rows = np.delete(design, left_out, axis=1)
        right = np.delete(values, left_out, axis=1)
        # a whisker of ridge keeps neighbours that stand on one line solvable: no slope across it
        normal = np.swapaxes(rows, 1, 2) @ rows + np.diag([0.0, 1e-6, 1e-6])
        plane = np.linalg.solve(normal, np.swapaxes(rows, 1, 2) @ right[:, :, None])
        misfit = ((rows @ plane)[:, :, 0] - right) ** 2
        better = misfit.sum(axis=1) < best
        best[better] = misfit.sum(axis=1)[better]
        predicted[better] = plane[better, 0, 0]
    return np.asarray(predicted + level)


def _not_taken(readings: Readings, header: Header, file: str) -> list[Problem]:
    cells = readings.not_taken
    if not cells or header.outline is not None:
        return []
    shown = ", ".join(cells[:6]) + (", ..." if len(cells) > 6 else "")
    many = "1 station has" if len(cells) == 1 else f"{len(cells)} stations have"
    first = cells[0]
    letters = first.rstrip("0123456789")
    return [
        Problem(
            f"{many} no reading ({shown}); no outline says whether the surface is there",
            file,
            int(first[len(letters) :]),
            letters,
            expected="a reading, or a line `# outline: ...`",
            remedy="read the stations, or state the outline and the openings",
        )
    ]
