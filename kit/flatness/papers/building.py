"""A building's page: its surveys by verdict, worst first, a small map each; one HTML file that needs nothing else."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.files import SOFTWARE, write_ours
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment
from flatness.papers.figures import INK, key_picture, room_figure, svg_of
from flatness.papers.owner import Day
from flatness.papers.sheet import coded_picture, make_html
from flatness.words.checks import HINTS, NOT_CHECKED, building_answer, first_problem, groups

WIDE_IN, TALL_IN, DPI = 2.2, 1.6, 220  # of a small map
MOST_LIMITS = 3  # that are named at the top
KEY = {
    "fine": "within the limit",
    "near": "close to it",
    "high": "too high",
    "low": "too low",
    "undecided": "not settled",
    "unread": "not measured",
    "whole": "judged as a whole",
}
AUTHORITY = (
    "This page says what was measured. It does not judge the structure: local codes, the maker of the finish and "
    "licensed practice decide."
)


def small_map(found: Assessment, unit: str) -> bytes:
    """A survey's small map as PNG: by the limit that governs, what is fine, near and wrong, and where it is worst."""
    day, one = Day.of(found), found.governing
    limit = one.limit if one is not None and one.finding is not None else None
    day = replace(day, limit=limit, verdict=found.verdict)
    # the best estimate smooths away what is short: as read it may show, else no one place of the map is what fails
    others = (replace(day, surface=found.subject.surface), replace(day, limit=None))
    for each in (day, *others) if day.verdict == FAIL else (day,):
        figure, room = room_figure(each.surface, each.survey, WIDE_IN, TALL_IN)
        if each.lay(room) & {"high", "low", "bar"}:
            break
    room.openings()
    at = one.worst_at if one is not None and one.finding is not None else None
    if at is not None:
        style: dict[str, Any] = {"markersize": 5, "markeredgecolor": "white", "markeredgewidth": 0.8, "zorder": 7}
        room.ax.plot(*at, "o", color=INK, scalex=False, scaley=False, **style)
    out = io.BytesIO()  # a picture of points: many maps of lines and textures make a page of many megabytes
    figure.savefig(out, format="png", dpi=DPI, facecolor="white", metadata={"Software": SOFTWARE})
    return out.getvalue()


def building_page(table: pd.DataFrame, pictures: Mapping[str, bytes], title: str) -> str:
    """The page.

    Parameters
    ----------
    table : one row a survey, worst first, as :func:`~flatness.building.table_of` gives it
    pictures : of some files by name, as :func:`small_map` draws them
    title : of the page
    """
    parts = [
        {"verdict": verdict, "name": name, "hint": HINTS[verdict].replace("`", ""), "cards": _cards(rows, pictures)}
        for verdict, name, rows in groups(table)
    ]
    key = [(words, coded_picture(svg_of(key_picture(kind)), ".svg")) for kind, words in KEY.items()] if pictures else []
    measures = list(dict.fromkeys(text for text in table["measure"] if text))
    limits = "; ".join(measures) if len(measures) <= MOST_LIMITS else ""
    data = {
        "title": title,
        "answer": building_answer(table),
        "limits": limits,
        "parts": parts,
        "key": key,
        "authority": AUTHORITY,
        "not_checked": NOT_CHECKED,
    }
    return make_html("building.html", data, {})


def write_building(path: Path, page: str, *, overwrite: bool = False) -> Path:
    """Write the page; ArgumentError where a file that the kit did not write stands there."""
    return write_ours(path, page.encode("utf-8"), overwrite=overwrite)


def _cards(rows: pd.DataFrame, pictures: Mapping[str, bytes]) -> list[dict[str, Any]]:
    found = []
    for _, row in rows.iterrows():
        name = row["title"] or row["file"]
        chance = row["chance"]
        sure = "" if pd.isna(chance) or row["verdict"] != UNDECIDED else f"within it {100 * chance:.0f} times in 100"
        assumed = row["verdict"] == PASS and row["between"] == "assumed"
        found.append(
            {
                "name": name,
                "file": row["file"] if row["file"] != name else "",
                "found": row["found"],
                "allowed": row["measure"],
                "place": row["place"],
                "sure": sure,
                "between": "at the stations; nobody looked between" if assumed else "",
                "slips": int(row["slips"]),
                "error": first_problem(row["error"]),
                "picture": coded_picture(pictures[row["file"]], ".png") if row["file"] in pictures else "",
            }
        )
    return found
