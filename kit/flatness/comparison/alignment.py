"""How the two surveys are brought to one datum before they are compared, and how sure that is.

The offset and the tilts are of the later survey's datum against the earlier one's: after minus before, where nothing
changed. They are taken off the later survey's heights.

Known heights of benchmarks that two files do not give alike: which moved, or which unit is wrong.

Places at which the two surveys can be brought together: stations in common, and what was declared unchanged.

An offset or a plane through the places that agree, where most of the others may have changed.

A mode first: of all offsets (or planes through three places) that single readings propose, the one that the most
places speak for. Then biweight M-estimation from there (Beaton and Tukey 1974; Maronna, Martin, Yohai and
Salibian-Barrera, Robust Statistics, 2nd ed. 2019, chapters 2 and 4): a place far off has no say at all, so that
changes to one side do not pull, as they would pull a mean or a Huber estimate.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from flatness.arrays import Floats
from flatness.comparison.both import Both, Rows
from flatness.errors import ArgumentError, MeasureError, Problem, check_choice
from flatness.lengths import MM_PER
from flatness.notes import Note, joined
from flatness.survey.readings import Survey
from flatness.survey.setups import odd_one_out

Bools = NDArray[np.bool_]
REACH = 3.5  # errors from which a place has no say; 4.685 is usual, but leaves the fringes of a change more of it
MOST_TRIED = 600  # planes through three places
AGREES = 2.5  # errors within which a place agrees
CHANGED = 3.0  # errors from which the places beside it are suspected too
BLOCKS = 3  # along x and along y
FEWEST, FEWEST_SHARE = 4, 0.15  # places clear of a change for each number sought, and of those unchanged, to rest on
RIVAL = 0.6  # as many places as that, of those that speak for the best, make a rival


@dataclass(frozen=True, eq=False, kw_only=True)
class Agreed:
    """Where the places agree.

    Attributes
    ----------
    theta : [k] the estimate; ``gain`` [k, m]: theta moves by gain x difference
    covariance : [k, k] of theta
    agreeing : share of places within 2.5 errors of it [-]
    rival : another offset [mm] that nearly as many places speak for, or None
    worst : errors that the place farthest off is off
    """

    theta: Floats
    gain: Floats
    covariance: Floats
    agreeing: float
    rival: float | None
    worst: float


def agree(
    columns: Floats, difference: Floats, covariance: Floats, places: Floats, beside: float, seed: int = 0
) -> Agreed:
    """The estimate that the most places speak for.

    Parameters
    ----------
    columns : [m, k] how the difference at each place moves with the estimate; the first column is of ones
    difference : [m] mm at each place
    covariance : [m, m] mm2 of the differences, were nothing changed
    places : [m, 2] mm
    beside : places this near [mm] to one that changed have no say, for a change fades out
    seed : of the planes tried; the same seed and places give the same
    """
    error = np.sqrt(np.maximum(np.diag(covariance), 1e-12))
    tried = _proposals(columns, difference, seed)
    support = np.array([_support(columns, difference, error, theta) for theta in tried])
    theta = _settle(columns, difference, error, tried[int(support.argmax())])
    say = _clear_of_change((difference - columns @ theta) / error, places, beside, columns.shape[1])
    theta = _settle(columns[say], difference[say], error[say], theta)
    off = (difference - columns @ theta) / error
    # spread of an M-estimate: slope of the score outside, its weights inside (Huber 1981, 6.3)
    pull = np.where(say, _weight(off) / error**2, 0.0)
    slope = np.where(say, _slope(off) / error**2, 0.0)
    whole = (columns.T * slope) @ columns
    if np.linalg.eigvalsh(whole).min() <= 0:
        whole = (columns.T * pull) @ columns
    gain = np.asarray(np.linalg.solve(whole, columns.T * pull), dtype=np.float64)
    near = np.abs(off) <= AGREES
    own = gain @ covariance @ gain.T
    widen = max(_widening(off[say]), _block_widening(columns, difference, error, places, say, theta, own))
    rival = _rival(tried, support, columns, error, theta, difference)
    total = own * widen
    if rival is not None:  # either may be true: the variance of the two together
        move, part = rival[0] - theta, rival[1]
        total = total + part * (1 - part) * np.outer(move, move)
    return Agreed(
        theta=theta,
        gain=gain,
        covariance=total,
        agreeing=float(near.mean()),
        rival=None if rival is None else float(rival[0][0]),
        worst=float(np.abs(off).max()),
    )


def _settle(columns: Floats, difference: Floats, error: Floats, theta: Floats) -> Floats:
    """The biweight estimate that lies nearest to a start."""
    for _ in range(100):
        weight = _weight((difference - columns @ theta) / error) / error**2
        normal, right = (columns.T * weight) @ columns, (columns.T * weight) @ difference
        new = np.asarray(np.linalg.lstsq(normal, right, rcond=None)[0], dtype=np.float64)
        done = np.abs(new - theta).max() < 1e-9
        theta = new
        if done:
            break
    return np.asarray(theta)


def _clear_of_change(off: Floats, places: Floats, beside: float, needed: int) -> Bools:
    """Places that are not changed and not beside a change; all where too few would be left."""
    changed = np.abs(off) > CHANGED
    if not changed.any():
        return np.ones(len(off), dtype=bool)
    apart = np.hypot(*(places[:, None] - places[changed]).transpose(2, 0, 1)).min(axis=1)
    clear = apart > beside
    enough = clear.sum() >= max(FEWEST * needed, FEWEST_SHARE * (~changed).sum())
    return clear if enough else np.ones(len(off), dtype=bool)


def _weight(off: Floats) -> Floats:
    u = np.minimum(np.abs(off) / REACH, 1.0)
    return np.asarray((1 - u * u) ** 2)


def _slope(off: Floats) -> Floats:
    """d(off x weight) / d off."""
    u2 = np.minimum(np.abs(off) / REACH, 1.0) ** 2
    return np.asarray((1 - u2) * (1 - 5 * u2))


def _support(columns: Floats, difference: Floats, error: Floats, theta: Floats) -> float:
    """How much speaks for an estimate: each place's biweight, from 1 at it to 0 where it has no say."""
    u = np.minimum(np.abs(difference - columns @ theta) / error / REACH, 1.0)
    return float(((1 - u * u) ** 3).sum())


