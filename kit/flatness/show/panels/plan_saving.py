"""A plan as files that are new: its tables as a workbook or as CSV, its map as a picture, itself to be read again."""

from __future__ import annotations

import io
import os
from pathlib import Path

from flatness.corrections.plan import Plan
from flatness.corrections.saved_plan import save_plan
from flatness.corrections.schedule import Schedule
from flatness.corrections.spreadsheet import write_csv, write_xlsx
from flatness.errors import ArgumentError
from flatness.show.actions import action_map
from flatness.show.axes import SOFTWARE, root_of
from flatness.show.data_out.tables import in_words
from flatness.show.words import in_unit
from flatness.survey.saving import write_new

DOTS_PER_INCH = 150
ANOTHER = "type another name for the files"


def save_workbook(plan: Plan, schedule: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> Path:
    """Patches, members, quantities, notes and cautions as a workbook NAME.xlsx.

    Raises
    ------
    ArgumentError : a name that cannot be one, or is taken; nothing is written then
    """
    patches = plan.patches.drop(columns="outline")
    sheets = {"patches": patches, "limits": plan.after, "quantities": plan.quantities.table}
    words = [*plan.notes, *(f"{one.text} ({one.source})" for one in plan.cautions)]
    if schedule is not None:
        parts = {
            "members": schedule.members, "stations": schedule.table, "shims": schedule.shims,
            "blocking": schedule.blocking,
        }  # fmt: skip
        sheets |= {key: part for key, part in parts.items() if len(part)}
        words += [*schedule.notes, *(f"{one.text} ({one.source})" for one in schedule.cautions)]
    path = _free(folder, name, ".xlsx")
    told = [in_unit(text, unit) for text in dict.fromkeys(words)]
    write_xlsx(path, {key: in_words(sheet, unit) for key, sheet in sheets.items()}, told, unit)
    return path


def save_csv(
    plan: Plan, schedule: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str
) -> list[Path]:  # fmt: skip
    """Patches as NAME-patches.csv and, where members are given, stations as NAME-members.csv; all or none.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    tables = {"patches": plan.patches.drop(columns="outline")}
    if schedule is not None:
        tables["members"] = schedule.table
    paths = {key: _free(folder, name, f"-{key}.csv") for key in tables}
    for key, path in paths.items():
        write_csv(path, in_words(tables[key], unit), unit)
    return list(paths.values())


def save_map(plan: Plan, folder: str | os.PathLike[str], name: str, unit: str) -> Path:
    """The map of the plan as NAME.png.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    path, picture = _free(folder, name, ".png"), io.BytesIO()
    figure = root_of(action_map(plan, unit=unit).ax)
    figure.savefig(picture, format="png", dpi=DOTS_PER_INCH, facecolor="white", metadata={"Software": SOFTWARE})
    write_new(path, picture.getvalue(), False, remedy=ANOTHER)
    return path


def save_whole(plan: Plan, folder: str | os.PathLike[str], name: str) -> Path:
    """The plan itself as NAME.json, which can be presented, and which work can be held against.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    return save_plan(plan, _free(folder, name, ".json"))


def _free(folder: str | os.PathLike[str], name: str, ending: str) -> Path:
    """Where a file goes: into the folder itself, under a name that is typed without its ending."""
    plain = name.strip()
    for known in (".xlsx", ".csv", ".png", ".json"):
        plain = plain.removesuffix(known)
    if not plain or not plain.isprintable() or Path(plain).name != plain or plain.startswith("."):
        raise ArgumentError(
            "not a name for a file", column="Name of the files", value=name.strip() or "empty",
            expected="a name without folders, such as loft plan", remedy=ANOTHER,
        )  # fmt: skip
    path = Path(folder) / f"{plain}{ending}"
    if path.exists():
        raise ArgumentError(
            "there is a file of this name already", file=path.name, expected="a new name", remedy=ANOTHER
        )
    return path
