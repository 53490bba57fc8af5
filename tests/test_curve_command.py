"""The curve command: the answer first, tables, drawing, full-size sheets and pictures of the sample."""

import json
import math
import re
from pathlib import Path

import ezdxf
import numpy as np
import pandas as pd
import pdfplumber
import pytest

from flatness.__main__ import main
from flatness.curves.making import make_ellipse, make_oval

SAMPLES = Path(__file__).parents[1] / "sample_surveys" / "oval_room"
IN = 25.4


def said(capsys, *arguments):
    code = main(["curve", *map(str, arguments)])
    return code, capsys.readouterr()


def test_a_curve_alone_is_set_out(capsys):
    code, out = said(capsys, SAMPLES / "bench.csv")
    assert code == 0
    # the draftsman's construction for half axes of 96 in and 60 in
    c = math.hypot(96, 60)
    small, large = c * (c - 36) / 192, c * (c + 36) / 120
    assert out.out.startswith(
        "Oval of four arcs, 16' 0\" by 10' 0\": swing two arcs of 3' 9 1/2\" and two of\n11' 8 3/4\""
    )
    assert (small, large) == (pytest.approx(45.5, abs=1 / 32), pytest.approx(140.75, abs=1 / 32))
    assert "Caution:" in out.out
    assert out.err == ""
    assert max(map(len, out.out.splitlines())) <= 82


def test_the_wall_of_the_sample_is_off_where_it_was_planted(capsys):
    code, out = said(capsys, SAMPLES / "room.csv", "--json")
    assert code == 0
    found = json.loads(out.out)
    around = make_ellipse(length=240 * IN, width=168 * IN).length
    assert found["length_mm"] == pytest.approx(around)
    # its largest gap is beside the flat of 2 ft in the middle of a long side, or the stud at 33 ft
    places = [around / 4, 33 * 12 * IN]
    assert min(abs(found["gap_at_mm"] - place) for place in places) < 24 * IN
    findings = [row for row in found["tables"]["fairness"] if row["finding"]]
    for name, place in (("flat", places[0]), ("kink", places[1])):
        assert any(row["finding"] == name and abs(row["along_mm"] - place) < 12 * IN for row in findings)
    # what runs up the wall is one thing on both levels
    assert {row["finding"] for row in findings if abs(row["along_mm"] - places[0]) < 24 * IN} == {"flat"}
    assert all(min(abs(row["along_mm"] - place) for place in places) < 24 * IN for row in findings)
    assert found["gap_mm"] > found["gap_of_errors_mm"]
    text = said(capsys, SAMPLES / "room.csv")[1].out
    said_first, rest = " ".join(text.split()).split("The wall is off its curve by ", 1)
    assert re.match(r"The wall has a flat at 13' .*, a kink of \d\.\d degrees at 33' ", said_first)
    assert re.match(r"1/4\" under a 3' 0\" template: 14' ", rest)
    assert "flat at 13'" in text


def test_the_niche_is_read_off_its_string(capsys):
    _, out = said(capsys, SAMPLES / "niche.csv", "--template", "18in", "--json")
    found = json.loads(out.out)
    assert found["chord_mm"] == pytest.approx(48 * IN)
    assert found["rise_mm"] == pytest.approx(9 * IN)
    assert found["template_mm"] == pytest.approx(18 * IN)
    flats = [row for row in found["tables"]["fairness"] if row["finding"] == "flat"]
    assert len(flats) == 3
    assert all(abs(row["along_mm"] - 16 * IN) < 4 * IN for row in flats)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("curve")
    options = ["--parallel", "2in", "--plate", "3-1/2in", "--template", "24in", "--out", str(folder)]
    assert main(["curve", str(SAMPLES / "niche.csv"), *options]) == 0
    assert main(["curve", str(SAMPLES / "bench.csv"), *options]) == 0
    return folder


def test_everything_asked_for_is_written(written):
    names = {path.name for path in written.iterdir()}
    for end in ("centers.csv", "offsets.csv", "studs.csv", "parallel.csv", "plates.csv", "wall.csv", "fairness.csv"):
        assert f"niche-{end}" in names
    assert {"niche.dxf", "niche-full-size.pdf", "niche-set-out.png", "niche-off-curve.png"} <= names
    assert {"bench-joins.csv", "bench-full-size.pdf"} <= names
    offsets = pd.read_csv(written / "niche-offsets.csv")
    r = (24**2 + 9**2) / 18
    expected = np.sqrt(r**2 - (offsets["along_in"] - 24) ** 2) - (r - 9)
    assert offsets["offset_in"].to_numpy() == pytest.approx(expected.to_numpy(), abs=1e-5)


def test_a_second_time_nothing_is_replaced_unasked(written, capsys):
    assert main(["curve", str(SAMPLES / "bench.csv"), "--out", str(written)]) == 2
    assert "there is a file of this name already" in capsys.readouterr().err