def _proposals(columns: Floats, difference: Floats, seed: int) -> Floats:
    m, k = columns.shape
    if k == 1:
        return np.asarray(difference[:, None])
    every = math.comb(m, k) <= MOST_TRIED
    rng = np.random.default_rng(seed)
    sets = (
        np.array(list(itertools.combinations(range(m), k)))
        if every
        else np.array([rng.choice(m, k, replace=False) for _ in range(MOST_TRIED)])
    )
    corners = columns[sets]
    # three places close together or nearly on one line propose wild planes
    wide = np.abs(np.linalg.det(corners))
    keep = wide > 0.1 * wide.max()
    return np.asarray(np.linalg.solve(corners[keep], difference[sets[keep]][..., None])[..., 0])


def _widening(off: Floats) -> float:
    """Mean square of the agreeing places' offs over that of a normal one cut off at the same point."""
    near = off[np.abs(off) <= AGREES]
    if len(near) < 5:
        return 1.0
    # variance of a standard normal cut off at +- AGREES
    density = math.exp(-(AGREES**2) / 2) / math.sqrt(2 * math.pi)
    cut = 1 - 2 * AGREES * density / math.erf(AGREES / math.sqrt(2))
    return max(1.0, float(np.mean(near**2)) / cut)


def _block_widening(
    columns: Floats, difference: Floats, error: Floats, places: Floats, say: Bools, theta: Floats, own: Floats
) -> float:
    """Ratio of the variance that leaving out one block of neighbours after another shows to the one propagated.

    A block may hold the fringe of a change that nothing separated from ground: then the blocks do not agree.
    Delete-a-group jackknife, as in Shao and Tu, The Jackknife and Bootstrap (1995), section 2.3.
    """
    block = np.zeros(len(places), dtype=np.int64)
    for axis in (0, 1):
        cuts = np.quantile(places[say, axis], np.arange(1, BLOCKS) / BLOCKS)
        block = block * BLOCKS + np.searchsorted(cuts, places[:, axis])
    used = [b for b in range(BLOCKS**2) if (say & (block == b)).any()]
    moved = []
    for b in used:
        rest = say & (block != b)
        if np.linalg.matrix_rank(columns[rest]) < columns.shape[1]:
            return 1.0
        moved.append(_settle(columns[rest], difference[rest], error[rest], theta))
    away = np.array(moved) - np.mean(moved, axis=0)
    shown = (len(used) - 1) / len(used) * away.T @ away
    return max(1.0, float(np.trace(np.linalg.solve(own, shown))) / len(theta))


