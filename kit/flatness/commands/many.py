"""``flatness check`` of many surveys: a folder, patterns, several files; one table, one page."""

from __future__ import annotations

import argparse
import glob
import io
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.building import (
    Checked,
    CheckRequest,
    File,
    check_here,
    check_on_cluster,
    find_files,
    table_of,
    unit_of,
    verdict_of,
    worst_first,
)
from flatness.commands.options import EXIT, limits_of, make_folder, new_report, print_written, read_fields, rows
from flatness.errors import FlatnessError
from flatness.files import written_together
from flatness.job.schema import ABOUT, PLAN, Field, Keys
from flatness.job.values import Number
from flatness.limits.kinds import SURFACES
from flatness.words.checks import NOT_CHECKED

FORMS = (".csv", ".xlsx", ".parquet")
BAD_INPUT, UNFORESEEN = 2, 70
OF_ONE = ("out", "more", "spot_check")  # options that are about one survey
OF_MANY = ("table", "page", "processes", "cluster")
KEYS: Keys = {
    "processes": Field(Number(0, 256, whole=True), "how many surveys are checked at once; one a core where not given"),
    "headings": PLAN["headings"],
    "confidence": ABOUT["confidence"],
    "draws": ABOUT["draws"],
    "seed": ABOUT["seed"],
    "unit": ABOUT["show"],
}


def add_many(parser: argparse.ArgumentParser) -> None:
    """Add the options of many surveys to the parser of the check."""
    group = parser.add_argument_group("many surveys")
    told = "write one table, worst first: .csv, .xlsx, or .parquet where pyarrow is installed"
    group.add_argument("--table", metavar="FILE", help=told)
    group.add_argument("--page", metavar="FILE", help="write one page, worst first, a small map each: .html")
    group.add_argument("--processes", metavar="N", help=KEYS["processes"].help)
    told = "check on a Dask cluster instead, by the address of its scheduler, such as tcp://10.0.0.5:8786"
    group.add_argument("--cluster", metavar="ADDRESS", help=told)
    group.add_argument("--overwrite", action="store_true", help="replace a table and a page that the kit wrote")


def is_many(options: argparse.Namespace) -> bool:
    """Whether the options of a check ask for many surveys, or for what many have."""
    named = options.file
    several = len(named) > 1 or Path(named[0]).is_dir() or (glob.has_magic(named[0]) and not Path(named[0]).exists())
    return several or any(getattr(options, key) is not None for key in OF_MANY)


def run_many(options: argparse.Namespace) -> int:
    """Check many surveys; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is; of a survey it is told in its row
    """
    from flatness.words.checks import building_report

    table_path, page_path = _checked_outputs(options)
    asked = _asked(options)
    files = find_files(options.file, [str(path) for path in (table_path, page_path) if path is not None])
    checked = worst_first(_checked(files, asked, options))
    table = table_of(checked)
    if not options.json:
        print(building_report(table), flush=True)  # whatever becomes of the files
    written = list[Path]()
    with written_together():
        if table_path is not None:
            written.append(_write_table(table_path, table, asked.unit or unit_of(checked), options.overwrite))
        if page_path is not None:
            written.append(_write_page(page_path, checked, table, options))
    if options.json:
        print(json.dumps({**_json(checked, table), "written": [one.as_posix() for one in written]}, allow_nan=False))
    else:
        print_written(written)
    return exit_code(checked)


def exit_code(checked: Sequence[Checked]) -> int:
    """1 where any fails, else 2 (70 by a fault of the program) where any could not be checked, else 3, else 0."""
    verdict = verdict_of(checked)
    if verdict == NOT_CHECKED:
        return UNFORESEEN if any(one.is_fault for one in checked) else BAD_INPUT
    return EXIT[verdict]


