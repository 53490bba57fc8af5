"""A schedule of some members only: the others stay, and the string goes between the end members as they stand."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

STAYS = "stays as it is"
BY_OFFSETS = "by its offsets from the string"
WORK = (
    "raise_first_mm", "raise_last_mm", "raise_most_mm", "take_down_mm", "take_down_at_mm", "off_target_mm",
    "slope_mm_per_m",
)  # fmt: skip
SOME = (
    "only some members are set: their lines are not held against the limits or the fixed spots, as they are where all "
    "are set; check the spots beside a member before it is fastened, and do the patches about them"
)


def left_as_they_are(
    members: pd.DataFrame, table: pd.DataFrame, names: Collection[str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The summary and the stations of a schedule in which only the members of these names are set.

    Parameters
    ----------
    members, table : as :class:`~flatness.corrections.schedule.Schedule` has them
    names : of the members that are set

    Returns
    -------
    members : a member that stays says so and carries no work
    table : a member that stays has no line; the string goes between the tops of the end members where these stay
    """
    known = members["raise_most_mm"].notna()
    stay = ~members["member"].isin(list(names)) & known
    ends = members.loc[known, "member"].iloc[[0, -1]].tolist() if known.any() else []
    told = members.assign(set=members["set"].where(~stay, STAYS))
    told.loc[stay, [name for name in WORK if name in told]] = np.nan
    for name in ("may_be_taken_down", "laps"):
        told.loc[stay, name] = ""
    staying, is_end = set(members.loc[stay, "member"]), members["member"].isin(ends)
    if (stay & is_end).any():
        told.loc[~stay & known & ~is_end, "set"] = BY_OFFSETS
        table = _strung(table, members.set_index("member")["position_mm"], ends, staying)
    blank = table["member"].isin(staying)
    return told, table.assign(**{name: table[name].where(~blank) for name in ("line_mm", "raise_mm", "offset_mm")})


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
        string_mm=string, offset_mm=np.round(table["line_mm"] - string, 6) + 0.0,
        below_string_mm=np.round(string + blocks - table["existing_mm"], 6) + 0.0,
    )  # fmt: skip