def _rival(
    tried: Floats, support: Floats, columns: Floats, error: Floats, theta: Floats, difference: Floats
) -> tuple[Floats, float] | None:
    """Another estimate, clear of this one, that nearly as many places speak for, and its part of all that speaks."""
    own = _support(columns, difference, error, theta)
    for number in np.argsort(-support, kind="stable"):
        if support[number] < RIVAL * own:
            return None
        if _apart(tried[number] - theta, columns, error) > REACH:
            other = _settle(columns, difference, error, tried[number])
            its = _support(columns, difference, error, other)
            if _apart(other - theta, columns, error) > REACH and its >= RIVAL * own:
                return other, its / (its + own)
    return None


def _apart(move: Floats, columns: Floats, error: Floats) -> float:
    return float(np.sqrt(np.mean((columns @ move / error) ** 2)))


SAME_HEIGHT_MM = 0.01  # a benchmark's height typed twice, once in each unit
UNIT_SLACK = 0.002  # of the ratio of two units


def moved_apart(before: Mapping[str, float], after: Mapping[str, float], shifts: Mapping[str, float]) -> list[Problem]:
    """What is wrong with known heights [mm] that did not all move alike from file to file.

    Parameters
    ----------
    before, after : known height by label
    shifts : after minus before [mm], of the labels in both
    """
    labels, moves = list(shifts), list(shifts.values())
    ratio = float(np.ptp([after[label] for label in labels])) / max(float(np.ptp([before[x] for x in labels])), 1e-9)
    wrong = _unit_for(ratio, [before[x] for x in labels], [after[x] for x in labels])
    if wrong is not None:
        return [wrong]
    remedy = "correct the `# benchmark:` line, or leave out the benchmark that moved"
    odd = odd_one_out(moves, 2 * SAME_HEIGHT_MM)
    if odd is not None:
        others = [label for label in labels if label != labels[odd]]
        off = moves[odd] - float(np.mean([shifts[label] for label in others]))
        findings: list[str] = [Note("known-height-moved", label=labels[odd], off=off, others=others)]
    else:
        apart = {label: move - float(np.mean(moves)) for label, move in shifts.items()}
        findings = [
            Note("known-heights-apart", label=x, off=off) for x, off in apart.items() if abs(off) > SAME_HEIGHT_MM
        ]
    expected = "one height for each benchmark in both files, or all shifted alike"
    return [Problem(what, column="align", expected=expected, remedy=remedy) for what in findings]


