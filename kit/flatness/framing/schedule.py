"""The member schedule: what a carpenter sets each joist, stud or strap to.

For each member the height of the existing top, the straight line it must follow, and how far a sister stands
above the existing member, at its ends and at every station. Heights are of the surface that was read: where a
sheathing of even thickness lies on the members, the same differences hold for the members beneath it.

A schedule of some members only: the others stay, and the string goes between the end members as they stand. Which
members lie under an area, and how long their sisters are.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import LineString

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_choice
from flatness.framing.members import STOCK_THICKNESS_MM, Members, blocking, lap_words, sister_notes, take_down_words
from flatness.framing.profiles import LINES, Track, fit_each, fit_strings, member_tracks
from flatness.lengths import settle
from flatness.notes import Note
from flatness.spreadsheet import write_csv, write_xlsx
from flatness.surface.lattice import Surface, heights_at
from flatness.surroundings.cautions import Caution, cautions_for
from flatness.surroundings.finished_surface import Planned
from flatness.survey.readings import Survey

STAYS = "stays as it is"
BY_OFFSETS = "by its offsets from the string"
WORK = (
    "raise_first_mm",
    "raise_last_mm",
    "raise_most_mm",
    "take_down_mm",
    "take_down_at_mm",
    "off_target_mm",
    "slope_mm_per_m",
)


def left_as_they_are(
    members: pd.DataFrame, table: pd.DataFrame, names: Collection[str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The summary and the stations of a schedule in which only the members of these names are set.

    Parameters
    ----------
    members, table : as :class:`~flatness.framing.schedule.Schedule` has them
    names : of the members that are set

    Returns
    -------
    members : a member that stays says so and carries no work
    table : a member that stays has no line; the string goes between the tops of the end members where these stay
    """
    known = members["raise_most_mm"].notna()
    stay = ~members["member"].isin(list(names)) & known
    ends = members.loc[known, "member"].iloc[[0, -1]].tolist() if known.any() else []
    shown = members.assign(set=members["set"].where(~stay, STAYS))
    shown.loc[stay, [name for name in WORK if name in shown]] = np.nan
    for name in ("may_be_taken_down", "laps"):
        shown.loc[stay, name] = ""
    staying, is_end = set(members.loc[stay, "member"]), members["member"].isin(ends)
    if (stay & is_end).any():
        shown.loc[~stay & known & ~is_end, "set"] = BY_OFFSETS
        table = _strung(table, members.set_index("member")["position_mm"], ends, staying)
    blank = table["member"].isin(staying)
    return shown, table.assign(**{name: table[name].where(~blank) for name in ("line_mm", "raise_mm", "offset_mm")})


def _strung(table: pd.DataFrame, positions: pd.Series, ends: list[str], stay: set[str]) -> pd.DataFrame:
    """The stations with the string anew: off the tops of end members that stay, off the lines of those that are set."""
    station = table["station_mm"].to_numpy()
    sides = []
    for end in ends:
        own = table[table["member"] == end]
        column = own["existing_mm"] if end in stay else own["line_mm"]
        seen = column.notna()
        sides.append(np.interp(station, own.loc[seen, "station_mm"], column[seen], left=np.nan, right=np.nan))
    low, high = (float(positions[end]) for end in ends)
    share = (table["member"].map(positions).to_numpy(dtype=np.float64) - low) / (high - low) if high > low else np.nan
    string = np.round(sides[0] + share * (sides[1] - sides[0]), 6) + 0.0
    blocks = (table["below_string_mm"] - table["string_mm"] + table["existing_mm"]).median()
    return table.assign(
        string_mm=string,
        offset_mm=np.round(table["line_mm"] - string, 6) + 0.0,
        below_string_mm=np.round(string + blocks - table["existing_mm"], 6) + 0.0,
    )


SHIM_MM = STOCK_THICKNESS_MM  # 1-1/2 in; a deeper shim is lumber; common practice, no source
SETTINGS = ("each", "string")


