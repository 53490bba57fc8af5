"""What a building's surveys came to, in words: one line that answers, a table that fits a terminal, progress."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.words.printed import WIDTH, columns, counted, hanging, indented

NOT_CHECKED = "not checked"  # a verdict of none
LONGEST_NAME = 30  # letters of a file's name in the table of a terminal
GROUPS = {FAIL: "Fail", NOT_CHECKED: "Not checked", UNDECIDED: "Undecided", PASS: "Pass"}  # worst first
HINTS = {
    FAIL: "`flatness plan FILE` says what to do where.",
    NOT_CHECKED: "Mend what is said beside each, and check again.",
    UNDECIDED: "`flatness check FILE` says where to read more.",
    PASS: "",
}


def answer(table: pd.DataFrame) -> str:
    """The one sentence: how many of how many surveys fail, are open, could not be checked.

    >>> answer(pd.DataFrame({"verdict": ["fail", "undecided", "pass", "pass"]}))
    '1 of 4 surveys fails, 1 is undecided, 2 pass.'
    """
    counts = {verdict: int((table["verdict"] == verdict).sum()) for verdict in GROUPS}
    of = counted(len(table), "survey")
    if counts[PASS] == len(table):
        return f"All {of} pass." if len(table) > 1 else "The one survey passes."
    one = {FAIL: "fails", NOT_CHECKED: "could not be checked", UNDECIDED: "is undecided", PASS: "passes"}
    many = {FAIL: "fail", NOT_CHECKED: "could not be checked", UNDECIDED: "are undecided", PASS: "pass"}
    parts = [f"{n} {(one if n == 1 else many)[verdict]}" for verdict, n in counts.items() if n]
    count, _, rest = parts[0].partition(" ")
    return f"{', '.join([f'{count} of {of} {rest}', *parts[1:]])}."


def report(table: pd.DataFrame) -> str:
    """The answer, a table, worst first, and what could not be checked and why; at most 80 wide."""
    rows = [["survey", "verdict", "found", "limit", "chance"]]
    for _, row in table[table["verdict"] != NOT_CHECKED].iterrows():
        chance = "-" if pd.isna(row["chance"]) else f"{100 * row['chance']:.0f} %"
        # the end of a path tells surveys apart
        name = row["file"] if len(row["file"]) <= LONGEST_NAME else f"…{row['file'][1 - LONGEST_NAME :]}"
        rows.append([name, row["verdict"].upper(), row["found"] or "-", row["limit"], chance])
    parts = [answer(table)]
    if len(rows) > 1:
        parts.append("\n".join(columns(rows, (0, 1, 3), WIDTH, ruled=True)))
    bad = table[table["verdict"] == NOT_CHECKED]
    if len(bad):
        parts.append("\n".join(["Not checked", *(_why(row) for _, row in bad.iterrows())]))
    hints = [hint for verdict, hint in HINTS.items() if hint and (table["verdict"] == verdict).any()]
    return "\n\n".join([*parts, *([indented(" ".join(hints), "")] if hints else [])])


def _why(row: pd.Series) -> str:
    # an error names its file by itself, and its lines are laid out
    text = "\n".join(hanging(line) for line in first_problem(row["error"]).splitlines())
    return f"{hanging(str(row['file']))}\n{text}"


def first_problem(error: str) -> str:
    """The first of the problems of an error, and how many more there are.

    >>> first_problem("2 problems:\\n1. a.csv, row 3: not a length\\n2. a.csv, row 9: not a length")
    'a.csv, row 3: not a length\\nand 1 more; `flatness check FILE` lists them'
    """
    lines = error.splitlines()
    count, _, rest = lines[0].partition(" ") if lines else ("", "", "")
    if rest != "problems:":
        return error
    second = next((k for k, line in enumerate(lines) if line.startswith("2. ")), len(lines))
    more = f"and {int(count) - 1} more; `flatness check FILE` lists them"
    return "\n".join([*lines[1:second], more]).removeprefix("1. ")


def progress(done: int, of: int, file: str, verdict: str, took: float, elapsed: float) -> str:
    """One line while it runs: ``[ 3/40] FAIL  level2/hall.csv  1.3 s; about 2 min left``."""
    left = elapsed / done * (of - done)
    seconds = "" if pd.isna(took) else f"  {took:.1f} s"
    rest = "" if done == of else f"; about {left:.0f} s left" if left < 90 else f"; about {left / 60:.0f} min left"
    return f"[{done:>{len(str(of))}}/{of}] {verdict.upper():<11}  {file}{seconds}{rest}"


def groups(table: pd.DataFrame) -> Sequence[tuple[str, str, pd.DataFrame]]:
    """Verdict, what the group is called with its count, and its rows: worst first, none that is empty."""
    parts = [(verdict, name, table[table["verdict"] == verdict]) for verdict, name in GROUPS.items()]
    return [(verdict, f"{name}: {len(rows)}", rows) for verdict, name, rows in parts if len(rows)]
