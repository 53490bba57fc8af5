"""The sample surveys: what the files hold is what their makers say was there.

Truth comes from the script that made them, which does not use the kit; figures come from the descriptions in
``sample_surveys/README.md`` and from closed forms and brute force written here.
"""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import openpyxl
import pandas as pd
import pytest
from shapely import Point

from flatness.errors import SurveyFileError
from flatness.measures.straightedge import straightedge
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

FOLDER = Path(__file__).parents[1] / "sample_surveys"
IN, FT = 25.4, 304.8


def load_script(name: str = "make_samples") -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


SCRIPT = load_script()
FILES = SCRIPT.files()
READABLE = sorted(name for name in FILES if "mistakes" not in name and "bench" not in name)
# from the README: surface, reference, readings
TOLD = {
    "loft_floor/before.csv": ("floor", "level", 104),
    "loft_floor/before.xlsx": ("floor", "level", 104),
    "loft_floor/after.csv": ("floor", "level", 104),
    "gallery/floor.csv": ("floor", "level", 168),
    "gallery/ceiling.csv": ("ceiling", "level", 140),
    "gallery/north.csv": ("wall", "plumb", 60),
    "gallery/east.csv": ("wall", "plumb", 50),
    "gallery/south.csv": ("wall", "plumb", 52),
    "gallery/west.csv": ("wall", "plumb", 50),
    "gallery_ceiling/ceiling.csv": ("ceiling", "level", 154),
    "gallery_walls/east.csv": ("wall", "plumb", 88),
    "gallery_walls/west.csv": ("wall", "plumb", 88),
    "hanging_wall/wall.csv": ("wall", "plumb", 117),
    "kiln_bay/slab.csv": ("floor", "level", 180),
    "packing_room/hand_typed.csv": ("floor", "level", 30),
    "gallery_floor/string_check.csv": ("floor", "string", 56),
    "oval_room/room.csv": ("wall", "plumb", 214),
    "oval_room/niche.csv": ("wall", "string", 75),
    "glaze_store/before.csv": ("floor", "level", 63),
    "glaze_store/after.csv": ("floor", "level", 80),
}


def sample(name: str) -> Survey:
    return read_survey(FOLDER / name)


def true_height(name: str, x: float, y: float) -> float:
    return float(SCRIPT.truth(name, x, y))


def bar_gap(z: np.ndarray, spacing: float, length: float) -> float:
    """Brute force: every pair of contacts no more than a bar apart, every station between them."""
    worst = 0.0
    for p in range(len(z)):
        for q in range(p + 2, len(z)):
            if (q - p) * spacing <= length + 1e-6:
                part = np.arange(1, q - p) / (q - p)
                worst = max(worst, float((z[p] + part * (z[q] - z[p]) - z[p + 1 : q]).max()))
    return worst


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".csv")])
def test_the_script_makes_the_files_again_byte_for_byte(name: str) -> None:
    assert (FOLDER / name).read_bytes() == FILES[name]


def test_no_file_lies_there_that_the_script_does_not_make() -> None:
    found = {path.relative_to(FOLDER).as_posix() for path in FOLDER.glob("*/*.[cx]*")}
    assert found == set(FILES)


def test_the_workbook_is_the_same_on_every_run(tmp_path: Path) -> None:
    name = "loft_floor/before.xlsx"
    assert SCRIPT.files()[name] == FILES[name]
    # the library may write other bytes in another version: of the file that lies there, compare the cells
    (tmp_path / "again.xlsx").write_bytes(FILES[name])
    again, there = (
        [[cell.value for cell in row] for row in openpyxl.load_workbook(path).active.iter_rows()]
        for path in (tmp_path / "again.xlsx", FOLDER / name)
    )
    assert again == there


def test_the_readme_names_every_file_and_says_they_are_invented() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "invented" in text
    for name in FILES:
        assert Path(name).name in text, name