def _unit_for(ratio: float, before: list[float], after: list[float]) -> Problem | None:
    """The unit that is wrong, where the benchmarks stand as many times as far apart as one unit is longer."""
    about = np.array(before) - np.mean(before), np.array(after) - np.mean(after)
    if not np.allclose(about[1], ratio * about[0], atol=UNIT_SLACK * float(np.abs(about[1]).max())):
        return None
    for long, size in MM_PER.items():
        for short, small in MM_PER.items():
            times = float(size / small)
            if times > 1.5 and min(abs(ratio / times - 1), abs(ratio * times - 1)) <= UNIT_SLACK:
                day, other = ("after", "before") if ratio > 1 else ("before", "after")
                return Problem(
                    f"in the survey {day} the benchmarks stand {times:.4g} times as far apart as in the one {other}: "
                    f"as if {short} were read as {long}",
                    column="align",
                    expected="one height for each benchmark",
                    remedy=f"check the line `# unit:` of both files: does {long} stand there in place of {short}?",
                )
    return None


ON_EDGE_MM = 0.5  # a station this close to an edge stands on it


def in_common(before: Survey, after: Survey, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Those of the places x, y [m] mm that both surveys reach."""
    keep = np.ones(len(x), dtype=bool)
    for survey in (before, after):
        keep &= within(survey, x, y)
    return x[keep], y[keep]


def within(survey: Survey, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """[m] whether places x, y [mm] lie between a survey's stations, on its surface and in no opening."""
    sx, sy, _, _ = survey.stations()
    area = shapely.MultiPoint(np.column_stack([sx, sy])).convex_hull
    if survey.outline is not None:
        area = area.intersection(survey.outline)
    keep = np.asarray(shapely.contains_xy(area.buffer(ON_EDGE_MM), x, y), dtype=bool)
    for opening in survey.openings:
        keep &= ~np.asarray(shapely.contains_xy(opening.buffer(-ON_EDGE_MM), x, y), dtype=bool)
    return keep


def each_unchanged(unchanged: Any) -> list[Any]:
    """What did not change, one by one: labels, areas, and places (x, y), of which one may stand alone."""
    items = [unchanged] if isinstance(unchanged, (str, Polygon, MultiPolygon)) else list(unchanged)
    one_place = len(items) == 2 and all(isinstance(item, (int, float, np.number)) for item in items)
    return [tuple(items)] if one_place else items


def declared(before: Survey, after: Survey, both: Both, unchanged: Any) -> tuple[Floats, Floats, str]:
    """Places [m] mm that were declared unchanged, and what they were declared by, in words."""
    items = each_unchanged(unchanged)
    sx, sy = in_common(before, after, *both.stations())
    places: list[Floats] = []
    kinds: dict[str, int] = {}
    for item in items:
        if isinstance(item, (Polygon, MultiPolygon)):
            inside = np.asarray(shapely.contains_xy(item.buffer(ON_EDGE_MM), sx, sy), dtype=bool)
            if not inside.any():
                what = "no station lies in an area declared unchanged"
                expected, remedy = "an area [mm] with one station in it or more", "check its corners"
                raise ArgumentError(what, column="unchanged", value=item.wkt, expected=expected, remedy=remedy)
            places.append(np.column_stack([sx, sy])[inside])
            kinds["area"] = kinds.get("area", 0) + 1
        elif isinstance(item, str):
            places.append(_labelled(before, after, item))
            kinds["label"] = kinds.get("label", 0) + 1
        else:
            places.append(_placed(before, after, item))
            kinds["place"] = kinds.get("place", 0) + 1
    if not places:
        raise ArgumentError("nothing was declared unchanged", column="unchanged", expected="one place or more")
    xy: Floats = np.unique(np.round(np.concatenate(places), 1), axis=0)
    words = ", ".join(f"{count} {kind}{'s' if count > 1 else ''}" for kind, count in kinds.items())
    return xy[:, 0], xy[:, 1], words


def _labelled(before: Survey, after: Survey, label: str) -> Floats:
    tables = [survey.points for survey in (before, after)]
    rows = [table.loc[table["label"] == label, ["x", "y"]].to_numpy(dtype=np.float64) for table in tables]
    found = next((row for row in rows if len(row)), None)
    if found is None:
        raise ArgumentError(
            "no station has this label", column="unchanged", value=label, expected="a label of either survey"
        )
    return np.asarray(found[:1])


def _placed(before: Survey, after: Survey, item: Any) -> Floats:
    try:
        place = np.asarray(item, dtype=np.float64).reshape(1, 2)
    except (TypeError, ValueError) as error:
        what, expected = "not a place, a label or an area", "polygons, labels of stations, or places (x, y) in mm"
        raise ArgumentError(what, column="unchanged", value=repr(item), expected=expected) from error
    if not (np.isfinite(place).all() and all(within(s, place[:, 0], place[:, 1]).all() for s in (before, after))):
        what, expected = "a place declared unchanged lies off what both surveys read", "a place between their stations"
        raise ArgumentError(what, column="unchanged", value=Note("place", at=tuple(place[0])), expected=expected)
    return place


WAYS = ("benchmarks", "offset", "tilt", "none")
BESIDE = 1.05  # steps between stations over which a change fades out
FEW_AGREE = 0.65  # with fewer, simulated alignments miss the truth by more than they say


@dataclass(frozen=True, eq=False, kw_only=True)
class Alignment:
    """The later survey's datum against the earlier one's.

    Attributes
    ----------
    way : ``benchmarks``, ``offset``, ``tilt`` or ``none``
    offset : [mm] at the place ``x``, ``y`` [mm]; after minus before where nothing changed
    tilt_x, tilt_y : [mm/m], positive where that difference rises along the axis
    covariance : [3, 3] of offset [mm], tilt_x and tilt_y [mm/m]
    rests_on : in words
    agreeing : share of the places looked at whose readings agree with it [-]; NaN where none were looked at
    rival : another offset [mm] that nearly as many places speak for, or None
    is_level_known : whether a change of level can be separated from a tilt of the datum
    problems : what is worth a look
    pull, apart : how the readings that are compared move it, and the part of ``covariance`` that does not come by them
    """

    way: str
    x: float
    y: float
    offset: float = 0.0
    tilt_x: float = 0.0
    tilt_y: float = 0.0
    covariance: Floats = field(default_factory=lambda: np.zeros((3, 3)))
    rests_on: str = ""
    agreeing: float = math.nan
    rival: float | None = None
    is_level_known: bool = True
    problems: tuple[str, ...] = ()
    pull: tuple[Rows, Floats] | None = field(default=None, repr=False)
    apart: Floats = field(default_factory=lambda: np.zeros((3, 3)), repr=False)

    @property
    def offset_error(self) -> float:
        """Standard error of the offset [mm]."""
        return float(math.sqrt(self.covariance[0, 0]))

    @property
    def tilt_x_error(self) -> float:
        """Standard error of the tilt along x [mm/m]."""
        return float(math.sqrt(self.covariance[1, 1]))

    @property
    def tilt_y_error(self) -> float:
        """Standard error of the tilt along y [mm/m]."""
        return float(math.sqrt(self.covariance[2, 2]))

    def at(self, x: Any, y: Any) -> Any:
        """What is taken off the later survey's heights at places x, y [mm]."""
        return self.offset + (self.tilt_x * (x - self.x) + self.tilt_y * (y - self.y)) / 1000

    def columns(self, x: Floats, y: Floats) -> Floats:
        """[m, 3] how the height at places x, y [mm] moves with offset, tilt_x and tilt_y."""
        return np.column_stack([np.ones_like(x), (x - self.x) / 1000, (y - self.y) / 1000])

    def apply(self, rows: Rows) -> Floats:
        """Weights [m, n] of the readings in the aligned difference at the places of ``rows``."""
        if self.pull is None:
            return rows.weights
        used, gain = self.pull
        own: Floats = self.columns(rows.x, rows.y)[:, : len(gain)] @ (gain @ used.weights)
        return np.asarray(rows.weights - own)


def align_surveys(
    before: Survey, after: Survey, both: Both, way: str, unchanged: Any = None, seed: int = 0
) -> Alignment:
    """Find the later survey's datum against the earlier one's.

    Parameters
    ----------
    before, after, both : the surveys, and both on one lattice
    way : ``benchmarks``: both stand on benchmarks of one name; ``offset`` or ``tilt``: from the surface itself, over
        ``unchanged`` or, without it, over whichever places agree; ``none``: they stand on one datum already
    unchanged : polygons [mm], places (x, y) [mm] or labels of stations that did not change
    seed : of the planes tried where a tilt is looked for

    Raises
    ------
    ArgumentError : an unknown way, nothing shared, places that do not exist or are too few
    """
    check_choice("align", way, WAYS, "unknown way to align")
    if unchanged is not None and way not in ("offset", "tilt"):
        what = "unchanged places are not used where nothing is fitted to them"
        remedy = "say one of the two, or leave unchanged out"
        raise ArgumentError(
            what, column="align", value=way, expected="offset or tilt as the way to align", remedy=remedy
        )
    strings = [survey for survey in (before, after) if not survey.is_level]
    if strings and way in ("benchmarks", "offset"):
        what = "a survey off a string may lie at any tilt, which an offset cannot take out"
        expected = "tilt as the way to align, or none where the same string stood untouched"
        raise ArgumentError(what, column="align", value=way, expected=expected)
    if way == "benchmarks":
        return _on_benchmarks(before, after, both)
    middle = _middle(both)
    if way == "none":
        rests_on = Note("on-nothing")
        return Alignment(way="none", x=middle[0], y=middle[1], rests_on=rests_on, is_level_known=not strings)
    return _on_surface(before, after, both, way, unchanged, seed)


def _middle(both: Both) -> tuple[float, float]:
    x, y = both.nodes()
    return float(x.mean()), float(y.mean())


def _on_benchmarks(before: Survey, after: Survey, both: Both) -> Alignment:
    shared = [label for label in before.benchmarks if label in after.benchmarks]
    if not shared:
        what = "the two surveys share no benchmark"
        expected = f"one name in both; before has {_listed(before.benchmarks)}, after {_listed(after.benchmarks)}"
        remedy = "align by none where the instrument stood on one datum both times, by offset where it did not"
        raise ArgumentError(what, column="align", value="benchmarks", expected=expected, remedy=remedy)
    shifts = {label: after.benchmarks[label] - before.benchmarks[label] for label in shared}
    offset = float(np.mean(list(shifts.values())))
    if max(abs(shift - offset) for shift in shifts.values()) > SAME_HEIGHT_MM:
        raise ArgumentError(moved_apart(before.benchmarks, after.benchmarks, shifts))
    errors = [_datum_error(survey, both.reading_error(half)) for survey, half in ((before, -0.5), (after, 0.5))]
    covariance = np.diag([errors[0][0] ** 2 + errors[1][0] ** 2, 0.0, 0.0])
    offset = offset if abs(offset) > SAME_HEIGHT_MM else 0.0
    words = [Note("on-benchmarks", count=len(shared), names=shared, before=errors[0][1], after=errors[1][1])]
    words += [Note("benchmarks-moved", off=offset)] if offset else []
    x, y = _middle(both)
    return Alignment(
        way="benchmarks", x=x, y=y, offset=offset, covariance=covariance, rests_on=joined(words), apart=covariance
    )


def _datum_error(survey: Survey, one: float) -> tuple[float, str]:
    """Standard error of a survey's datum from its own readings of benchmarks, and how often they were read."""
    adjustment = survey.adjustment
    count = len(_read(survey))
    times = Note("times-read", count={0: "no", 1: "one"}.get(count, count), plural=count or 1)
    if adjustment is not None and len(adjustment.setups):
        worst = float(adjustment.setups["offset_error"].max())
        if math.isfinite(worst):
            more = adjustment.m0 / adjustment.stated if adjustment.stated and adjustment.redundancy else 1.0
            return worst * max(1.0, more), times
    misses = [float(tie["height"]) - survey.benchmarks[str(tie["label"])] for tie in _read(survey)]
    scatter = float(np.std(misses, ddof=1)) if count > 1 else 0.0
    # what disagrees more than its accuracy allows is no better than it agrees (the ratio of R. T. Birge, 1932)
    if scatter > one:
        times = Note("times-read-scatter", times=times, scatter=scatter)
    # without a reading in the file the datum is taken to rest on one
    return max(one, scatter) / math.sqrt(max(count, 1)), times


def _read(survey: Survey) -> list[dict[Any, Any]]:
    known = survey.ties["kind"].eq("benchmark") & survey.ties["label"].isin(list(survey.benchmarks))
    return survey.ties[known].to_dict("records")


def _on_surface(before: Survey, after: Survey, both: Both, way: str, unchanged: Any, seed: int) -> Alignment:
    if unchanged is None:
        x, y = in_common(before, after, *both.stations())
        named = ""
    else:
        x, y, named = declared(before, after, both, unchanged)
    needed = 1 if way == "offset" else 3
    middle = _middle(both)
    base = Alignment(way=way, x=middle[0], y=middle[1])
    columns = base.columns(x, y)[:, :needed]
    if len(x) < needed or np.linalg.matrix_rank(columns) < needed:
        raise MeasureError(
            f"too few places to find the {'offset' if way == 'offset' else 'tilt'}",
            value=f"{len(x)} stations",
            expected="one" if way == "offset" else "three that do not lie on one line",
            remedy="declare a larger area unchanged, or read more stations in it",
        )
    rows = both.rows(x, y)
    difference, covariance = both.difference(rows), both.covariance(rows.weights)
    robust = unchanged is None
    if robust:
        found = agree(columns, difference, covariance, np.column_stack([x, y]), BESIDE * both.step, seed)
    else:
        found = _all_of(columns, difference, covariance)
    full, apart = np.zeros((3, 3)), np.zeros((3, 3))
    full[:needed, :needed] = found.covariance
    apart[:needed, :needed] = found.covariance - found.gain @ covariance @ found.gain.T
    theta = np.zeros(3)
    theta[:needed] = found.theta
    is_level = way == "offset" and before.is_level and after.is_level
    return replace(
        base,
        offset=float(theta[0]),
        tilt_x=float(theta[1]),
        tilt_y=float(theta[2]),
        covariance=full,
        rests_on=_rests_on(found, len(x), named),
        agreeing=found.agreeing if robust else math.nan,
        rival=found.rival,
        is_level_known=is_level,
        problems=tuple(_problems(found, robust, is_level)),
        pull=(rows, found.gain),
        apart=apart,
    )


def _all_of(columns: Floats, difference: Floats, covariance: Floats) -> Agreed:
    """Least squares over places that were declared unchanged, all of them."""
    spread = np.sqrt(np.diag(covariance))
    weight = 1 / spread**2
    gain = np.asarray(np.linalg.solve((columns.T * weight) @ columns, columns.T * weight), dtype=np.float64)
    theta = gain @ difference
    off = float(np.abs((difference - columns @ theta) / spread).max())
    return Agreed(theta=theta, gain=gain, covariance=gain @ covariance @ gain.T, agreeing=1.0, rival=None, worst=off)


def _rests_on(found: Agreed, count: int, named: str) -> str:
    if named:
        return Note("on-unchanged", count=count, named=named)
    return Note("on-agreeing", share=f"{100 * found.agreeing:.0f}", count=count)


def _problems(found: Agreed, robust: bool, is_level: bool) -> Iterable[str]:
    if robust and found.agreeing < FEW_AGREE:
        yield Note("alignment-unsure", share=f"{100 * found.agreeing:.0f}")
    if found.rival is not None:
        yield Note("alignment-rival", off=float(found.rival - found.theta[0]))
    if not robust and found.worst > 4:
        yield Note("unchanged-off", errors=f"{found.worst:.1f}")
    if not is_level:
        yield Note("tilt-taken-out")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names) or "none"
