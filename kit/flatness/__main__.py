"""The command line, thin over the public names.

Exit codes: 0 pass, 1 fail, 3 undecided, 2 bad input, 70 a fault of the program itself.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module
from typing import Any, TextIO

from flatness.errors import FlatnessError, visible

BAD_INPUT = 2
UNFORESEEN = 70  # as sysexits.h has it: an error of the software
STOPPED = 130  # as a shell shows a command that Ctrl-C ended
MOST_TOLD = 200  # letters of a fault
BROKEN_PIPE = 141  # as a shell shows it
COMMANDS = {  # its module in commands/, the function that adds what it takes, and its help
    "check": ("check", "add_check", "check a survey, or a folder of them, against limits: verdict, worst place"),
    "plan": ("plan", "add_plan", "what to do where, by the best of all ways, so that a surface meets its limits"),
    "compare": ("compare", "add_compare", "what changed between two surveys of one surface, after minus before"),
    "sheet": ("sheet", "add_sheet", "before a survey: how many readings will do, and a blank sheet for them"),
    "take": ("take", "add_take", "take the readings at the laser, one station at a time, on a laptop or a phone"),
    "scan": ("scan", "add_scan", "a scan of a room, to surveys of its floor, ceiling and walls on one datum"),
    "curve": ("curve", "add_curve", "a curved wall: how far off its curve, and how to set the curve out"),
    "spots": ("check", "add_spots", "along which strips to slide a bar between the stations, as a list"),
    "light": ("light", "add_light", "what light along a surface will show, and how far off a lamp must stand"),
    "job": ("job", "add_job", "a whole job from one file: check, plan, what it meets, and what was done"),
    "room": ("room", "add_room", "floor, ceiling and walls on one datum: square, parallel, plumb, level, high enough"),
    "paper": ("job", "add_paper", "files to carry away: owner's page, crew sheet, record, tables, drawings"),
    "present": ("present", "add_present", "show the owner what was found, what is planned, and what was done"),
    "limits": ("check", "add_list", "list the published limits"),
    "demo": ("job", "add_demo", "a folder with all of one job in it, to try the kit on"),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the number it returns is the exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    with shown_as_text():
        options = parser(given[:1]).parse_args(given)
        try:
            code = int(options.run(options))
            sys.stdout.flush()
            return code
        except FlatnessError as error:
            from flatness.commands.options import error_in_unit

            print(error_in_unit(error, options), file=sys.stderr)
            return BAD_INPUT
        except BrokenPipeError:  # the reader of the output, such as head, has had enough
            _end_output()
            return BROKEN_PIPE
        except KeyboardInterrupt:
            print("stopped", file=sys.stderr)
            return STOPPED
        except Exception as error:
            if options.debug:
                raise
            if isinstance(error, OSError):  # a full disk under the output, a name that the system refuses
                print(_refused(error), file=sys.stderr)
                _end_output()
                return BAD_INPUT
            print(_unforeseen(error), file=sys.stderr)
            return UNFORESEEN


def _end_output() -> None:
    """Where the output takes no more, what is left of it is dropped, so that Python does not try again at its end."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _refused(error: OSError) -> FlatnessError:
    from flatness.files import why

    remedy = "make room there, or choose another name or folder"
    return FlatnessError(
        f"the system refuses: {why(error)}", value=error.filename and str(error.filename), remedy=remedy
    )


def _unforeseen(error: Exception) -> str:
    what = " ".join(f"{type(error).__name__}: {error}".split())[:MOST_TOLD].rstrip(": ")
    return f"flatness: a fault of this program, not of your files ({what}); the same with --debug shows where"


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
        one.add_argument("--debug", action="store_true", help="show where in the program a fault of its own arose")
    return found


class Shown:
    """A stream on which hidden marks, and letters that its encoding lacks, are written as text.

    Attributes
    ----------
    beneath : the stream itself, for what draws over its own line
    """

    def __init__(self, beneath: TextIO) -> None:
        self.beneath = beneath

    def write(self, text: str) -> int:
        """Write the text as it can be seen."""
        encoding = getattr(self.beneath, "encoding", None) or "utf-8"
        seen = visible(text).encode(encoding, "backslashreplace").decode(encoding)
        self.beneath.write(seen)
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.beneath, name)


@contextmanager
def shown_as_text() -> Iterator[None]:
    """Within, all that goes to standard output and standard error is written as :class:`Shown` does."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (Shown(io.StringIO() if one is None else one) for one in before)  # None: it was closed
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


if __name__ == "__main__":
    sys.exit(main())