@pytest.mark.parametrize("name", READABLE)
def test_every_reading_is_the_truth_within_its_error(name: str) -> None:
    key = name.rsplit(".", 1)[0]
    made, survey = SCRIPT.SAMPLES[key], sample(name)
    assert (survey.surface, survey.reference, survey.points["cell"].nunique()) == TOLD[name]
    assert survey.accuracy == pytest.approx(made.accuracy)
    x, y, height = survey.xyz()
    datum = 0 if survey.benchmarks else made.line or 0  # heights are off the benchmarks, else off the line
    off = height - (SCRIPT.truth(key, x, y) - datum)
    # no reading of under a thousand should be four standard deviations off; rounding adds half a step
    assert np.abs(off).max() <= 4 * made.accuracy + made.step / 2
    # a chi-square range: the scatter of 30 readings lies within 35 % of the stated one, of more within less
    assert 0.65 * made.accuracy < np.sqrt(np.mean(off**2)) < 1.35 * made.accuracy
    if name.startswith("oval_room"):
        return  # a wall that curves ends where its curve does
    assert survey.outline is not None
    assert all(survey.outline.buffer(0.01).covers(Point(place)) for place in zip(x, y, strict=True))
    assert not any(hole.buffer(-0.01).covers(Point(p)) for hole in survey.openings for p in zip(x, y, strict=True))


def test_csv_and_xlsx_are_one_survey() -> None:
    csv, xlsx = sample("loft_floor/before.csv"), sample("loft_floor/before.xlsx")
    pd.testing.assert_frame_equal(csv.points, xlsx.points)
    assert (csv.surface, csv.reference, csv.accuracy, csv.unit) == (
        xlsx.surface,
        xlsx.reference,
        xlsx.accuracy,
        xlsx.unit,
    )
    assert (csv.title, csv.date) == (xlsx.title, xlsx.date)
    assert csv.outline == xlsx.outline
    assert csv.openings == xlsx.openings


def test_the_loft_was_planed_and_filled_where_the_readme_says() -> None:
    def worked(x: float, y: float) -> float:
        after, before = (true_height(f"loft_floor/{day}", x * FT, y * FT) for day in ("after", "before"))
        return after - before

    # ridge 8 mm planed to 0.5 mm; dip 7 mm filled to 0.5 mm; half of either at half its reach
    assert worked(3, 10) == pytest.approx(-7.5)
    assert worked(3, 11.5) == pytest.approx(-3.75)
    assert worked(10, 15) == pytest.approx(6.5)
    assert worked(8, 15) == pytest.approx(3.25)
    assert worked(1, 20) == pytest.approx(0)


def test_the_store_was_filled_and_ground_where_the_readme_says() -> None:
    def worked(x: float, y: float) -> float:
        after, before = (true_height(f"glaze_store/{day}", x, y) for day in ("after", "before"))
        return after - before

    assert worked(1200, 1200) == pytest.approx(8.5)
    assert worked(1950, 1200) == pytest.approx(4.25)  # half at half its reach
    assert worked(3900, 2400) == pytest.approx(-5.5)
    assert worked(4500, 300) == pytest.approx(0)
    before, after = (sample(f"glaze_store/{day}.csv") for day in ("before", "after"))
    assert before.benchmarks == after.benchmarks == {"BM1": 12.0, "BM2": -30.0}
    assert before.keys["by"] == "site crew"


def test_the_loft_is_out_of_level_by_about_an_inch() -> None:
    _, _, height = sample("loft_floor/before.csv").xyz()
    assert 0.75 * IN < np.ptp(height) < 1.1 * IN


