"""Many surveys as one table: which files they are, each one checked, what could not be checked, worst first.

They are checked by processes on this machine, or by the workers of a Dask cluster. Each process computes on one thread
(:mod:`flatness.arrays`), so as many processes as cores are busy. A process that ends in the middle, by want of memory
or by a signal, takes no result with it: what it was at is checked again, here alone in a process of its own, on a
cluster by another worker; what ends such a process again is a row with its error.
"""

from __future__ import annotations

import glob
import math
import os
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.errors import ArgumentError, FlatnessError, visible
from flatness.files import read_file, why
from flatness.limits.kinds import Limit, describe
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged, assess
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey
from flatness.words.checks import NOT_CHECKED
from flatness.words.phrases import error_text
from flatness.words.printed import number, place, shown_unit

ORDER = (FAIL, NOT_CHECKED, UNDECIDED, PASS)  # worst first: what could not be read may be anything
SUFFIXES = (".csv", ".xlsx")  # of the surveys that are looked for in a folder
COLUMNS = (
    "file",
    "title",
    "surface",
    "readings",
    "verdict",
    "limit",
    "measure",
    "as_read",
    "likely",
    "low",
    "high",
    "allowed",
    "unit",
    "used",
    "chance",
    "between",
    "x_mm",
    "y_mm",
    "found",
    "place",
    "failed",
    "undecided",
    "slips",
    "seconds",
    "error",
)
Draw = Callable[[Assessment, str], bytes]


@dataclass(frozen=True)
class File:
    """One survey file.

    Attributes
    ----------
    name : how it is called in the table
    path : where it is
    data : its bytes, where it is checked on another machine; None: it is read from its path
    """

    name: str
    path: str
    data: bytes | None = field(default=None, repr=False)

    def carried(self) -> File:
        """The same with its bytes; one that cannot be read is left as it is, and says so when it is checked."""
        try:
            return replace(self, data=read_file(self.path))
        except OSError:
            return self


@dataclass(frozen=True)
class CheckRequest:
    """What every survey is checked for.

    Attributes
    ----------
    limits : those that are meant for each kind of surface; a kind that has none is not checked
    options : as :func:`~flatness.limits.verdict.assess` takes them
    unit : ``in`` or ``mm``; None: as each survey was taken
    sheet : of a workbook
    draw : makes the small map of a survey from what was found and the unit; None: none is made
    """

    limits: Mapping[str, tuple[Limit, ...]]
    options: Mapping[str, Any] = field(default_factory=dict)
    unit: str | None = None
    sheet: str | None = None
    draw: Draw | None = None


@dataclass(frozen=True)
class Checked:
    """One survey, checked or not.

    Attributes
    ----------
    row : by the names of ``COLUMNS``
    picture : its small map, empty where there is none
    shown : the unit that its lengths are printed in; empty where it was not checked
    is_fault : whether it could not be checked by a fault of the program, not of the file
    """

    row: Mapping[str, Any]
    picture: bytes = b""
    shown: str = ""
    is_fault: bool = False

    @property
    def file(self) -> str:
        return str(self.row["file"])

    @property
    def verdict(self) -> str:
        return str(self.row["verdict"])


def find_files(named: Sequence[str], without: Sequence[str] = ()) -> list[File]:
    """The survey files that are meant, each once.

    Parameters
    ----------
    named : files; folders, of which all CSV and XLSX files count, at any depth; and patterns such as ``level2/*.csv``,
        which a shell may have left as they are
    without : files that are no surveys, such as the table that is written

    Raises
    ------
    ArgumentError : a folder or a pattern in which no survey is
    """
    out = {os.path.realpath(one) for one in without}
    found: dict[str, File] = {}
    for one in named:
        path = Path(one)
        if path.is_dir():
            inside = sorted(path.rglob("*"), key=lambda p: p.relative_to(path).as_posix())
            surveys = [p for p in inside if _is_survey(p, path)]
            # in one folder each by its path from there, else by the whole path
            chosen = [((p.relative_to(path) if len(named) == 1 else p).as_posix(), p) for p in surveys]
            what, expected = "no survey in this folder", f"files that end in {' or '.join(SUFFIXES)}"
        elif not path.exists() and glob.has_magic(one):
            chosen = [(p, Path(p)) for p in sorted(glob.glob(one, recursive=True)) if not Path(p).is_dir()]
            what, expected = "no file fits this pattern", "such as 'level2/*.csv'"
        else:  # one that is not there is a row with its error
            chosen, what, expected = [(one, path)], "", ""
        if not chosen:
            raise ArgumentError(what, value=one, expected=expected, remedy="name another folder, or the files")
        for name, p in chosen:
            real = os.path.realpath(p)
            if real not in out:
                found.setdefault(real, File(visible(name).replace("\n", "\\n"), str(p)))
    return list(found.values())