def test_the_drawing_holds_true_arcs_in_true_size(written):
    space = ezdxf.readfile(written / "bench.dxf").modelspace()
    arcs = [one for one in space if one.dxf.layer == "CURVE"]
    assert {one.dxftype() for one in arcs} == {"ARC"}
    oval = make_oval(length=192 * IN, width=120 * IN)
    total = 0.0
    for arc in arcs:
        sweep = math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360)
        total += arc.dxf.radius * sweep
        for point in (arc.start_point, arc.end_point):
            assert abs(oval.nearest(point.x * IN, point.y * IN)[1]) < 1e-6
    assert total * IN == pytest.approx(oval.length)
    parallel = [one for one in space if one.dxf.layer == "PARALLEL"]
    assert {round(one.dxf.radius, 6) for one in parallel} == {round(one.dxf.radius - 2, 6) for one in arcs}
    assert len([one for one in space if one.dxf.layer == "PLATES"]) == len(pd.read_csv(written / "bench-plates.csv"))


def test_ten_inches_on_paper_are_ten_inches(written):
    """In the units of the PDF itself, of which 72 make an inch."""
    with pdfplumber.open(written / "niche-full-size.pdf") as pdf:
        for page in pdf.pages:
            across = [
                one for one in page.lines if abs(one["x1"] - one["x0"] - 720) < 1e-3 and one["top"] == one["bottom"]
            ]
            assert len(across) == 1
            assert "10 in between the ticks" in page.extract_text()
            ticks = [
                one
                for one in page.lines
                if one["x0"] == one["x1"] and abs(one["bottom"] - one["top"] - 4 * 72 / IN) < 0.01
            ]
            places = {round(one["x0"] - across[0]["x0"], 3) for one in ticks}
            assert {0.0, 720.0} <= places
        upright = [one for one in pdf.pages[0].lines if one["x0"] == one["x1"]]
        assert any(abs(one["bottom"] - one["top"] - 432) < 1e-3 for one in upright)


def test_the_curve_on_the_sheets_has_its_radius_across_their_joints(written):
    """Tiles laid side by side by their frames: the drawn line must be one circle of 36 1/2 in."""
    places = []
    with pdfplumber.open(written / "niche-full-size.pdf") as pdf:
        for page in pdf.pages[1:]:
            name = "".join(one["text"] for one in page.chars if one["size"] > 14).strip()
            row, column = ord(name[0]) - ord("A"), int(name[1:]) - 1
            frame = page.rects[0]
            wide, high = frame["x1"] - frame["x0"], frame["bottom"] - frame["top"]
            for line in page.curves:
                if abs(line["linewidth"] - 0.5 * 72 / IN) > 0.01:
                    continue
                for x, y in line["pts"]:
                    places.append((column * wide + x - frame["x0"], row * high + y - frame["top"]))
    x, y = np.array(places).T / 72
    assert len(x) > 500
    matrix = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    cx, cy, k = np.linalg.lstsq(matrix, x * x + y * y, rcond=None)[0]
    assert math.sqrt(k + cx * cx + cy * cy) == pytest.approx(36.5, abs=0.01)
    assert np.abs(np.hypot(x - cx, y - cy) - 36.5).max() < 0.002


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (["--template", "0in"], "--template"),
        (["--parallel", "40in"], "fold over itself"),
        (["--curve", "arc girth 3ft"], "curve: a size that is not known"),
        (["--plate", "7in", "--sheet-length", "6in", "--sheet-width", "6in"], "no piece"),
    ],
)
def test_what_cannot_be_is_said(capsys, options, what):
    code, out = said(capsys, SAMPLES / "niche.csv", *options)
    assert code == 2
    assert what in out.err
    assert out.out == ""


def test_millimetres_are_said_in_millimetres(capsys):
    _, out = said(capsys, SAMPLES / "bench.csv", "--unit", "mm")
    assert out.out.startswith("Oval of four arcs, 4876.8 mm by 3048 mm")
    assert '"' not in out.out


def test_a_slip_that_draws_the_fit_is_to_be_read_again(capsys, tmp_path):
    """90 mm typed for 900: all other readings are within 1 mm of 900."""
    head = "# surface: curved wall\n# curve: fitted arc\n# reading: radius\n# unit: mm\n# accuracy: 1 mm\n"
    file = tmp_path / "slip.csv"
    file.write_text(head + "angle,radius\n10,900\n20,900\n30,900\n40,901\n50,90\n60,899\n70,900\n")
    code, out = said(capsys, file, "--json")
    found = json.loads(out.out)
    assert code == 0
    assert "follows its curve:" not in found["answer"]
    assert "follows its curve, " not in found["answer"]
    assert "in B11 does not fit one arc" in found["answer"]
    assert found["read_again"] == ["B11"]


@pytest.mark.parametrize("radius", ["0", "-900"])
def test_a_radius_not_above_zero_is_refused_by_its_cell(capsys, tmp_path, radius):
    head = "# surface: curved wall\n# curve: arc radius 900\n# reading: radius\n# unit: mm\nangle,radius\n"
    file = tmp_path / "low.csv"
    file.write_text(f"{head}10,900\n20,{radius}\n30,900\n40,901\n")
    code, out = said(capsys, file)
    assert code == 2
    assert "cell B7 (row 7, column B): a radius that is not above zero" in out.err