def test_the_loft_fails_before_and_meets_the_limit_after() -> None:
    limit = 3 / 16 * IN  # glued wood floor on a wood subfloor, 3/16 in under 10 ft
    y = np.arange(0, 22 * FT + 1, 152.4)
    for name, least, most in (("before", 3 / 8, 1 / 2), ("after", 1 / 16, 3 / 32)):
        columns = [SCRIPT.truth(f"loft_floor/{name}", x, y) for x in np.arange(0, 10 * FT + 1, 152.4)]
        true_gap = max(bar_gap(z, 152.4, 10 * FT) for z in columns)
        assert least * IN <= true_gap <= most * IN, (name, true_gap)
    before, after = (
        straightedge(sample(f"loft_floor/{name}.csv").surface_at(152.4), 10 * FT).worst for name in ("before", "after")
    )
    assert before is not None
    assert after is not None
    assert before.gap > 2 * limit
    x_worst, y_worst = before.at
    assert np.hypot(x_worst - 10 * FT, y_worst - 15 * FT) < 2.5 * FT  # at the dip by the stair
    assert after.gap < limit - IN / 32


def test_no_surface_inside_the_stair_opening() -> None:
    survey = sample("loft_floor/after.csv")
    surface = survey.surface_at(152.4)
    gx, gy = np.meshgrid(surface.x / IN, surface.y / IN)
    in_stair = (gx > 129.5) & (gx < 164.5) & (gy > 132.5) & (gy < 233.5)
    assert not surface.inside[in_stair].any()
    assert surface.inside[(gx < 128) | (gx > 166) | (gy < 131) | (gy > 235)].all()


def test_the_walls_lean_bow_and_part_as_the_readme_says() -> None:
    ninth, high = 8 * 16 * IN, 9 * FT
    foot, middle, top = (true_height("gallery_walls/east", ninth, y) for y in (0, high / 2, high))
    assert top - foot == pytest.approx(8)
    assert middle - (foot + top) / 2 == pytest.approx(7)
    # turn in plan over 28 ft, by least squares; the studs' own 0.6 mm tilt a wall by under 2 mm
    turn = {}
    for side in ("east", "west"):
        x, y, height = sample(f"gallery_walls/{side}.csv").xyz()
        slopes = np.linalg.lstsq(np.column_stack([x, y, np.ones_like(x)]), height, rcond=None)[0]
        turn[side] = slopes[0] * 28 * FT
    assert turn["west"] == pytest.approx(-14, abs=2)
    assert turn["east"] == pytest.approx(0, abs=2)


def test_the_ceiling_waves_3_mm_along_its_strapping() -> None:
    y = 4 * 16 * IN
    crest, hollow = (true_height("gallery_ceiling/ceiling", x * FT - y / 5, y) for x in (8, 4))
    assert crest - hollow == pytest.approx(6)


def test_the_oval_room_has_a_flat_and_a_proud_stud_where_the_readme_says() -> None:
    middle, stud = 13.46 * FT, 33 * FT
    flat = true_height("oval_room/room", middle, 0)
    # a chord of 2 ft in the middle of the long side, where the radius is 10^2 / 7 ft: c2 / 8 r
    assert flat == pytest.approx((24 * IN) ** 2 / (8 * 100 / 7 * FT), rel=1e-3)
    assert true_height("oval_room/room", middle + 13 * IN, 0) == pytest.approx(0)
    assert true_height("oval_room/room", stud, 0) == pytest.approx(9)
    assert true_height("oval_room/room", stud + 8 * IN, 0) == pytest.approx(4.5)
    assert true_height("oval_room/room", 20 * FT, 9 * FT) == pytest.approx(3)
    # 10 in flat in an arc of 36 1/2 in
    assert true_height("oval_room/niche", 16 * IN, 0) == pytest.approx((10 * IN) ** 2 / (8 * 36.5 * IN))


def test_the_slab_lines_keep_the_layout_rules() -> None:
    """ASTM E1155 as quoted: 12 in steps, parallel lines 4 ft apart or more, 2 ft off the edges."""
    points = sample("kiln_bay/slab.csv").points
    lines = dict(list(points.groupby("line")))
    assert list(lines) == list("ABCDEF")
    across: dict[str, list[float]] = {"x": [], "y": []}
    for line in lines.values():
        fixed, along = ("x", "y") if np.ptp(line["x"]) == 0 else ("y", "x")
        assert np.ptp(line[fixed]) == 0
        across[fixed].append(float(line[fixed].iloc[0]))
        assert len(line) >= 24
        np.testing.assert_allclose(np.diff(line[along]), 304.8, atol=1e-6)
    for fixed, places in across.items():
        assert len(places) == 3
        assert np.diff(sorted(places)).min() >= 4 * FT
        width = {"x": 30, "y": 36}[fixed] * FT
        assert points[fixed].min() >= 2 * FT - 1e-6
        assert points[fixed].max() <= width - 2 * FT + 1e-6


