"""The command line, thin over the public names.

Exit codes: 0 pass, 1 fail, 3 undecided, 2 bad input.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Collection, Sequence
from importlib import import_module

from flatness.errors import FlatnessError

BAD_INPUT = 2
BROKEN_PIPE = 141  # as a shell shows it
COMMANDS = {  # its module in commands/, the function that adds what it takes, and its help
    "check": ("check", "add_check", "hold a survey against limits: verdict, worst place, pictures"),
    "plan": ("plan", "add_plan", "what to do where, by the best of all ways, so that a surface meets its limits"),
    "compare": ("compare", "add_compare", "what changed between two surveys of one surface, after minus before"),
    "sheet": ("sheet", "add_sheet", "before a survey: how many readings will do, and a blank sheet for them"),
    "curve": ("curve", "add_curve", "a curved wall: how far off its curve, and how to set the curve out"),
    "spots": ("check", "add_spots", "along which strips to slide a bar between the stations, as a list"),
    "job": ("job", "add_job", "a whole job from one file: check, plan, what it meets, and what was done"),
    "paper": ("paper", "add_paper", "files to carry away: owner's page, crew sheet, record, tables, drawings"),
    "present": ("present", "add_present", "show the owner what was found, what is planned, and what was done"),
    "limits": ("check", "add_list", "list the published limits"),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the number it returns is the exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    options = parser(given[:1]).parse_args(given)
    try:
        return int(options.run(options))
    except FlatnessError as error:
        from flatness.commands.options import told_in_unit

        print(told_in_unit(error, options), file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:  # the reader of the output, such as head, has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BROKEN_PIPE


def parser(wanted: Collection[str] = COMMANDS.keys()) -> argparse.ArgumentParser:
    """The command line as it is parsed; only of the commands that are wanted all options, since those take long."""
    found = argparse.ArgumentParser(
        prog="flatness",
        description="How flat, level and plumb a floor, wall or ceiling is, and whether that is enough.",
    )
    commands = found.add_subparsers(required=True, metavar="COMMAND")
    for name, (module, add, told) in COMMANDS.items():
        one = commands.add_parser(name, help=told)
        if name in wanted:
            getattr(import_module(f"flatness.commands.{module}"), add)(one)
    return found


if __name__ == "__main__":
    sys.exit(main())
