"""Mutated files: only the kit's own errors come out, and no reading of an accepted file is lost."""

from __future__ import annotations

import csv
import datetime
import io
import random
from pathlib import Path

import openpyxl
import pytest

from flatness.errors import FlatnessError
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

CASES_A_FILE = 620
WORKBOOK_CASES = 300
BASES = {
    "list": '''# title: Kitchen
# unit: in
# reading: drop
# accuracy: 1/32
# outline: 0,0; 16 ft,0; 16 ft,12 ft; 0,12 ft
# opening: (24, 24) (36, 24) (36, 36) (24, 36)
x,y,reading,label
0,0,41-3/8",a
96,0,41 1/4,b
192,0,41.5,c
0,144,"41-3/8""",d
96,144,3' 5 1/2",
192,144,41½,e
''',
    "grid": """# unit: in
# reading: height
ft,0,4,8,12
0,0,1/8,1/4,3/8
4,-1/16,,1/8,1/4
8,0,1/8,½,-1/4
""",
    "semicolons": """# unit: cm
# reading: height
x;y;reading
0;0;1,25
120,5;0;1,5
0;90;-0,75
120,5;90;2
""",
    "tabs": "# unit: mm\nx\ty\theight\n0\t0\t3\n1000\t0\t4\n0\t800\t5.5\n1000\t800\t-2\n",
    "set-ups": """# unit: mm
# benchmark: A = 100
x,y,drop,setup,label,kind
0,0,50,1,,
900,0,51,1,,
,,30,1,A,benchmark
0,700,60,2,,surface
900,700,61,2,,
,,40,2,A,benchmark
300,300,62,2,tp,turning
""",
    "units in cells": "x [m],y_m,height (mm),line\r\n0,0,1,p\r\n1.2,0,2,p\r\n0,2.4,1.5,q\r\n1.2,2.4,3,q\r\n",
}
SAMPLES = sorted(Path(__file__).parents[2].glob("sample_surveys/**/*.csv"))
SOUP = [
    b'"',
    b"'",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b"#",
    b":",
    b"\xff",
    b"\x00",
    b"\xc2\xbd",
    b"-",
    b"/",
    b".",
    b"e",
    b" ",
    b"9",
    b"(",
    b"=",
    b"x",
    b"mm",
    b"ft",
    b"\xe2\x80\x9d",
    b"8-Mar",
    b"\xef\xbb\xbf",
    b"# unit: ft\n",
]


