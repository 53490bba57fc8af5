"""Data out, read back: workbooks, CSV tables, set-out points and drawings against the tables they were written from."""

from __future__ import annotations

import csv
import re

import ezdxf
import numpy as np
import openpyxl
import pandas as pd
import pytest
from shapely import MultiPolygon, Polygon, box

import flatness
import plan_rooms
from chart_checks import FOOT, INCH, survey_of
from flatness.errors import ArgumentError
from flatness.export.dxf import write_dxf
from flatness.export.tables import (
    comparison_tables,
    plan_tables,
    setout_points,
    write_setout,
    write_table,
    write_tables,
    write_workbook,
)
from flatness.framing.members import member_layout
from flatness.framing.schedule import member_schedule

HOSTILE = [
    "=1+1",
    "+cmd",
    "-2+3",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "W" * 300,
    "two\nlines",
    "שלום",
    "  =x",
    "%%d",
]
RISKY = ("=", "+", "-", "@")


def survey_with_labels():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9) * FOOT, np.arange(7) * FOOT))
    labels = [HOSTILE[i] if i < len(HOSTILE) else "" for i in range(len(x))]
    outline = box(0, 0, 8 * FOOT, 6 * FOOT)
    return flatness.make_survey(
        x, y, 5 * np.sin(x / 700), label=labels, unit="in", accuracy=0.5, outline=outline, title=HOSTILE[0]
    )


def bumps(survey, **attributes):
    """One fill with a hole that is planed within it, and one fill beside."""

    def change(x, y, _):
        ring = np.maximum(np.abs(x - 3 * FOOT), np.abs(y - 3 * FOOT)) <= 2.2 * FOOT
        middle = np.maximum(np.abs(x - 3 * FOOT), np.abs(y - 3 * FOOT)) <= 0.7 * FOOT
        return np.where(middle, -3.3, np.where(ring | (x > 7.2 * FOOT), 4.7 + x / 5000, 0.0))

    return plan_rooms.plan_of(
        survey, change, lambda m, x, y: np.where(m == 0, "leave", np.where(m > 0, "fill", "plane")), **attributes
    )


@pytest.fixture(scope="module")
def planned():
    return bumps(survey_with_labels(), members=member_layout(0, 16 * INCH, "y", until=8 * FOOT))


@pytest.fixture(scope="module")
def compared():
    before = survey_with_labels()
    x, y, height = before.xyz()
    after = flatness.make_survey(x, y, height + np.where(x < 4 * FOOT, 6.0, 0.0), accuracy=0.5, outline=before.outline)
    return flatness.compare(before, after, align="none", limits=[flatness.straightedge_limit(2000, 5)], draws=20)


def rows_of(sheet):
    head, *rows = sheet.iter_rows(values_only=True)
    return pd.DataFrame(rows, columns=list(head))


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_workbook_of_a_plan_holds_the_same_numbers(planned, unit, tmp_path):
    schedule = member_schedule(planned, planned.members)
    tables = plan_tables(planned, schedule)
    assert {"members", "member stations", "patches", "stations", "limits", "quantities"} <= set(tables)
    path = write_workbook(tmp_path / "plan.xlsx", tables, unit, ["=a note"])
    book = openpyxl.load_workbook(path)
    # it opens with what the crew reads; who reads what stands behind, each line leading to its sheet
    assert book.sheetnames[-2:] == ["contents", "notes"]
    assert book.active.title == book.sheetnames[0] != "contents"
    assert set(book.sheetnames) == {*tables, "contents", "notes"}
    contents = rows_of(book["contents"])
    assert contents["sheet"].tolist() == book.sheetnames[:-2]
    assert contents["rows"].tolist() == [len(tables[name]) for name in contents["sheet"]]
    assert contents["for"].iloc[0] == "crew"
    assert [cell.hyperlink.location for cell in book["contents"]["A"][1:]] == [
        f"'{name}'!A1" for name in contents["sheet"]
    ]
    per = {"mm": (1, 1e6, 1e6), "in": (INCH, FOOT**2, FOOT**3)}[unit]
    area, volume = ("[m2]", "[litres]") if unit == "mm" else ("[ft2]", "[ft3]")
    patches = rows_of(book["patches"])
    assert patches[f"area {area}"].to_numpy() == pytest.approx(planned.patches["area_mm2"].to_numpy() / per[1])
    assert patches[f"volume {volume}"].to_numpy() == pytest.approx(planned.patches["volume_mm3"].to_numpy() / per[2])
    assert patches[f"greatest [{unit}]"].to_numpy() == pytest.approx(
        planned.patches["greatest_mm"].to_numpy() / per[0], abs=1e-8
    )
    stations = rows_of(book["member stations"])
    raised = pd.to_numeric(stations[f"raise [{unit}]"]).to_numpy(dtype=float)
    assert raised == pytest.approx(schedule.table["raise_mm"].to_numpy() / per[0], abs=1e-8, nan_ok=True)
    for name in tables:
        assert book[name].freeze_panes
        lengths = [c for c in book[name][1] if f"[{unit}]" in str(c.value)]
        for cell in lengths:
            column = [c.value for c in book[name][cell.column_letter][1:] if c.value is not None]
            assert all(isinstance(value, (int, float)) for value in column), cell.value
    formulas = [c for sheet in book for row in sheet.iter_rows() for c in row if c.data_type == "f"]
    texts = [c.value for sheet in book for row in sheet.iter_rows() for c in row if isinstance(c.value, str)]
    assert formulas == []
    assert not [text for text in texts if text.lstrip()[:1] in RISKY and text != "-"]
    assert {"<script>alert(1)</script>", "שלום", "'=1+1"} <= set(texts)


