"""The tables of a job file: known keys, needed keys, and what each of them holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic

from flatness.job.report import JobReport, Made, key_path
from flatness.survey.cells import nearest

Reader = Callable[[Any, str, JobReport], Any]  # value, path, report; what is wrong goes into the report


@dataclass(frozen=True)
class Key:
    """One key of a table: what reads its value, and whether it must be there."""

    read: Reader
    needed: bool = False


Keys = Mapping[str, Key]


@dataclass(frozen=True)
class Table:
    """A table of the file.

    Attributes
    ----------
    path : such as ``fixed[2]``; lists are counted from 1
    raw : as the file gives it
    values : by key, those that could be read, lengths in mm; keys that the file leaves out are not there
    is_right : whether all its keys are known, could be read, and none that it needs is missing
    """

    path: str
    raw: Mapping[str, Any]
    values: dict[str, Any]
    is_right: bool


def read_table(raw: Any, path: str, keys: Keys, report: JobReport, top: Keys | None = None) -> Table | None:
    """The table at ``path``, what is wrong with it put into the report; None where it is no table.

    Parameters
    ----------
    raw : as the file gives it
    path : of the table; empty for the file's own top
    keys : that it may have
    top : keys of the file's top: where one of them stands in this table, it slipped below the table's heading
    """
    before = len(report.problems)
    if isinstance(raw, list) and raw and all(isinstance(one, dict) for one in raw):
        report.add(path, "several tables where there is one", raw, f"one table [{path}]", "keep one of them")
    elif not isinstance(raw, dict):
        report.add(path, "not a table", raw, f"a table of keys: {', '.join(keys)}", f"write [{path}] above its keys")
    if len(report.problems) > before:
        return None
    values = {}
    for key, one in raw.items():
        if key in keys:
            problems = len(report.problems)
            value = keys[key].read(one, key_path(path, key), report)
            if len(report.problems) == problems:
                values[key] = value
        else:
            report.add(key_path(path, key), "unknown key", one, ", ".join(keys), _remedy(key, keys, top))
    for key, known in keys.items():
        if known.needed and key not in raw:
            report.add(key_path(path, key), "a key is missing", "nothing", f"a line that begins with {key} =", "add it")
    return Table(path, raw, values, len(report.problems) == before)


def read_tables(raw: Any, path: str, keys: Keys, report: JobReport, top: Keys | None = None) -> list[Table | None]:
    """The tables ``[[path]]``, each as by :func:`read_table`; none where the file has none."""
    if raw is None:
        return []
    if not isinstance(raw, list) or not all(isinstance(one, dict) for one in raw):
        single = isinstance(raw, dict)
        report.add(
            path, "one table where there may be several" if single else "not a list of tables", raw,
            f"tables that begin with [[{path}]]", f"write [[{path}]] above the keys of each",
        )  # fmt: skip
        return [None]
    return [read_table(one, f"{path}[{i}]", keys, report, top) for i, one in enumerate(raw, 1)]


def right(tables: list[Table | None]) -> list[Table]:
    """Those with nothing wrong."""
    return [table for table in tables if table is not None and table.is_right]


@dataclass(frozen=True)
class Placed(Generic[Made]):
    """What the value or table ``raw`` at ``path`` of the file says."""

    path: str
    raw: Any
    item: Made


def make_all(tables: list[Table | None], maker: Callable[..., Made], report: JobReport) -> list[Placed[Made]]:
    """What ``maker`` makes of each right table's values; what it refuses goes into the report."""
    made = [(one, report.make(one.path, one.raw, maker, **one.values)) for one in right(tables)]
    return [Placed(one.path, one.raw, item) for one, item in made if item is not None]


def _remedy(key: str, keys: Keys, top: Keys | None) -> str:
    if top is not None and key in top:
        return f"{key} belongs at the top of the file, above the first [table]"
    return f"did you mean {nearest(key, keys)}?"