def _checked_outputs(options: argparse.Namespace) -> tuple[Path | None, Path | None]:
    """Where to write, looked at before anything is checked, which may take long."""
    from flatness.files import check_free

    for key in OF_ONE:
        if getattr(options, key) is not None:
            option, remedy = f"--{key.replace('_', '-')}", "check that survey alone; or --table and --page, of all"
            raise FlatnessError("this is about one survey, and many are checked", column=option, remedy=remedy)
    if options.cluster is not None and options.processes is not None:
        what, expected = "a cluster has processes of its own", "--cluster or --processes, not both"
        raise FlatnessError(what, column="--processes", value=options.processes, expected=expected)
    found = []
    for option, given, forms in (("--table", options.table, FORMS), ("--page", options.page, (".html",))):
        path = None if given is None else Path(given)
        if path is not None:
            if path.suffix.lower() not in forms:
                raise FlatnessError(
                    "unknown form", column=option, value=given, expected=f"a name in {', '.join(forms)}"
                )
            if path.suffix.lower() == ".parquet":
                _pyarrow()
            if path.suffix.lower() != ".csv":  # one is known by its headings, when it is written
                check_free(path, overwrite=options.overwrite)
            elif not options.overwrite:
                check_free(path, overwrite=False)
        found.append(path)
    return found[0], found[1]


def _asked(options: argparse.Namespace) -> CheckRequest:
    draw = None
    if options.page is not None:
        from flatness.papers.building import small_map

        draw = small_map
    keys = dict(KEYS)
    report_ = new_report(keys)
    own = read_fields(options, keys, report_)
    limits = limits_of(options, None, report_, "to check the surveys against")
    report_.stop_if_any()
    options.processes_read = own.pop("processes")
    unit = own.pop("unit")
    return CheckRequest(
        limits={surface: tuple(one for one in limits if surface in one.surfaces) for surface in SURFACES},
        options={key: value for key, value in own.items() if value is not None},
        unit=unit,
        sheet=options.sheet,
        draw=draw,
    )


def _checked(files: Sequence[File], asked: CheckRequest, options: argparse.Namespace) -> list[Checked]:
    """All of them, each told on the standard error output as it is done."""
    from flatness.words.checks import progress

    if options.cluster is not None:
        each = check_on_cluster(files, asked, options.cluster)
    else:
        each = check_here(files, asked, options.processes_read or 0)
    start, found = time.perf_counter(), list[Checked]()
    for one in each:
        found.append(one)
        took, elapsed = float(one.row["seconds"]), time.perf_counter() - start
        print(progress(len(found), len(files), one.file, one.verdict, took, elapsed), file=sys.stderr, flush=True)
    return found


def _write_table(path: Path, table: pd.DataFrame, unit: str, overwrite: bool) -> Path:
    from flatness.export.tables import write_table, write_workbook
    from flatness.files import write_ours

    make_folder(path.parent, "--table")
    if path.suffix.lower() == ".csv":
        return write_table(path, table, unit, overwrite=overwrite)
    if path.suffix.lower() == ".xlsx":
        return write_workbook(path, {"surveys": table}, unit, overwrite=overwrite)
    return write_ours(path, _parquet_bytes(table, unit), overwrite=overwrite)


def _parquet_bytes(table: pd.DataFrame, unit: str) -> bytes:
    from flatness.files import SOFTWARE
    from flatness.spreadsheet import in_unit

    arrow, parquet = _pyarrow()
    made, out = arrow.Table.from_pandas(in_unit(table, unit), preserve_index=False), io.BytesIO()
    # by this the kit knows its own file again
    parquet.write_table(made.replace_schema_metadata({**(made.schema.metadata or {}), "software": SOFTWARE}), out)
    return out.getvalue()


def _pyarrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        remedy = "`pip install pyarrow`, or write .csv or .xlsx"
        raise FlatnessError(
            "pyarrow, which writes Parquet, is not installed", column="--table", remedy=remedy
        ) from error
    return pyarrow, pyarrow.parquet


def _write_page(path: Path, checked: Sequence[Checked], table: pd.DataFrame, options: argparse.Namespace) -> Path:
    from flatness.papers.building import building_page, write_building

    make_folder(path.parent, "--page")
    folders = [Path(one).resolve().name for one in options.file if Path(one).is_dir()]
    title = ", ".join(folders) or "Surveys"
    pictures = {one.file: one.picture for one in checked if one.picture}
    return write_building(path, building_page(table, pictures, title), overwrite=options.overwrite)


def _json(checked: Sequence[Checked], table: pd.DataFrame) -> dict[str, object]:
    return {"verdict": verdict_of(checked), "surveys": rows(table)}