@dataclass(frozen=True, eq=False, kw_only=True)
class Schedule:
    """What each member is set to.

    Attributes
    ----------
    table : DataFrame, one row a member and station: ``member``, ``station_mm`` along it, ``x_mm``, ``y_mm``,
        ``existing_mm`` (its top), ``target_mm`` (of the plan), ``line_mm`` (to follow), ``raise_mm`` (line less
        existing: how far the sister stands above; negative where the existing top stands above the line),
        ``string_mm`` (between the end members), ``offset_mm`` (line less string), ``below_string_mm`` (from the
        string, blocks included, to the existing top)
    members : DataFrame, one row a member: ``set`` (which are set first), ``raise_first_mm`` and
        ``raise_last_mm`` (its ends), ``raise_most_mm``, ``take_down_mm`` (most) and ``take_down_at_mm``,
        ``may_be_taken_down``, ``crown_mm`` (largest departure of the existing top from the chord between its
        ends, hollow negative), ``crown_at_mm``, ``off_target_mm`` (largest departure of the line from the
        target), ``slope_mm_per_m``, ``laps`` (both flanges, in words), ``note``
    shims : DataFrame, for strapping: ``strap``, ``member``, ``x_mm``, ``y_mm``, ``shim_mm``, ``order`` (from the
        spot that is nearest the room, which takes the least)
    blocking : DataFrame, one row a cut chord: ``member``, ``cut_at_mm``, ``from_mm``, ``to_mm``
    blocks_mm : height of the blocks under the string's ends that keeps it clear of every existing top
    line, set_by : how the lines were chosen
    notes : what the reader must know
    cautions : that go with it
    """

    table: pd.DataFrame
    members: pd.DataFrame
    shims: pd.DataFrame
    blocking: pd.DataFrame
    blocks_mm: float
    line: str
    set_by: str
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def only(self, names: Collection[str]) -> Schedule:
        """The same schedule where only these members are set; the others stay, and carry no work."""
        members, table = left_as_they_are(self.members, self.table, names)
        notes = [
            note for note in self.notes if note != Note("string-first") or not (members["set"] == BY_OFFSETS).any()
        ]
        clearance = float((table["string_mm"] - table["existing_mm"]).min())
        blocks = self.blocks_mm if np.isnan(clearance) else max(0.0, -clearance)
        return replace(self, members=members, table=table, blocks_mm=blocks, notes=(*notes, Note("some-members")))

    def to_csv(self, path: str | os.PathLike[str], unit: str = "mm", *, overwrite: bool = False) -> None:
        """Write ``.table`` as CSV, lengths in ``mm`` or ``in``; an existing file only with ``overwrite``."""
        write_csv(path, self.table, unit, overwrite=overwrite)

    def to_xlsx(self, path: str | os.PathLike[str], unit: str = "mm", *, overwrite: bool = False) -> None:
        """Write all tables, the notes and the cautions as a workbook; see :meth:`to_csv`."""
        sheets = {"members": self.members, "stations": self.table, "shims": self.shims, "blocking": self.blocking}
        words = [*self.notes, *(f"{caution.text} ({caution.source})" for caution in self.cautions)]
        filled = {name: sheet for name, sheet in sheets.items() if len(sheet)}
        write_xlsx(path, filled, words, unit, overwrite=overwrite)


