"""``flatness demo``: a folder with all of one job in it, to try the kit on and to begin one's own from."""

from __future__ import annotations

import argparse
import json
from importlib.resources import files
from pathlib import Path

from flatness.commands.options import add_json, make_folder
from flatness.commands.paper import WRITERS
from flatness.errors import FlatnessError
from flatness.files import named, write_new
from flatness.job.reading import read_job
from flatness.job.running import run_job

SAMPLE = ("before.csv", "after.csv", "job.toml")
LIMIT, BENEATH = "wood-nailed-10ft", "boards; may be planed; most 3/8in"


def add_demo(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 written, 2 the folder holds something already. It takes about half a minute."
    parser.set_defaults(run=run_demo)
    parser.add_argument("folder", nargs="?", default="flatness-demo", help="new folder (flatness-demo)")
    add_json(parser)


def run_demo(options: argparse.Namespace) -> int:
    """Write a job's surveys, its job file and its papers; the number is the exit code.

    Raises
    ------
    FlatnessError : a folder that holds something already, or cannot be made
    """
    folder = Path(options.folder)
    if folder.is_dir() and any(folder.iterdir()):
        remedy = "choose another name; nothing is ever written over"
        raise FlatnessError(
            "the folder holds something already", value=str(folder), expected="a new one", remedy=remedy
        )
    make_folder(folder, "folder")
    for name in SAMPLE:
        write_new(named(folder, name), _sample(name))
    done, papers = run_job(read_job(folder / "job.toml")), folder / "papers"
    make_folder(papers, "folder")
    for write in WRITERS.values():
        write(done, papers / "loft-floor", argparse.Namespace(paper="letter", overwrite=False))
    commands = "\n".join(_commands(folder)) + "\n"
    write_new(named(folder, "commands.txt"), commands.encode())
    if options.json:
        print(json.dumps({"folder": folder.as_posix(), "commands": _commands(folder)}))
        return 0
    print(f"One whole job is in {folder}: the survey before and after the work, the job file, and its papers.")
    print("\nTry these, which commands.txt has too; then put your own survey in place of before.csv:\n")
    print("\n".join(f"  {line}" for line in _commands(folder)))
    return 0


def _commands(folder: Path) -> list[str]:
    before, after = (f'"{(folder / name).as_posix()}"' for name in SAMPLE[:2])
    out = f'--out "{(folder / "pictures").as_posix()}"'
    return [
        f"flatness check {before} --limit {LIMIT} {out}",
        f'flatness plan {before} --limit {LIMIT} --beneath "{BENEATH}"',
        f"flatness compare {before} {after} --limit {LIMIT} --align none",
        f'flatness job "{(folder / "job.toml").as_posix()}"',
    ]


def _sample(name: str) -> bytes:
    """A file of the sample job: in an installed kit beside its code, in a checkout among the samples."""
    installed = files("flatness").joinpath("demo", name)
    if installed.is_file():
        return installed.read_bytes()
    return (Path(__file__).resolve().parents[3] / "sample_surveys" / "loft_floor" / name).read_bytes()
