"""``read_job``: the job that a TOML file names, with all that is wrong with it in one report.

Keys are called as the arguments of the functions that they go to. Lengths are written as people write them: a text
with its unit, or a number in the unit that the file names. Lists are counted from 1 in messages: ``fixed[1]`` is the
first [[fixed]].
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from flatness.corrections.beneath import Beneath
from flatness.corrections.terms import FixedSpot
from flatness.job.asked_limits import read_limits, settle_limits
from flatness.job.features import (
    COMPARE,
    FEATURES,
    LAYER,
    REVEAL,
    make_compared,
    make_features,
    make_layers,
    make_reveals,
)
from flatness.job.files import SURVEYS, read_surveys, read_toml
from flatness.job.records import Job
from flatness.job.rehearsal import Parts, rehearse
from flatness.job.report import JobReport
from flatness.job.tables import Key, Keys, Table, make_all, read_table, read_tables
from flatness.job.values import choice, count, number, text, unit
from flatness.job.work import (
    BENEATH,
    FIXED,
    MATERIALS,
    MEMBERS,
    PLAN,
    make_framing,
    make_materials,
    make_plan,
)

SINGLE: dict[str, Keys] = {
    "surveys": SURVEYS, "plan": PLAN, "members": MEMBERS, "materials": MATERIALS, "compare": COMPARE,
}  # fmt: skip
SEVERAL: dict[str, Keys] = {
    "fixed": FIXED, "beneath": BENEATH, "layers": LAYER, **{kind: keys for kind, (_, keys) in FEATURES.items()},
    "reveal": REVEAL,
}  # fmt: skip
MOST_DRAWS = 100_000


def _kept(raw: Any, path: str, report: JobReport) -> Any:
    """Tables and limits are read by themselves."""
    return raw


ABOUT: Keys = {
    "title": Key(text), "unit": Key(unit), "show": Key(choice("in", "mm")), "limits": Key(_kept),
    "confidence": Key(number(least=0.5, most=1, below=True)), "draws": Key(count(0, MOST_DRAWS)),
    "seed": Key(count(0, 2**32 - 1)),
}  # fmt: skip
TOP: Keys = {**ABOUT, **{name: Key(_kept, name == "surveys") for name in (*SINGLE, *SEVERAL)}}
FOR_A_PLAN = ("members", "materials", *SEVERAL)


def read_job(path: str | os.PathLike[str]) -> Job:
    """The job that a file names, its surveys read.

    Parameters
    ----------
    path : of a TOML file; the surveys' paths in it start from its folder

    Returns
    -------
    Job : everything in mm

    Raises
    ------
    JobFileError : with all that is wrong with the file and with its surveys, each with its key and the remedy
    """
    file = Path(path)
    raw = read_toml(file)
    report = JobReport(file.name)
    if "unit" in raw:  # before any length is read
        report.unit = unit(raw["unit"], "unit", JobReport(file.name)) or "mm"
    about = read_table(raw, "", TOP, report)
    single = {name: _single(raw, name, report) for name in SINGLE}
    several = {name: read_tables(raw.get(name), name, keys, report, ABOUT) for name, keys in SEVERAL.items()}
    _check_used(raw, report)
    asked = read_limits(raw["limits"], "limits", report) if "limits" in raw else ()
    parts = Parts(
        raw, make_all(several["fixed"], FixedSpot, report), make_all(several["beneath"], Beneath, report),
        [one for kind in FEATURES for one in make_features(kind, several[kind], report)],
        make_reveals(several["reveal"], report),
        all(one is None or one.is_right for one in (about, single["plan"], *several["fixed"], *several["beneath"])),
    )  # fmt: skip
    framing = make_framing(single["members"], report)
    materials = make_materials(single["materials"], framing, report, "members" in raw)
    surveys = read_surveys(single["surveys"], file.parent, report) if single["surveys"] else {}
    if "before" not in surveys:
        report.stop_if_any()
        raise AssertionError("a survey that could not be read is in the report")
    survey = surveys["before"].survey
    top = about.values if about else {}
    job = Job(
        file, top.get("title", survey.title), surveys["before"], surveys.get("after"),
        settle_limits(asked, survey.surface, "limits", report), make_plan(single["plan"], parts.fixed, parts.beneath),
        framing, make_layers(several["layers"]), tuple(one.item for one in parts.features),
        tuple(one.item for one in parts.reveals), materials, make_compared(single["compare"]), top.get("unit"),
        top.get("show", "in" if survey.unit in ("in", "ft") else "mm"), top.get("confidence", 0.95),
        top.get("draws", 200), top.get("seed", 0),
    )  # fmt: skip
    rehearse(job, parts, report)
    report.stop_if_any()
    return job


def _single(raw: dict[str, Any], name: str, report: JobReport) -> Table | None:
    return read_table(raw[name], name, SINGLE[name], report, ABOUT) if name in raw else None


def _check_used(raw: dict[str, Any], report: JobReport) -> None:
    """Whether every table of the file has a use."""
    for name in (name for name in FOR_A_PLAN if name in raw and "plan" not in raw):
        report.add(
            name, "this is for a plan, and no plan is asked for", raw[name], "a table [plan], which may be empty",
            "add a line [plan], or leave this out",
        )  # fmt: skip
    surveys = raw.get("surveys")
    if "compare" in raw and isinstance(surveys, dict) and "after" not in surveys:
        report.add(
            "compare", "one survey cannot be compared", raw["compare"], "after in [surveys]",
            "name the later survey, or leave this out",
        )  # fmt: skip