def _is_survey(path: Path, folder: Path) -> bool:
    parts = path.relative_to(folder).parts  # a spreadsheet that is open leaves '~$name.xlsx' beside it
    hidden = any(part.startswith((".", "~$")) for part in parts)
    # one that cannot be read, such as a link to nothing, is a row with its error
    return path.suffix.lower() in SUFFIXES and not hidden and not path.is_dir()


def check_file(request: CheckRequest, file: File) -> Checked:
    """Check one survey; whatever is wrong with it is in its row."""
    start, survey = time.perf_counter(), None
    try:
        data = read_file(file.path) if file.data is None else file.data
        survey = read_survey(data, name=os.path.basename(file.path), sheet=request.sheet)
        unit = shown_unit(survey, request.unit)
        limits = request.limits.get(survey.surface, ())
        if not limits:
            what, remedy = (
                f"none of the limits is for a {survey.surface}",
                "name one for it: `flatness limits` lists them",
            )
            raise ArgumentError(what, remedy=remedy)
        found = assess(survey, limits, **request.options)
        row = _row(found, unit)
        picture = request.draw(found, unit) if request.draw is not None else b""
        return Checked({**blank_row(file), **row, "seconds": time.perf_counter() - start}, picture, unit)
    except OSError as error:
        return not_checked(file, f"the file cannot be read: {why(error)}")
    except FlatnessError as error:
        return not_checked(file, error_text(error, request.unit or ("in" if survey is None else shown_unit(survey))))
    except Exception as error:  # one survey stops no other
        return not_checked(file, f"a fault of this program, not of the file ({type(error).__name__}: {error})", True)


def not_checked(file: File, error: str, is_fault: bool = False) -> Checked:
    """The row of a survey that could not be checked, and why."""
    return Checked({**blank_row(file), "verdict": NOT_CHECKED, "error": error}, is_fault=is_fault)


def blank_row(file: File) -> dict[str, Any]:
    """A row of which nothing but the file is known."""
    numbers = ("as_read", "likely", "low", "high", "allowed", "used", "chance", "x_mm", "y_mm", "seconds")
    return {**dict.fromkeys(COLUMNS, ""), **dict.fromkeys(numbers, math.nan), "readings": 0, "slips": 0} | {
        "file": file.name
    }


def _row(found: Assessment, unit: str) -> dict[str, Any]:
    survey, one = found.subject.survey, found.governing
    assert one is not None  # a survey without limits is not checked
    table = found.table.iloc[found.judged.index(one)]
    row = {key: table[key] for key in ("limit", "as_read", "likely", "low", "high", "allowed", "unit", "chance")}
    of = {verdict: [x.limit.name for x in found.judged if x.verdict == verdict] for verdict in (FAIL, UNDECIDED)}
    return {
        **row,
        "title": survey.title or "",
        "surface": survey.surface,
        "readings": len(survey.points),
        "verdict": found.verdict,
        "measure": describe(one.limit, unit),
        "used": _used(one),
        "between": one.between,
        "found": _found(one, unit),
        "failed": ", ".join(of[FAIL]),
        "undecided": ", ".join(of[UNDECIDED]),
        "slips": len(found.slips),
        **_where(one, survey, unit),
    }


def _used(one: Judged) -> float:
    """Share of the limit used up, likely where it was drawn, else as read; NaN where it was not measured."""
    if one.finding is None:
        return math.nan
    return float(pd.Series(one.used).median()) if len(one.used) else one.finding.used


def _found(one: Judged, unit: str) -> str:
    """What was found, as it is printed: as likely where that is known."""
    if one.finding is None:
        return ""
    middle = one.likely()[0]
    return number(one, one.finding.measured.value if math.isnan(middle) else middle, unit)


def _where(one: Judged, survey: Survey, unit: str) -> dict[str, Any]:
    at = None if one.finding is None else one.finding.measured.at
    return {} if at is None else {"x_mm": at[0], "y_mm": at[1], "place": place(at, unit, survey)}


def worst_first(checked: Iterable[Checked]) -> list[Checked]:
    """By verdict, then by how much of the limit is used up."""

    def key(one: Checked) -> tuple[int, float, str]:
        used = float(one.row["used"])
        return ORDER.index(one.verdict), -used if math.isfinite(used) else math.inf, one.file

    return sorted(checked, key=key)


def table_of(checked: Sequence[Checked]) -> pd.DataFrame:
    """One row a survey, in the order given."""
    return pd.DataFrame([one.row for one in checked], columns=list(COLUMNS))


def unit_of(checked: Iterable[Checked]) -> str:
    """Inches where all surveys are shown in them, else millimetres: a column has one unit."""
    return "in" if {one.shown for one in checked} - {""} == {"in"} else "mm"


