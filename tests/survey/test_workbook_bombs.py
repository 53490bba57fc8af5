"""Workbooks of a few kB that ask for more memory or time than there is: refused before anything is built of them."""

import io
import re
import subprocess
import sys
import zipfile

import openpyxl
import pytest

from flatness.errors import SurveyFileError
from flatness.survey import rows as file_rows
from flatness.survey.files import read_survey

ROWS = [["# unit: mm"], ["x", "y", "height"], [0, 0, 1], [2000, 0, 2], [0, 2000, 3], [2000, 2000, 4]]
SHEET = "xl/worksheets/sheet1.xml"


def workbook(rows=ROWS):
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    return out.getvalue()


def with_part(name, change, data=None):
    """The workbook with one of its parts changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data or workbook())) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            content = old.read(entry)
            new.writestr(entry.filename, change(content) if entry.filename == name else content)
    return out.getvalue()


def before_end(xml):
    return lambda content: content.replace(b"</sheetData>", b"</sheetData>" + xml)


def in_rows(xml):
    return lambda content: content.replace(b"</sheetData>", xml + b"</sheetData>")


MERGED = b'<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>'
LINKED = b'<hyperlinks><hyperlink ref="$A$1:$XFD$1048576" location="A1" display="a"/></hyperlinks>'
FAR = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
ENTITIES = b'<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'
MANY = b'<row r="9">' + b'<c r="A9"/>' * 250_000 + b"</row>"
BOMBS = {
    "merged": (before_end(MERGED), "merges 17179869184 cells"),  # 16,384 columns by 1,048,576 rows (ECMA-376)
    "many merged": (before_end(b"<mergeCells>" + b'<mergeCell ref="A1:J999"/>' * 20 + b"</mergeCells>"), "merges"),
    "linked": (before_end(LINKED), "merges 17179869184 cells, or covers"),
    "far": (in_rows(FAR), "reaches to row 1048576 and column 16384"),
    "entities": (lambda content: content.replace(b"<worksheet", ENTITIES + b"<worksheet", 1), "marks of its own"),
    "many cells": (in_rows(MANY), "holds more than 200000 cells"),
    "deep": (in_rows(b"<a>" * 100_000), "cannot be opened"),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused(name):
    change, told = BOMBS[name]
    data = with_part(SHEET, change)
    assert len(data) < 50_000
    with pytest.raises(SurveyFileError, match=told) as caught:
        read_survey(data, name="bomb.xlsx")
    assert caught.value.problems[0].remedy


def test_a_bomb_is_refused_within_the_memory_of_a_small_machine(tmp_path):
    (tmp_path / "bomb.xlsx").write_bytes(with_part(SHEET, before_end(MERGED)))
    code = (
        "import resource, sys; from flatness.survey.files import read_survey\n"
        "used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try: read_survey(sys.argv[1])\n"
        "except ValueError: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - used)"
    )
    line = [sys.executable, "-c", code, str(tmp_path / "bomb.xlsx")]
    told = subprocess.run(line, capture_output=True, text=True, check=True, timeout=60)
    assert int(told.stdout) < 50_000  # kB on Linux; the file asks for terabytes


def test_too_many_bytes_and_parts_are_refused(monkeypatch):
    monkeypatch.setattr(file_rows, "MOST_UNPACKED", 1000)
    with pytest.raises(SurveyFileError, match="unpacks to"):
        read_survey(workbook(), name="a.xlsx")
    monkeypatch.undo()
    monkeypatch.setattr(file_rows, "MOST_PARTS", 2)
    with pytest.raises(SurveyFileError, match="parts"):
        read_survey(workbook(), name="a.xlsx")


def test_a_usual_workbook_is_looked_through_as_openpyxl_reads_it():
    rows = [[f"r{i}c{j}" for j in range(30)] for i in range(7)]
    rows[3][28] = "=A1+1"
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.active.title = "Loft & stairs"
    for row in rows:
        book.active.append(row)
    book.active.merge_cells("B2:D6")  # 15 cells, of which one keeps its value
    book.create_sheet("empty")
    book.save(out)
    found = file_rows.look_through(out.getvalue(), "a.xlsx")
    assert list(found) == ["Loft & stairs", "empty"]
    loft = found["Loft & stairs"]
    assert (loft.rows, loft.columns, loft.covered) == (7, 30, 15)
    assert loft.unsaved == {"AC4": "=A1+1"}
    assert found["empty"].cells == 0


def test_cells_without_their_names_are_counted_on():
    def unnamed(content):
        for name in (b"A3", b"B3", b"C3", b"3"):
            content = content.replace(b' r="' + name + b'"', b"")
        return content

    survey = read_survey(with_part(SHEET, unnamed), name="a.xlsx")
    assert survey.points.height.tolist() == [1, 2, 3, 4]


def test_of_a_damaged_workbook_nothing_is_printed(capsys):
    data = with_part("xl/styles.xml", lambda part: re.sub(rb"<cellStyleXfs.*</cellStyleXfs>", b"<cellStyleXfs/>", part))
    with pytest.raises(SurveyFileError, match="cannot be opened"):
        read_survey(data, name="a.xlsx")
    assert capsys.readouterr() == ("", "")