def member_schedule(
    plan: Planned,
    members: Members,
    *,
    step: float | None = None,
    line: str | None = None,
    set_by: str = "each",
    crossing: Members | None = None,
    sister_depth: float | None = None,
    sister_thickness: float = STOCK_THICKNESS_MM,
    least_lap: float | None = None,
    blocks: float = 0.0,
    every: bool = True,
) -> Schedule:
    """What each member is set to, for the plan's target.

    Parameters
    ----------
    plan : anything with ``.surface`` (as found) and ``.change`` ([ny, nx] mm, adding positive)
    members : the layout
    step : between stations [mm]; None takes the stations that were read on a member, else the lattice step
    line : the straight line that each follows. ``nearest``: its largest departure from the target is least; what stands
        above it has to come off. ``clear``: the nearest of those nowhere below the existing top, so that nothing comes
        off. ``least-squares``. None takes the lines of a plan that sets members, else ``nearest`` where the target is a
        plane, ``clear`` for engineered members, strapping and plans from which nothing may come off
    set_by : ``each`` gives every member its own line; ``string`` sets the two end members, and every other to a
        string between them (common practice, no source)
    crossing : the members that strapping is shimmed off; needed for strapping alone. A plan whose ``way`` is
        ``overlay`` has new strapping put on the surface as found, and its target is the strapping's face on the room's
        side: shim = target - thickness of the strapping - existing, and lines and targets of the schedule are those of
        the strapping's back. For any other plan the heights were read on the face of strapping that is there, and the
        shims go in behind it: shim = line - existing, whatever its thickness
    sister_depth : [mm]; None means full depth, that of the existing member
    sister_thickness : [mm]
    least_lap : height of each flange that a sister must cover [mm], where one is agreed
    blocks : height of the blocks that hold the string off the end members [mm]
    every : whether all members are set, so that the surface comes to stand on them; False where some stay as they are
        and the plan's patches are done about them

    Returns
    -------
    Schedule

    Raises
    ------
    ArgumentError : options that are unknown or do not go together
    MeasureError : no member has readings at two stations

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from flatness.framing.members import member_layout
    >>> from flatness.surface.lattice import make_surface
    >>> hollow = make_surface([[0, -4, 0]] * 3, spacing=1000)
    >>> plan = SimpleNamespace(surface=hollow, change=-hollow.height)
    >>> schedule = member_schedule(plan, member_layout(0, 1000, "x", count=3))
    >>> schedule.table.query("member == 'J2'")["raise_mm"].tolist()
    [0.0, 4.0, 0.0]
    """
    strapping = members.kind == "strapping"
    for name, value, known in (("line", line, LINES), ("set_by", set_by, SETTINGS)):
        check_choice(name, value, (None, *known))
    if strapping != (crossing is not None):
        what = "strapping goes with the members it crosses, and other kinds without"
        expected = "crossing=member_layout(...) for strapping alone"
        raise ArgumentError(what, column="crossing", value=members.kind, expected=expected)
    if crossing is not None and crossing.direction == members.direction:
        what = "strapping that runs along the members it is shimmed off"
        raise ArgumentError(what, column="direction", value=members.direction, expected="the other direction")
    if strapping and line not in (None, "clear"):
        raise ArgumentError(
            "a shim cannot be thinner than nothing", column="line", value=line, expected="clear, for strapping"
        )
    is_new = strapping and getattr(plan, "way", "patches") == "overlay"
    behind = _Behind.of(plan, members.thickness) if is_new else plan
    tracks = member_tracks(behind, members, step, crossing.positions if crossing is not None else None)
    if not any(track.known for track in tracks):
        what, expected = "no member has readings at two stations", "members on the surface that was read"
        raise MeasureError(what, expected=expected, remedy="check the positions and the direction of the layout")
    planned = dict(getattr(plan, "lines", {})) if line is None else {}
    chosen = "planned" if planned else line or _line_for(plan, members, every)
    if planned:
        lines = [np.array(planned.get(track.name, (np.nan, np.nan))) for track in tracks]
        # a member that is not set goes by its own ends, for the string past it
        own = fit_each(tracks, "clear")
        lines = [k if np.isnan(line_of).any() else line_of for k, line_of in zip(own, lines, strict=True)]
    else:
        lines = (fit_each if set_by == "each" else fit_strings)(tracks, chosen)
    table = _stations(tracks, lines, members, float(blocks))
    summary = _summary(tracks, lines, members, set_by, sister_depth, least_lap)
    shims = _shims(table, crossing)
    clearance = table["string_mm"] - table["existing_mm"]
    advice = ["fur" if strapping else "sister"]
    advice += ["take down"] if (summary["take_down_mm"] > 0).any() else []
    advice += ["block"] if members.cuts else []
    made = Schedule(
        table=table,
        members=summary,
        shims=shims,
        blocking=blocking(members, {track.name: (track.start, track.end) for track in tracks}),
        blocks_mm=max(0.0, -float(np.nan_to_num(clearance.min()))),
        line=chosen,
        set_by=set_by,
        notes=(
            *_notes(members, chosen, set_by, sister_thickness),
            *_faces(members, is_new, summary),
            *_too_deep(summary, shims, members),
            *_left_out(tracks),
        ),
        cautions=cautions_for(advice),
    )
    return made.only(list(planned)) if planned and len(planned) < sum(track.known for track in tracks) else made


def _line_for(plan: Planned, members: Members, every: bool) -> str:
    """The line where none is named: the target's own where that is straight, else by what may come off."""
    if getattr(plan, "strategy", "least-work") != "least-work" and members.kind != "strapping":
        return "nearest"
    settings = getattr(plan, "settings", {})
    planed = any(one.may_be_planed for one in settings.get("beneath") or ())
    stays = settings.get("shift") == "nothing-comes-off" or ("beneath" in settings and not planed)
    return "clear" if members.engineered or members.kind == "strapping" or stays or not every else "nearest"


