"""``flatness paper``: what is written, what is refused, and that nothing else stands on standard output."""

import json
import re
from pathlib import Path

import openpyxl
import pdfplumber
import pytest

from flatness.__main__ import main

pytestmark = pytest.mark.usefixtures("coarse_lattice")

ROOT = Path(__file__).parents[1] / "sample_surveys"
STORE = [ROOT / f"glaze_store/{day}.csv" for day in ("before", "after")]
LIMIT = ("--straightedge", "2m", "--allowed", "4mm", "--draws", 20)


def run(capsys, *arguments):
    code = main(["paper", *map(str, arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


def words_of(path):
    with pdfplumber.open(path) as pdf:
        return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def test_the_owner_page_of_one_survey_and_of_two(capsys, tmp_path):
    for files, told in ((STORE[:1], "Where it stands"), (STORE, "What it is like now")):
        code, out, err = run(capsys, "owner", *files, *LIMIT, "--out", tmp_path / "papers", "--overwrite", "--json")
        assert (code, err) == (0, "")
        pdf, html = (Path(name) for name in json.loads(out)["written"])
        assert told in words_of(pdf)
        assert told in html.read_text(encoding="utf-8")


def test_the_record_names_both_files_by_their_checksum(capsys, tmp_path):
    code, out, _ = run(capsys, "record", *STORE, *LIMIT, "--out", tmp_path, "--paper", "a4")
    assert code == 0
    (pdf,) = tmp_path.glob("*.pdf")
    assert out == f"written: {pdf}\n"
    assert "rotating laser" in words_of(pdf)
    with pdfplumber.open(pdf) as found:
        # ISO 216: A4 is 210 mm x 297 mm
        assert (found.pages[0].width, found.pages[0].height) == pytest.approx((595.28, 841.89), abs=0.1)


def test_the_data_are_a_workbook_tables_points_and_a_drawing(capsys, tmp_path):
    code, out, _ = run(capsys, "data", STORE[0], *LIMIT, "--out", tmp_path)
    assert code == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert [line.removeprefix(f"written: {tmp_path}/") for line in sorted(out.splitlines())] == names
    stem = "glaze-store-as-found"
    assert {f"{stem}.xlsx", f"{stem}.dxf", f"{stem}-setout.csv", f"{stem}-patches.csv"} <= set(names)
    book = openpyxl.load_workbook(tmp_path / f"{stem}.xlsx")
    assert {"patches", "stations"} <= set(book.sheetnames)
    assert run(capsys, "data", STORE[0], *LIMIT, "--out", tmp_path)[0] == 2
    assert run(capsys, "data", STORE[0], *LIMIT, "--out", tmp_path, "--overwrite")[0] == 0


def test_the_crew_sheet_has_every_patch_of_the_plan(capsys, tmp_path):
    limit = ("--straightedge", "2m", "--allowed", "6mm", "--draws", 20)  # places are the proposed way
    assert run(capsys, "crew", STORE[0], *limit, "--out", tmp_path)[0] == 0
    assert run(capsys, "data", STORE[0], *limit, "--out", tmp_path)[0] == 0
    (pdf,) = tmp_path.glob("*-crew.pdf")
    book = openpyxl.load_workbook(tmp_path / "glaze-store-as-found.xlsx")
    rows = list(book["patches"].iter_rows(values_only=True))
    patches = [row[0] for row in rows if row[0] and str(row[0]).startswith("P") and str(row[0])[1:].isdigit()]
    assert patches
    text = words_of(pdf)
    assert all(re.search(rf"\b{name[1:]} (PLANE|FILL|SISTER|WAIT)\b", text) for name in patches)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("record", STORE[0], *LIMIT), "before and one of after"),
        (("owner", STORE[0]), "no limit"),
        (("owner", *STORE, STORE[0], *LIMIT), "more than two"),
        (("owner", "none.csv", *LIMIT), "none.csv"),
        (("owner", "none.toml", *LIMIT), "job file"),
    ],
)
def test_what_cannot_be_written_says_why(capsys, tmp_path, arguments, said):
    code, out, err = run(capsys, *arguments, "--out", tmp_path)
    assert (code, out) == (2, "")
    assert said in err
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_the_kit_did_not_write_is_never_replaced(capsys, tmp_path):
    mine = tmp_path / "glaze-store-as-found-owner.pdf"
    mine.write_text("mine")
    assert run(capsys, "owner", STORE[0], *LIMIT, "--out", tmp_path, "--overwrite")[0] == 2
    assert [path.name for path in tmp_path.iterdir()] == [mine.name]
    assert mine.read_text() == "mine"