def test_a_sheet_of_inches_shows_no_other_unit_and_prints_on_its_long_side(planned, tmp_path):
    # readings on eighths of an inch: 41 3/8 and the like
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9) * FOOT, np.arange(7) * FOOT))
    eighths = np.round(5 * np.sin(x / 700) / INCH * 8) / 8 * INCH
    survey = flatness.make_survey(x, y, eighths, unit="in", accuracy=0.5, outline=box(0, 0, 8 * FOOT, 6 * FOOT))
    plan = bumps(survey, limits=(flatness.straightedge_limit(1800, 5),))
    book = openpyxl.load_workbook(write_workbook(tmp_path / "plan.xlsx", plan_tables(plan), "in", ["5 mm too high"]))
    heads = [str(c.value) for sheet in book for c in sheet[1] if sheet.title != "notes"]
    assert not [text for text in heads if re.search(r"mm|kg|Pa\b", text)]
    limits = rows_of(book["limits"])
    assert set(limits["unit"]) == {"in"}
    before = next(c for c in book["limits"][1] if c.value == "before")
    assert book["limits"].cell(2, before.column).number_format == "# ??/8"  # a length, by the unit in its row
    assert limits["before"].tolist() == pytest.approx((plan.after["before_mm"] / INCH).tolist(), abs=1e-8)
    amounts = rows_of(book["quantities"]).set_index("quantity")
    assert not set(amounts["unit"]) & {"mm", "mm2", "mm3", "kg", "Pa"}
    volume = plan.quantities.table.set_index("quantity")["value"]["fill volume"]
    assert amounts.loc["fill volume", "value"] == pytest.approx(volume / FOOT**3)
    assert amounts.loc["fill volume", "unit"] == "cu ft"
    reading = next(c for c in book["stations"][1] if str(c.value).startswith("reading"))
    assert book["stations"].cell(2, reading.column).number_format == "# ??/8"
    for sheet in book:
        assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth) == ("landscape", 1)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        if sheet.title != "notes":
            assert sheet.auto_filter.ref == sheet.dimensions
            assert sheet.print_title_rows == "$1:$1"


def test_the_tables_of_a_comparison_hold_the_same_numbers(compared, tmp_path):
    tables = comparison_tables(compared)
    path = write_workbook(tmp_path / "compared.xlsx", tables)
    book = openpyxl.load_workbook(path)
    found = rows_of(book["difference"])
    assert len(found) == np.isfinite(compared.difference).sum()
    at = {
        (round(x, 3), round(y, 3)): d
        for x, y, d in zip(found["x [mm]"], found["y [mm]"], found["difference [mm]"], strict=True)
    }
    for j, y in enumerate(compared.y):
        for i, x in enumerate(compared.x):
            if np.isfinite(compared.difference[j, i]):
                assert at[round(float(x), 3), round(float(y), 3)] == pytest.approx(compared.difference[j, i])
    volumes = rows_of(book["volumes"]).set_index("amount")
    assert volumes.loc["added less taken off", "volume [litres]"] == pytest.approx(
        compared.volumes.loc["net", "volume_mm3"] / 1e6, abs=1e-8
    )
    # one standard deviation, and so it says: together the root of the sum of the squares of its parts
    one = volumes.loc["added less taken off"]
    parts = [one[f"{part} 1sd [litres]"] for part in ("readings", "between", "datum")]
    assert one["error 1sd [litres]"] == pytest.approx(np.sqrt(np.square(parts).sum()), abs=1e-7)
    assert {"error 1sd [mm]", "detection 95 percent [mm]"} <= set(found)
    assert rows_of(book["verdicts"])["after"].tolist() == compared.verdicts["after"].tolist()