def _stations(tracks: list[Track], lines: list[Floats], members: Members, blocks: float) -> pd.DataFrame:
    ends = [i for i, track in enumerate(tracks) if track.known]
    one, other = tracks[ends[0]], tracks[ends[-1]]
    frames = []
    for track, (level, slope) in zip(tracks, lines, strict=True):
        s = track.stations
        along = np.where(np.isfinite(track.top), level + slope * s, np.nan)
        string = np.full_like(s, np.nan)
        if other.position > one.position:
            share = (track.position - one.position) / (other.position - one.position)
            low, high = (lines[i][0] + lines[i][1] * s for i in (ends[0], ends[-1]))
            # no string where an end member was not read: its line is not carried past its readings
            reached = (s >= max(one.knots[0], other.knots[0]) - 1e-6) & (
                s <= min(one.knots[-1], other.knots[-1]) + 1e-6
            )
            string = np.where(reached, low + share * (high - low), np.nan)
        across = np.full_like(s, track.position)
        x, y = members.xy(s, across)
        frames.append(
            pd.DataFrame(
                {
                    "member": track.name,
                    "station_mm": s,
                    "x_mm": x,
                    "y_mm": y,
                    "existing_mm": track.top,
                    "target_mm": track.target,
                    "line_mm": _tidy(along),
                    "raise_mm": _tidy(along - track.top),
                    "string_mm": _tidy(string),
                    "offset_mm": _tidy(along - string),
                    "below_string_mm": _tidy(string + blocks - track.top),
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def _summary(
    tracks: list[Track],
    lines: list[Floats],
    members: Members,
    set_by: str,
    sister_depth: float | None,
    least_lap: float | None,
) -> pd.DataFrame:
    ends = [track.name for track in tracks if track.known]
    rows = []
    for track, (level, slope) in zip(tracks, lines, strict=True):
        row: dict[str, object] = {"member": track.name, "position_mm": track.position}
        row |= {"start_mm": track.start, "end_mm": track.end, "set": "", "note": track.lost}
        rows.append(row)
        if not track.known:
            continue
        s = track.knots
        along = level + slope * s
        raised = _tidy(along - track.knot_top)
        proud = np.maximum(0.0, -raised)
        chord = np.interp(s, s[[0, -1]], track.knot_top[[0, -1]])
        bow = _tidy(track.knot_top - chord)
        worst = int(np.argmax(np.abs(bow)))
        first = track.name in (ends[0], ends[-1])
        then = "to the string" if set_by == "string" else BY_OFFSETS
        row |= {
            "set": "first, with the other end member" if first else then,
            "raise_first_mm": raised[0],
            "raise_last_mm": raised[-1],
            "raise_most_mm": raised.max(),
            "take_down_mm": proud.max(),
            "take_down_at_mm": s[int(proud.argmax())] if proud.any() else np.nan,
            "may_be_taken_down": take_down_words(members, s, raised, track.start, track.end),
            "crown_mm": bow[worst],
            "crown_at_mm": s[worst] if bow[worst] else np.nan,
            "off_target_mm": _tidy(np.abs(along - track.knot_target)).max(),
            "slope_mm_per_m": 1000 * slope,
            "laps": lap_words(raised, members, sister_depth, least_lap),
        }
    return pd.DataFrame(rows)


@dataclass(frozen=True, eq=False)
class _Behind:
    """A plan for the back of strapping whose face on the room's side lies on the target."""

    surface: Surface
    change: Floats
    survey: Survey | None

    @classmethod
    def of(cls, plan: Planned, thickness: float) -> _Behind:
        return cls(plan.surface, np.asarray(plan.change, dtype=np.float64) - thickness, getattr(plan, "survey", None))


def _shims(table: pd.DataFrame, crossing: Members | None) -> pd.DataFrame:
    columns = ["strap", "member", "x_mm", "y_mm", "shim_mm", "order"]
    if crossing is None:
        return pd.DataFrame(columns=columns)
    name_at = dict(zip(crossing.positions.tolist(), crossing.table["name"], strict=True))
    shims = table.assign(strap=table["member"], member=table["station_mm"].map(name_at), shim_mm=table["raise_mm"])
    shims = shims[shims["shim_mm"].notna()]
    shims = shims.assign(order=shims["shim_mm"].rank(method="first").astype(int))
    return shims[columns].reset_index(drop=True)


def _notes(members: Members, line: str, set_by: str, sister_thickness: float) -> tuple[str, ...]:
    notes: list[str] = [Note(f"lines-{line}")]
    if members.kind == "strapping":
        notes.append(Note("shims-order"))
    elif members.kind != "stud":
        notes += sister_notes(members, sister_thickness)
    if set_by == "string":
        notes.append(Note("string-first"))
    return tuple(notes)


def _faces(members: Members, is_new: bool, summary: pd.DataFrame) -> Iterator[str]:
    """Which face of the strapping lies on the target, and what its thickness has to do with the shims."""
    if members.kind != "strapping":
        return
    if not is_new:
        yield Note("shims-behind")
        return
    yield Note("shims-face", thickness=members.thickness)
    short = float(summary["off_target_mm"].max())
    if settle(short) > 0:
        yield Note("straps-short", off=short)


def _too_deep(summary: pd.DataFrame, shims: pd.DataFrame, members: Members) -> Iterator[str]:
    """What is more than shims, or sisters, are for."""
    if len(shims) and float(shims["shim_mm"].max()) > SHIM_MM:
        worst = max(shims.to_dict("records"), key=lambda row: float(row["shim_mm"]))
        many = int((shims["shim_mm"] > SHIM_MM).sum())
        deepest = Note("deepest-shim", shim=worst["shim_mm"], strap=worst["strap"], member=worst["member"])
        yield Note("shims-deep", many=many, over=SHIM_MM, worst=deepest)
    if members.depth is None or members.kind == "strapping":
        return
    far = summary[summary["raise_most_mm"] > members.depth / 2]
    if len(far):
        yield Note("sisters-high", members=list(far["member"]), most=float(far["raise_most_mm"].max()))


def _left_out(tracks: list[Track]) -> list[str]:
    names = [track.name for track in tracks if not track.known]
    return [Note("members-unread", names=names)] if names else []


def _tidy(values: Floats) -> Floats:
    """Binary noise rounded off, a millionth of a millimetre, and no negative zero."""
    tidy: Floats = np.round(values, 6) + 0.0
    return tidy


SISTER_COLUMNS = ("member", "start_mm", "end_mm", "length_mm")


def sister_lengths(
    schedule: Schedule, members: Members, surface: Surface, survey: Survey, wanted: NDArray[np.bool_]
) -> pd.DataFrame:
    """The sisters of the members that are wanted [n], each as long as its member over the surface.

    What of a member lies beyond the surface is not sistered: the surface ends at its outline, where one is stated, else
    with the readings. A member that no reading reaches gets none.

    Returns
    -------
    DataFrame, one row a sister, in the members' order: ``member``, ``start_mm`` and ``end_mm`` along it, ``length_mm``
    """
    table = schedule.members[wanted & _were_read(schedule)]
    reach = table[["position_mm", "start_mm", "end_mm"]].itertuples(index=False)
    ends = [_over_surface(surface, survey, members.direction, *map(float, row)) for row in reach]
    start, end = np.array(ends, dtype=np.float64).reshape(-1, 2).T
    table = table.assign(start_mm=start, end_mm=end, length_mm=end - start)
    return table.loc[end > start, list(SISTER_COLUMNS)].reset_index(drop=True)


def _over_surface(
    surface: Surface, survey: Survey, direction: str, position: float, start: float, end: float
) -> tuple[float, float]:
    """From where to where [mm] a member lies beneath the surface; nothing: both its start."""
    if survey.outline is not None:
        points = [(start, position), (end, position)]
        met = survey.outline.intersection(LineString(points if direction == "x" else [(y, x) for x, y in points]))
        low_x, low_y, high_x, high_y = (start,) * 4 if met.is_empty else met.bounds
        return (low_x, high_x) if direction == "x" else (low_y, high_y)
    places = np.unique([start, end, *(surface.x if direction == "x" else surface.y), *survey.points[direction]])
    places = places[(places >= start) & (places <= end)]
    one = np.array([position])
    height = heights_at(survey, places, one) if direction == "x" else heights_at(survey, one, places)
    read = places[np.isfinite(height.ravel())]
    return (float(read[0]), float(read[-1])) if len(read) else (start, start)


def members_under(
    schedule: Schedule, members: Members, surface: Surface, nodes: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """[n] whether a member lies under the nodes [ny, nx].

    A node belongs to the member that is nearest to it and reaches so far along. A node halfway between two members
    belongs to both.
    """
    rows, columns = np.nonzero(nodes)
    along, across = members.xy(surface.x[columns], surface.y[rows])
    start, end = (schedule.members[name].to_numpy(dtype=np.float64) for name in ("start_mm", "end_mm"))
    away = np.abs(across[:, None] - members.positions)
    reaches = (along[:, None] >= start - 1e-6) & (along[:, None] <= end + 1e-6)
    away = np.where(reaches & _were_read(schedule), away, np.inf)
    nearest = away <= away.min(axis=1, keepdims=True) + 1e-6
    return np.asarray((nearest & np.isfinite(away)).any(axis=0))


def _were_read(schedule: Schedule) -> NDArray[np.bool_]:
    """[n] whether readings reach a member, so that it is known what it is set to, or that it stays."""
    return np.asarray(schedule.members["raise_most_mm"].notna() | (schedule.members["set"] == STAYS), dtype=bool)
