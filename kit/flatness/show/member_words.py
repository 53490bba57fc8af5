"""A schedule of members in words and in a table that fits a terminal 80 wide."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from flatness.corrections.schedule import Schedule
from flatness.corrections.staying import STAYS
from flatness.lengths import settle
from flatness.show.compared import columns
from flatness.show.done_words import depth, least_told
from flatness.show.scales import printed_place
from flatness.show.words import hanging, in_unit


def members_text(schedule: Schedule, unit: str) -> str:
    """The members in the order they are set: those that are set first stand first.

    Parameters
    ----------
    schedule : what each member is set to
    unit : ``in`` or ``mm``

    Returns
    -------
    str : lines of at most 80 characters
    """
    shimmed = len(schedule.shims) > 0
    lift = "shim" if shimmed else "raise"
    known = schedule.members[schedule.members["raise_most_mm"].notna()].to_dict("records")
    known = [row for row in known if row["set"] != STAYS]
    ordered = sorted(known, key=lambda row: not str(row["set"]).startswith("first"))
    rows = [["", "set", f"{lift} first end", "last end", "most", "take down", "at"]]
    for row in ordered:
        down = float(row["take_down_mm"])
        told = (_signed(float(row[f"raise_{end}_mm"]), unit) for end in ("first", "last", "most"))
        off = (depth(down, unit)[1:], _at(row, unit)) if _told(down, unit) else ("-", "")
        rows.append([str(row["member"]), _when(str(row["set"])), *told, *off])
    lines = [f"  {line}" for line in columns(rows, left=(0, 1))]
    return "\n".join(["Members, in the order they are set", *lines, *_remarks(schedule, known, unit)])


def _signed(mm: float, unit: str) -> str:
    """As :func:`_size`, as a terminal shows it."""
    return _size(mm, unit).replace("\N{MINUS SIGN}", "-")


def _size(mm: float, unit: str) -> str:
    """A signed number of a table: 0 where a tape tells nothing."""
    return depth(mm, unit) if _told(mm, unit) else "0"


def _told(mm: float, unit: str) -> bool:
    return settle(abs(mm) - least_told(unit)) >= 0


def _when(words: str) -> str:
    """``first``, ``to string`` or ``by offset``."""
    if words.startswith("first"):
        return "first"
    return "to string" if words == "to the string" else "by offset"


def _at(row: Mapping[Any, Any], unit: str) -> str:
    return printed_place(float(row["take_down_at_mm"]), unit).replace("\N{MINUS SIGN}", "-")


def _remarks(schedule: Schedule, known: list[dict[Any, Any]], unit: str) -> Iterator[str]:
    left = schedule.members.loc[schedule.members["set"] == STAYS, "member"]
    if len(left):
        yield hanging(f"Stay as they are, no place over them being sistered: {', '.join(map(str, left))}.")
    yield hanging(f"0 is less than {'1/64 in' if unit == 'in' else '0.1 mm'}.")
    if "by offset" in {_when(str(row["set"])) for row in known}:
        yield hanging("By offset: to its offsets from the string between the two end members, in the schedule.")
    for name, words in (("may_be_taken_down", "Taking down"), ("laps", "Sister laps"), ("note", "Note")):
        said: dict[str, list[str]] = {}
        for row in schedule.members.to_dict("records"):
            tiny = name == "may_be_taken_down" and not _told(float(row["take_down_mm"]), unit)
            if isinstance(row[name], str) and row[name] and not tiny:
                said.setdefault(row[name], []).append(str(row["member"]))
        for text, members in said.items():
            yield hanging(in_unit(f"{words}, {', '.join(members)}: {text}.", unit))
    if len(schedule.shims):
        shims = schedule.shims["shim_mm"]
        least, most = (depth(float(value), unit).lstrip("+") for value in (shims.min(), shims.max()))
        start = schedule.shims.sort_values("order").to_dict("records")[0]
        yield hanging(
            f"Shims: {len(shims)} crossings, {least} to {most}; start where {start['strap']} crosses {start['member']}."
        )
    for row in schedule.blocking.to_dict("records"):
        cut, low, high = (printed_place(float(row[name]), unit) for name in ("cut_at_mm", "from_mm", "to_mm"))
        yield hanging(f"Block {row['member']} from {low} to {high}, beside its cut at {cut}.")
    if _told(schedule.blocks_mm, unit):
        yield hanging(f"Blocks under the string's ends: {depth(schedule.blocks_mm, unit)[1:]} at least keep it clear.")