def test_the_string_survey_does_not_claim_to_be_level() -> None:
    survey = sample("gallery_floor/string_check.csv")
    assert not survey.is_level
    assert not survey.surface_at(152.4).is_level
    assert true_height("gallery_floor/string_check", 6 * FT, 14 * FT) == pytest.approx(-7)


def test_the_hand_typed_file_is_as_messy_as_told() -> None:
    raw = (FOLDER / "packing_room/hand_typed.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert raw.count(b"\r\n") == raw.count(b"\n")
    text = raw.decode("utf-8-sig")
    for form in ("½", "’", "”", '-9/16"', "41.5000", " in", "3' 5 5/8\"", "\r\n\r\n", " , , ", "#title:"):
        assert form in text, form


def test_every_mistake_is_reported_with_its_place() -> None:
    """Mend what a report names, as its user would, and read again, until the file reads."""
    rows = FILES["packing_room/with_mistakes.csv"].decode("utf-8-sig").split("\r\n")
    mended = FILES["packing_room/hand_typed.csv"].decode("utf-8-sig").split("\r\n")
    # as the README lists them: the row, and what the report must quote of it
    told = {5: "acuracy", 17: "8-Mar", 23: "41,375", 28: "under bench", 44: "C25", 45: "14"}
    with pytest.raises(SurveyFileError) as caught:
        read_survey("\r\n".join(rows).encode(), name="with_mistakes.csv")
    assert [problem.row for problem in caught.value.problems] == sorted(told), "one report names them all"
    for problem in caught.value.problems:
        assert told[problem.row] in str(problem)
        assert problem.remedy
        rows[problem.row - 1] = mended[problem.row - 1] if problem.row < 44 else ""
    survey = read_survey("\r\n".join(rows).encode(), name="with_mistakes.csv")
    pd.testing.assert_frame_equal(survey.points, sample("packing_room/hand_typed.csv").points)


def test_the_gallery_shows_the_pictures_that_are_there_each_small_by_commands_of_the_readme() -> None:
    script, page = load_script("make_pictures"), (FOLDER / "PICTURES.md").read_text()
    assert page == script.gallery()
    there = {f"pictures/{path.name}" for path in (FOLDER / "pictures").iterdir()}
    assert set(re.findall(r"\((pictures/[^)]+)\)", page)) == there
    assert max((FOLDER / name).stat().st_size for name in there) < 60_000
    readme = (FOLDER.parent / "README.md").read_text()
    for command, _, _ in script.PICTURES:
        assert command.removeprefix("check sample_surveys/loft_floor/before.csv ") in readme


def test_the_blank_sheet_to_download_is_read_once_it_is_filled_in(tmp_path: Path) -> None:
    script = load_script("make_pictures")
    book = openpyxl.load_workbook(FOLDER.parent / script.SHEET)
    script.write_sheet(tmp_path / "again.xlsx")
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    again = openpyxl.load_workbook(tmp_path / "again.xlsx").active
    assert rows == [[cell.value for cell in row] for row in again.iter_rows()]
    first = next(k for k, row in enumerate(rows) if row[1] is not None)  # positions along the top
    for row in book.active.iter_rows(min_row=first + 2, max_row=first + 10, min_col=2, max_col=12):
        for cell in row:
            cell.value = "41 3/8"
    book.save(tmp_path / "filled.xlsx")
    survey = read_survey(tmp_path / "filled.xlsx")
    assert len(survey.points) == 11 * 9
    assert survey.points[["x", "y"]].max().tolist() == pytest.approx([20 * FT, 16 * FT])