def mutated(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice([1, 1, 1, 2, 3, 6])):
        at = rng.randrange(len(out) + 1) if out else 0
        kind = rng.randrange(8)
        if kind == 0 and at < len(out):
            out[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            out[at:at] = rng.choice(SOUP)
        elif kind == 2:
            del out[at : at + rng.choice([1, 1, 2, 8])]
        elif kind == 3:
            del out[at:]
        elif kind == 4 and at < len(out):
            out[at] = rng.randrange(256)
        else:
            lines = bytes(out).split(b"\n")
            a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
            if kind == 5:
                lines[a], lines[b] = lines[b], lines[a]
            elif kind == 6:
                lines.insert(a, lines[b])
            else:
                cells, others = lines[a].split(b","), lines[b].split(b",")
                i, j = rng.randrange(len(cells)), rng.randrange(len(others))
                if a != b:
                    cells[i], others[j] = others[j], cells[i]
                    lines[a], lines[b] = b",".join(cells), b",".join(others)
            out = bytearray(b"\n".join(lines))
    return bytes(out)


def readings_in(rows: list[list[str]]) -> int:
    """Cells that hold a reading, counted apart from the reader: from the rows of an accepted file."""
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    while rows and rows[0][0].strip().startswith("#"):
        rows = rows[1:]
    names = [cell.strip().lower() for cell in rows[0]]
    columns = [i for i, name in enumerate(names) if name.startswith(("reading", "height", "drop", "offset", "radius"))]
    if names[:3] == ["x", "y", "up"]:  # a curved wall off the plan: a place is a reading
        columns = [0]
    if columns:
        return sum(1 for row in rows[1:] for i in columns if i < len(row) and row[i].strip())
    return sum(1 for row in rows[1:] for cell in row[1:] if cell.strip())


def rows_of(data: bytes) -> list[list[str]]:
    text = data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    lines = [line for line in text.split("\n") if line.strip() and not line.lstrip(' "\t').startswith("#")]
    first = next(line for line in lines if line.strip(",;\t "))
    delimiter = next(mark for mark in "\t;," if mark in first)
    # csv takes a mark for an opening one only at the start of a field, as a person would
    return list(csv.reader(lines, delimiter=delimiter, skipinitialspace=True))


def says_what(error: FlatnessError) -> None:
    assert all(problem.what for problem in error.problems)
    assert str(error)


def taken(survey: Survey) -> int:
    return len(survey.points) + len(survey.ties)


@pytest.mark.parametrize("name", BASES)
def test_the_count_is_right_where_nothing_is_mutated(name: str) -> None:
    data = BASES[name].encode()
    survey = read_survey(data, name="k.csv")
    assert taken(survey) == readings_in(rows_of(data)) >= 4


def run(data: bytes, name: str, seed: str, cases: int) -> tuple[int, int]:
    rng = random.Random(seed)
    accepted = refused = 0
    for case in range(cases):
        bad = mutated(data, rng)
        try:
            survey = read_survey(bad, name=name)
        except FlatnessError as error:
            says_what(error)
            refused += 1
            continue
        except Exception as error:
            raise AssertionError(f"case {case} raised {error!r} on {bad!r}") from error
        accepted += 1
        assert taken(survey) == readings_in(rows_of(bad)), bad
    return accepted, refused


@pytest.mark.parametrize("name", BASES)
def test_mutated_text(name: str) -> None:
    accepted, refused = run(BASES[name].encode(), "k.csv", name, CASES_A_FILE)
    # else the cases would show nothing
    assert accepted > 20
    assert refused > 100


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_mutated_samples(path: Path) -> None:
    run(path.read_bytes(), "k.csv", path.stem, 25)


@pytest.mark.parametrize("name", ["list", "grid"])
def test_mutated_utf16(name: str) -> None:
    data = BASES[name].encode("utf-16")
    rng = random.Random(name)
    for _ in range(100):
        try:
            read_survey(mutated(data, rng), name="k.csv")
        except FlatnessError as error:
            says_what(error)


VALUES: list[object] = [
    None,
    "",
    " ",
    0,
    -1.5,
    1e300,
    36600,
    45359,
    True,
    False,
    "3/8",
    "n/a",
    "x",
    "#REF!",
    "#####",
    "=1+1",
    "=A1",
    "x,y",
    datetime.datetime(2026, 3, 8),
    datetime.date(2026, 3, 8),
    datetime.time(3, 8),
    datetime.timedelta(days=1),
    "8-Mar",
    "½",
    "# unit: in",
    "# x",
    "5%",
    '41-3/8"',
    "9 mm",
    "\u200b",
    "a\nb",
    "y\\x",
]


@pytest.mark.parametrize("name", ["list", "grid", "set-ups"])
def test_mutated_workbooks(name: str) -> None:
    rng = random.Random(name)
    rows = rows_of(BASES[name].encode())
    head = [[line] for line in BASES[name].splitlines() if line.startswith("#")]
    accepted = 0
    for _ in range(WORKBOOK_CASES // 3):
        book = openpyxl.Workbook()
        sheet = book.active
        for row in [*head, *rows]:
            sheet.append([None if cell == "" else cell for cell in row])
        for _ in range(rng.choice([1, 1, 2, 4])):
            cell = sheet.cell(rng.randrange(1, sheet.max_row + 1), rng.randrange(1, sheet.max_column + 1))
            cell.value = rng.choice(VALUES)
            if rng.random() < 0.1:
                cell.number_format = rng.choice(["0%", "yyyy-mm-dd", "# ?/?", "h:mm"])
        if rng.random() < 0.1:
            sheet.merge_cells(start_row=rng.randrange(1, 8), end_row=8, start_column=1, end_column=2)
        out = io.BytesIO()
        book.save(out)
        try:
            survey = read_survey(out.getvalue(), name="k.xlsx")
        except FlatnessError as error:
            says_what(error)
            continue
        accepted += 1
        shown = [["" if v is None else str(v) for v in row] for row in sheet.iter_rows(values_only=True)]
        assert taken(survey) == readings_in(shown), shown
    assert accepted > 5


def test_mutated_bytes_of_a_workbook() -> None:
    book = openpyxl.Workbook()
    for row in [["# unit: mm"], *rows_of(BASES["tabs"].encode())]:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    rng = random.Random(3)
    for _ in range(100):
        try:
            survey = read_survey(mutated(out.getvalue(), rng), name="k.xlsx")
        except FlatnessError as error:
            says_what(error)
            continue
        assert taken(survey) == 4