def verdict_of(checked: Sequence[Checked]) -> str:
    """The worst verdict of all."""
    return min((one.verdict for one in checked), key=ORDER.index, default=PASS)


ENDED = "the process that checked it ended; it may need more memory than there is"
AT_ONCE = 4  # surveys a core that are under way on a cluster: their files travel meanwhile
WAIT_S = 20.0  # for an answer of a cluster, and for its first worker
Check = Callable[[CheckRequest, File], Checked]


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def check_here(
    files: Sequence[File], request: CheckRequest, processes: int = 0, check: Check = check_file
) -> Iterator[Checked]:
    """Check surveys on this machine, each as it is done.

    Parameters
    ----------
    processes : 0 takes one a core; 1 checks in this process itself
    check : what is done with each, a function that a process can be sent
    """
    if processes < 0:
        raise ArgumentError("processes out of range", value=str(processes), expected="0 for one a core, or more")
    processes = min(processes or cores(), len(files))
    if processes <= 1:
        yield from (check(request, file) for file in files)
        return
    left, alone = list(files), list[File]()
    while left:
        done, under_way = yield from _by_pool(left, request, processes, check)
        left = [file for file in left if file not in done and file not in under_way]
        alone += under_way
    for file in alone:
        done, _ = yield from _by_pool([file], request, 1, check)
        if not done:
            yield not_checked(file, ENDED, is_fault=True)


def _by_pool(
    files: Sequence[File], request: CheckRequest, processes: int, check: Check
) -> Generator[Checked, None, tuple[set[File], list[File]]]:
    """Check until all is done, or a process ends; returns what was done, and what was under way then."""
    done, waiting = set[File](), list(reversed(files))
    # spawned, not forked: a copy of a process that has threads may hang
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        under_way: dict[Future[Checked], File] = {}
        broken = False
        while (waiting or under_way) and not broken:
            # no more than there are processes: what is under way when one ends is what it may have ended on
            while waiting and len(under_way) < processes:
                file = waiting.pop()
                under_way[pool.submit(check, request, file)] = file
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                try:
                    result = future.result()
                except BrokenProcessPool:
                    broken = True
                    continue
                done.add(under_way.pop(future))
                yield result
    return done, list(under_way.values())


def check_on_cluster(
    files: Sequence[File], request: CheckRequest, address: str, check: Check = check_file
) -> Iterator[Checked]:
    """Check surveys on the workers of a Dask cluster, each as it is done.

    The files' bytes go to the workers, which need the kit and none of the folders. The scheduler gives what a lost
    worker was at to another one.

    Parameters
    ----------
    address : of the scheduler, such as ``tcp://10.0.0.5:8786``

    Raises
    ------
    FlatnessError : Dask is not installed; nothing answers at the address, or it has no worker
    """
    try:
        import distributed
    except ImportError as error:
        what, remedy = "Dask is not installed", 'pip install "surface-flatness-kit[cluster]"'
        raise FlatnessError(what, column="--cluster", value=address, remedy=remedy) from error
    with _client(distributed.Client, address) as client:
        _wait_for_workers(client, address)
        waiting, under_way = list(reversed(files)), dict[Any, File]()
        most = max(8, AT_ONCE * sum(client.ncores().values()))

        def send() -> Any:
            file = waiting.pop()
            future = client.submit(check, request, file.carried(), pure=False)
            under_way[future] = file
            return future

        as_completed: Any = distributed.as_completed  # which has no types
        finished = as_completed([send() for _ in range(min(most, len(waiting)))], loop=client.loop)
        for future in finished:
            file = under_way.pop(future)
            try:
                result = future.result()
            except BaseException as error:
                if isinstance(error, (KeyboardInterrupt, GeneratorExit)):
                    raise
                result = not_checked(file, _lost(error), is_fault=True)
            yield result
            if waiting:
                finished.add(send())


def _client(client: Any, address: str) -> Any:
    try:
        return client(address, timeout=WAIT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        what, expected = "no cluster answers at this address", "the scheduler's, such as tcp://10.0.0.5:8786"
        remedy = "start one with `dask scheduler`, and workers with `dask worker ADDRESS --nthreads 1 --nworkers auto`"
        raise FlatnessError(what, column="--cluster", value=address, expected=expected, remedy=remedy) from error


def _wait_for_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError as error:
        what, remedy = "the cluster has no worker", f"start some: `dask worker {address} --nthreads 1 --nworkers auto`"
        raise FlatnessError(what, column="--cluster", value=address, remedy=remedy) from error


def _lost(error: BaseException) -> str:
    if type(error).__name__ == "KilledWorker":
        return "every worker that checked it ended; it may need more memory than they have"
    return f"the cluster did not check it ({type(error).__name__}: {error})"