def test_csv_tables_hold_the_same_numbers_and_nothing_that_runs(planned, tmp_path):
    paths = write_tables(tmp_path, "plan", plan_tables(planned), "in")
    assert {path.name for path in paths} == {
        "plan-patches.csv",
        "plan-stations.csv",
        "plan-limits.csv",
        "plan-quantities.csv",
    }
    with (tmp_path / "plan-stations.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    points = planned.survey.points
    assert [float(row["x_in"]) for row in rows] == pytest.approx((points["x"] / INCH).tolist(), abs=1e-6)
    assert [float(row["height_in"]) for row in rows] == pytest.approx((points["height"] / INCH).tolist(), abs=1e-6)
    for path in paths:
        assert not re.search(r"\.\d{7}", path.read_text(encoding="utf-8")), path.name
    labels = [row["label"] for row in rows[: len(HOSTILE)]]
    assert not [label for label in labels if label.lstrip()[:1] in RISKY]
    assert [label.removeprefix("'") for label in labels] == HOSTILE


def test_set_out_points_have_the_finished_height_and_the_correction(planned, tmp_path):
    points = setout_points(planned)
    assert points["label"].is_unique
    assert points["label"].iloc[4] == "<script>alert(1)</script>"
    assert points["label"].iloc[6] == "two lines"
    assert "\n" not in "".join(points["label"])
    x, y, height, _ = planned.survey.stations()
    for k, row in enumerate(points.itertuples()):
        i, j = np.abs(planned.x - x[k]).argmin(), np.abs(planned.y - y[k]).argmin()
        # stations stand on nodes of this lattice
        assert (planned.x[i], planned.y[j]) == pytest.approx((x[k], y[k]))
        assert row.correction_mm == pytest.approx(planned.change[j, i])
        assert row.height_mm == pytest.approx(height[k] + planned.change[j, i])
    path = write_setout(tmp_path / "points.csv", planned, "in")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["label", "x_in", "y_in", "height_in", "correction_in"]
    assert [float(row["correction_in"]) for row in rows] == pytest.approx(
        (points["correction_mm"] / INCH).tolist(), abs=1e-6
    )


def test_numbers_given_to_stations_are_no_names_of_setups():
    x, y = (v.ravel() for v in np.meshgrid(np.arange(5) * 600.0, np.arange(5) * 600.0))
    setups = ["S1" if a < 1000 else "ST2" for a in x]
    survey = flatness.make_survey(x, y, 5 * np.sin(x / 700), accuracy=0.5, setup=setups)
    labels = setout_points(bumps(survey))["label"]
    assert labels.is_unique
    assert not set(labels) & set(setups)


def area_of(hatch):
    """Area of a hatch: outer paths less holes, by the shoelace formula."""
    total = 0.0
    for path in hatch.paths:
        x, y = np.array([(v[0], v[1]) for v in path.vertices]).T
        shoelace = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
        total += shoelace if path.path_type_flags & 1 else -shoelace
    return total


@pytest.mark.parametrize(("unit", "per", "code"), [("mm", 1.0, 4), ("in", INCH, 1)])
def test_the_drawing_reopens_with_the_patches_areas(planned, unit, per, code, tmp_path):
    path = write_dxf(tmp_path / "plan.dxf", planned, unit, scale=48)
    drawing = ezdxf.readfile(path)
    assert not drawing.audit().errors
    assert drawing.header["$INSUNITS"] == code
    space = drawing.modelspace()
    assert any(len(hatch.paths) > 1 for hatch in space.query("HATCH"))  # the ring of fill has its hole
    for action in ("fill", "plane"):
        shapes = planned.patches.loc[planned.patches["action"] == action, "outline"]
        wanted = sorted(shape.area / per**2 for shape in shapes)
        assert sorted(area_of(hatch) for hatch in space.query(f'HATCH[layer=="{action.upper()}"]')) == pytest.approx(
            wanted
        )
        rings = sum(1 + len(part.interiors) for shape in shapes for part in polygons(shape))
        assert len(space.query(f'LWPOLYLINE[layer=="{action.upper()}"]')) == rings
    assert area_of_ring(space.query('LWPOLYLINE[layer=="OUTLINE"]')[0]) == pytest.approx(48 * FOOT**2 / per**2)
    assert len(space.query('LINE[layer=="MEMBERS"]')) == len(planned.members)
    # 2.5 mm high on paper at 1:48
    assert [text.dxf.height for text in space.query("TEXT")] == pytest.approx([120 / per] * len(space.query("TEXT")))
    texts = [(text.dxf.align_point, text.dxf.text) for text in space.query('TEXT[layer=="DEPTHS"]')]
    depths = {(point.x, point.y): words for point, words in texts}
    at = min(depths, key=lambda xy: (xy[0] - 2 * FOOT / per) ** 2 + (xy[1] - 4 * FOOT / per) ** 2)
    # 4.7 + 609.6 / 5000 = 4.82 mm, nearest 1/16 in: 3/16
    assert at == pytest.approx((2 * FOOT / per, 4 * FOOT / per))
    assert depths[at] == ("+3/16" if unit == "in" else "+4.8")


def polygons(shape):
    return shape.geoms if isinstance(shape, MultiPolygon) else [shape]


def area_of_ring(line):
    return Polygon([point[:2] for point in line.get_points()]).area


def test_hostile_names_come_out_of_a_drawing_as_text(tmp_path):
    plan = bumps(survey_with_labels(), members=member_layout(positions=[0, 500], names=["=1+1 %%u", "שלום"]))
    drawing = ezdxf.readfile(write_dxf(tmp_path / "plan.dxf", plan))
    names = [text.dxf.text for text in drawing.modelspace().query('TEXT[layer=="MEMBERS"]')]
    assert names == ["=1+1 % %u", "שלום"]


def test_no_file_is_written_over_another(planned, tmp_path):
    tables = plan_tables(planned)
    writers = {
        "plan.xlsx": lambda path, **more: write_workbook(path, tables, **more),
        "plan.csv": lambda path, **more: write_table(path, tables["patches"], **more),
        "points.csv": lambda path, **more: write_setout(path, planned, **more),
        "plan.dxf": lambda path, **more: write_dxf(path, planned, **more),
    }
    for name, write in writers.items():
        path = tmp_path / name
        write(path)
        with pytest.raises(ArgumentError, match="already"):
            write(path)
        write(path, overwrite=True)
        path.write_bytes(b"PK somebody's own")
        with pytest.raises(ArgumentError, match="did not write"):
            write(path, overwrite=True)
        assert path.read_bytes() == b"PK somebody's own"
    other = openpyxl.Workbook()
    other.save(tmp_path / "other.xlsx")
    with pytest.raises(ArgumentError, match="did not write"):
        write_workbook(tmp_path / "other.xlsx", tables, overwrite=True)
    assert {path.name for path in tmp_path.iterdir()} == {*writers, "other.xlsx"}


def test_what_cannot_be_is_said(planned, tmp_path):
    for call in (
        lambda: write_workbook(tmp_path / "plan.xls", plan_tables(planned)),
        lambda: write_workbook(tmp_path / "plan.xlsx", {}),
        lambda: write_workbook(tmp_path / "plan.xlsx", plan_tables(planned), "ft"),
        lambda: write_dxf(tmp_path / "plan.dwg", planned),
        lambda: write_dxf(tmp_path / "plan.dxf", planned, "ft"),
        lambda: write_dxf(tmp_path / "plan.dxf", planned, scale=0),
    ):
        with pytest.raises(ArgumentError, match="expected"):
            call()
    assert not list(tmp_path.iterdir())


def test_a_large_plan_is_written_whole(tmp_path):
    plan = bumps(survey_of(31, 21, 2 * FOOT, lambda x, y: 0 * x))
    book = openpyxl.load_workbook(write_workbook(tmp_path / "large.xlsx", plan_tables(plan)))
    assert book["stations"].max_row == 31 * 21 + 1
