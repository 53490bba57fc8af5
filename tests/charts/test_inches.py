"""A job in inches: no paper, report or table says a length in millimetres, but beside its inches."""

import dataclasses
import io
import re
import shutil
from pathlib import Path

import openpyxl
import pdfplumber
import pytest

import flatness
from flatness.export.tables import plan_tables, write_table, write_workbook
from flatness.panels.plan import save_csv, save_workbook
from flatness.papers.crew import crew_sheet
from flatness.papers.owner import owner_page
from flatness.papers.record import record_paper
from flatness.words.plans import job_report

LOFT = Path(__file__).parents[2] / "sample_surveys/loft_floor"
# joists with flanges that may not be planed, a cut, and few draws
CHANGED = {
    'kind = "sawn joist"': 'kind = "I-joist"\nflange = "1-1/2 in"',
    'kind = "boards"': 'kind = "I-joist"',
    "draws = 200": "draws = 10",
    "headings = 12": "headings = 4",
    'spacing = "6 in"': 'spacing = "12 in"',
    "# cuts": "cuts",
    'strategy = "least-work"': 'strategy = "best-plane"',
}
TWIN = re.compile(r"\([-+\N{MINUS SIGN}]?\d[\d.]* mm(/m)?\)")


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    for name in ("before.csv", "after.csv"):
        shutil.copy(LOFT / name, folder)
    text = (LOFT / "job.toml").read_text(encoding="utf-8")
    for was, now in CHANGED.items():
        assert was in text
        text = text.replace(was, now)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    found = flatness.run_job(flatness.read_job(folder / "job.toml"))
    assert "engineer" in set(found.plan.patches["action"])  # a note with a place
    assert found.schedule.members["laps"].str.contains("mm").any()
    return found


def strays(text):
    """Lengths in millimetres that stand by themselves, with what is about them."""
    flat = TWIN.sub("()", " ".join(text.split()))
    return [flat[max(0, one.start() - 40) : one.end()] for one in re.finditer(r"\d\)? mm\b", flat)]


def words_of(paper):
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        return "\n".join(page.extract_text() for page in pdf.pages)


def test_the_report(done):
    assert strays(job_report(done)) == []


@pytest.mark.parametrize("paper", ["owner", "crew", "record"])
def test_the_papers(done, paper):
    plan = dataclasses.replace(done.plan, quantities=done.quantities)
    made = {
        "owner": lambda: owner_page(done.assessment, plan, job=done, unit="in"),
        "crew": lambda: crew_sheet(plan, done.schedule, job=done, unit="in"),
        "record": lambda: record_paper(done.comparison, unit="in"),
    }[paper]()
    assert strays(words_of(made)) == []


def test_tables_and_their_notes(done, tmp_path):
    tables = plan_tables(done.plan, done.schedule)
    notes = (*done.plan.notes, *done.schedule.notes)
    books = [
        write_workbook(tmp_path / "whole.xlsx", tables, "in", notes),
        *save_workbook(done.plan, done.schedule, tmp_path / "panel.xlsx", "in"),
    ]
    for book in books:
        sheets = openpyxl.load_workbook(book).worksheets
        said = [str(cell.value) for sheet in sheets for row in sheet.iter_rows() for cell in row if cell.value]
        assert [text for text in said if strays(text)] == []
    paths = [write_table(tmp_path / f"{name}.csv", table, "in") for name, table in tables.items()]
    for path in (*paths, *save_csv(done.plan, done.schedule, tmp_path / "panel.csv", "in")):
        assert strays(path.read_text(encoding="utf-8")) == [], path.name
