"""Surveys of curved walls: from readings made of a known wall back to the wall."""

import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest

import flatness
from flatness.curves.making import make_arc, make_chain, make_ellipse
from flatness.curves.walls import curved_text, read_curved_wall, read_design, rows_to_go_on
from flatness.errors import SurveyFileError

SAMPLES = Path(__file__).parents[2] / "sample_surveys" / "oval_room"
HEAD = "# surface: curved wall\n# unit: mm\n# accuracy: 0.5 mm\n"


def lines(rows):
    return "".join(",".join(f"{v:.4f}" if isinstance(v, float) else str(v) for v in row) + "\n" for row in rows)


def test_the_three_ways_to_read_one_wall_give_the_same_heights():
    """One niche, bulged by a bump of 4 mm toward the room: places off the plan, offsets from its string, radii."""
    arc = make_arc(chord=1200.0, rise=200.0)
    s = np.linspace(0, arc.length, 15)
    bump = 4.0 * np.exp(-(((s - 500) / 150) ** 2))
    x, y = arc.offset_at(s, bump).T
    cx, cy = arc.centre
    files = {
        "plan": "# curve: arc chord 1200, rise 200\n# reading: plan\nx,y\n" + lines(zip(x, y, strict=True)),
        "offset": "# curve: arc chord 1200, rise 200\n# reading: offset\nalong,offset\n"
        + lines(zip(x, y, strict=True)),
        "radius": f"# curve: arc chord 1200, rise 200\n# reading: radius\n# center: ({cx}, {cy})\nangle,radius\n"
        + lines(zip(np.degrees(np.arctan2(y - cy, x - cx)), np.hypot(x - cx, y - cy), strict=True)),
    }
    for name, text in files.items():
        wall = read_curved_wall((HEAD + text).encode(), name=f"{name}.csv")
        # proud is toward the room, which is inside
        assert wall.points["off_mm"].to_numpy() == pytest.approx(bump, abs=1e-3), name
        assert wall.points["along_mm"].to_numpy() == pytest.approx(arc.length - s, abs=1e-3), name
        assert wall.survey.surface == "wall"
        assert wall.survey.reference == ("string" if name == "offset" else "plumb")
    # from the room, facing the wall, x of the plan runs left to right, and so does the distance along
    assert np.corrcoef(x, wall.points["along_mm"])[0, 1] > 0.99


def test_a_wall_seen_from_outside_runs_the_other_way():
    arc = make_arc(chord=1200.0, rise=-200.0)
    s = np.linspace(0, arc.length, 9)
    x, y = arc.offset_at(s, -3.0).T  # toward the room, which lies below it in plan
    text = HEAD + "# curve: arc chord 1200, rise -200\n# room: outside\n# reading: offset\nalong,offset\n"
    wall = read_curved_wall((text + lines(zip(x, y, strict=True))).encode(), name="column.csv")
    assert wall.points["off_mm"].to_numpy() == pytest.approx(np.full(9, 3.0), abs=1e-3)
    assert wall.points["along_mm"].to_numpy() == pytest.approx(s, abs=1e-3)


def room_file(ellipse, off, levels=(300.0, 1500.0)):
    rows = []
    for up in levels:
        s = np.linspace(0, ellipse.length, 55, endpoint=False)
        x, y = ellipse.offset_at(s, off(s, up)).T
        rows += [(float(a), float(b), up) for a, b in zip(x, y, strict=True)]
    return (HEAD + "# curve: ellipse length 6000, width 4200\n# reading: plan\nx,y,up\n" + lines(rows)).encode()


def test_the_unrolled_wall_is_checked_like_any_other():
    ellipse = make_ellipse(length=6000.0, width=4200.0)

    def off(s, up):
        return -9.0 * np.exp(-(((s - 7000) / 400) ** 2))

    data = room_file(ellipse, off)
    survey = flatness.read_survey(data, name="oval.csv")
    assert survey.surface == "wall"
    limit = flatness.straightedge_limit(900.0, 3.0)
    checked = flatness.assess(survey, limit, draws=40)
    row = checked.table.iloc[0]
    # a hollow 9 mm deep and wider than the bar: under 900 mm, so much of its bell's curve
    assert 4.5 < row["as_read_mm"] < 7.0
    assert checked.verdict == "fail"
    wall = read_curved_wall(data, name="oval.csv")
    placement, level = wall.worst(900.0)
    assert placement.at == pytest.approx(ellipse.length - 7000, abs=160)
    assert placement.gap == pytest.approx(row["as_read_mm"], rel=0.15)
    assert level in (300.0, 1500.0)
    assert wall.levels() == [300.0, 1500.0]


@pytest.mark.parametrize("more", ["", "# outline: (0, 0) (16147, 0) (16147, 2000) (0, 2000)\n"])
@pytest.mark.parametrize("at", [0.0, 5000.0])
def test_a_bar_is_set_across_the_seam_of_a_closed_wall(at, more):
    """One hollow of 9 mm, at the seam or away from it."""
    ellipse = make_ellipse(length=6000.0, width=4200.0)

    def off(s, up):
        apart = np.abs(s - at)
        return -9.0 * np.exp(-((np.minimum(apart, ellipse.length - apart) / 400) ** 2))

    survey = flatness.read_survey(more.encode() + room_file(ellipse, off), name="oval.csv")
    checked = flatness.assess(survey, flatness.straightedge_limit(900.0, 3.0), draws=40)
    assert 4.5 < checked.table.iloc[0]["as_read_mm"] < 7.0
    assert checked.verdict == "fail"


def test_a_closed_curve_read_in_part_is_not_carried_on():
    """No reading stands near the seam, so nothing is set across it."""
    ellipse = make_ellipse(length=6000.0, width=4200.0)
    s = np.linspace(2000, 9000, 20)
    text = HEAD + "# curve: ellipse length 6000, width 4200\n# reading: plan\nx,y\n"
    wall = read_curved_wall((text + lines(zip(*ellipse.at(s).T, strict=True))).encode(), name="part.csv")
    assert len(wall.survey.points) == len(wall.points) == 20


def test_a_true_wall_shows_nothing():
    ellipse = make_ellipse(length=6000.0, width=4200.0)
    wall = read_curved_wall(room_file(ellipse, lambda s, up: np.zeros(len(s))), name="true.csv")
    found = wall.worst(900.0)
    assert found is None or found[0].gap < 0.01
    assert (wall.fairness(300.0)["finding"] == "").all()


def test_a_fitted_curve_is_found_with_its_errors():
    rng = np.random.default_rng(4)
    arc = make_arc(radius=927.1, centre=(600.0, -700.0), first=50.0, last=130.0)
    x, y = arc.offset_at(np.linspace(0, arc.length, 20), rng.normal(0, 0.5, 20)).T
    text = HEAD + "# curve: fitted arc\n# reading: plan\nx,y\n" + lines(zip(x, y, strict=True))
    wall = read_curved_wall(text.encode(), name="niche.csv")
    assert abs(wall.fit.radius - 927.1) < 4 * wall.fit.errors["radius"]
    assert not wall.curve.closed
    assert wall.points["along_mm"].min() == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "said", "place"),
    [
        ("# reading: plan\nx,y\n0,0\n", "does not say which curve", None),
        ("# curve: arc radius 900\nx,y\n0,900\n", "does not say what was read", None),
        ("# curve: arc radius 900\n# reading: plan\nx,why\n0,900\n", "unknown heading", "B6"),
        ("# curve: arc radius 900\n# reading: plan\nx,y,x\n0,900,1\n", "twice, also in column A", "C6"),
        ("# curve: arc radius 900\n# reading: plan\nx,y [yd]\n0,900\n", "a unit that is not known", "B6"),
        ("# curve: arc radius 900\n# reading: plan\nx,y\n0,9x0\n900,0\n", "not a length", "B7"),
        ("# curve: arc radius 900\n# reading: plan\nx,y\n0,900\n900,0\n0,90\n", "stands 810 mm off the curve", "B9"),
        (
            "# curve: arc radius 900\n# reading: radius\nangle,radius\nten,900\n0,900\n",
            "angle that cannot be read",
            "A7",
        ),
        ("# curve: arc radus 900\n# reading: plan\nx,y\n0,900\n", "size that is not known", "A4"),
        ("# curve: arc radius 900\n# room: insid\n# reading: plan\nx,y\n0,900\n", "unknown side of the room", "A5"),
        ("# curve: arc radius 900\n# reading: drop\nx,y\n0,900\n", "unknown reading", "A5"),
        ("# curve: arc radius 900\n# reading: plan\nx,y\n", "no readings", None),
        ("# curve: fitted arc\n# reading: plan\nx,y\n0,0\n1,0\n2,0\n3,0\n", "no arc fits", "A4"),
        ("# curve: arc radius 900\n# string: (0,0)\n# reading: offset\nalong,offset\n0,900\n", "cannot be read", "A5"),
    ],
)
def test_mistakes_are_named_by_their_cell(text, said, place):
    with pytest.raises(SurveyFileError, match=said) as error:
        read_curved_wall((HEAD + text).encode(), name="niche.csv")
    assert error.value.problems[0].file == "niche.csv"
    if place is not None:
        assert place in [problem.cell for problem in error.value.problems]
    assert all(problem.expected for problem in error.value.problems)


def test_keys_of_a_curve_belong_to_a_curved_wall():
    text = "# surface: wall\n# unit: mm\n# reading: height\n# curve: arc radius 900\nx,y,height\n0,0,1\n9,0,1\n9,9,1\n"
    with pytest.raises(SurveyFileError, match="belongs to a wall that curves"):
        flatness.read_survey(text.encode(), name="wall.csv")
    with pytest.raises(SurveyFileError, match="not a survey of a curved wall"):
        read_curved_wall(text.replace("# curve: arc radius 900\n", "").encode(), name="wall.csv")


def test_the_gap_in_the_niche_is_the_true_one_within_its_error():
    """The sample's niche: a flat of 10 in in an arc of 36 1/2 in; every pair of contacts of a 24 in template tried."""
    inch, r = 25.4, 36.5 * 25.4
    step = inch / 2
    x = np.arange(0, 52.0 * inch, step)
    true = np.maximum(0, (5 * inch) ** 2 - (x - 16 * inch) ** 2) / (2 * r)
    gap, reach = 0.0, int(24 * inch / step + 1e-9)
    for p in range(len(x)):
        for q in range(p + 2, min(p + reach, len(x) - 1) + 1):
            a, b, part = x[p] / r, x[q] / r, x[p + 1 : q] / r
            over = (true[p] * np.sin(b - part) + true[q] * np.sin(part - a)) / np.sin(b - a)
            gap = max(gap, float((over - true[p + 1 : q]).max()))
    wall = read_curved_wall(SAMPLES / "niche.csv")
    found, _ = wall.worst(24 * inch)
    # three readings make a gap: their errors, and that the largest of many comes out too large
    assert gap - 2 * inch / 32 < found.gap < gap + wall.gap_of_errors(24 * inch)
    assert abs(found.at - 16 * inch) < 12 * inch


def test_a_workbook_reads_as_the_same_wall(tmp_path):
    book = openpyxl.Workbook()
    for row in ["# surface: curved wall", "# unit: in", "# curve: arc chord 48, rise 9", "# reading: offset"]:
        book.active.append([row])
    for row in [("along", "offset", "up"), ("0", "0", "12"), ("24", "9 1/16", "12"), ("48", "0", "12")]:
        book.active.append(list(row))
    book.save(tmp_path / "niche.xlsx")
    wall = read_curved_wall(tmp_path / "niche.xlsx")
    assert wall.points["off_mm"].to_numpy() == pytest.approx([0, -25.4 / 16, 0], abs=1e-6)


def test_errors_alone_show_a_gap_that_is_told():
    """What 200 true walls read with errors show is what the wall says of its errors."""
    rng = np.random.default_rng(0)
    arc = make_arc(chord=1200.0, rise=200.0)
    s = np.linspace(0, arc.length, 25)
    head = HEAD + "# curve: arc chord 1200, rise 200\n# reading: plan\nx,y\n"
    shown = []
    for _ in range(60):
        x, y = arc.offset_at(s, rng.normal(0, 0.5, 25)).T
        wall = read_curved_wall((head + lines(zip(x, y, strict=True))).encode(), name="niche.csv")
        shown.append(wall.worst(600.0)[0].gap)
    assert np.quantile(shown, 0.95) == pytest.approx(wall.gap_of_errors(600.0), rel=0.2)


def test_a_file_without_readings_is_a_curve_to_set_out(tmp_path):
    path = tmp_path / "niche.csv"
    path.write_text("# title: Niche\n# surface: curved wall\n# unit: in\n# curve: arc chord 48, rise 9\n")
    design = read_design(path)
    assert design.wall is None
    assert (design.unit, design.title) == ("in", "Niche")
    assert design.curve.radius == pytest.approx(927.1)
    assert read_design(path, curve="arc radius 12 ft").curve.radius == pytest.approx(3657.6)
    path.write_text("# surface: curved wall\n# unit: in\n# curve: fitted arc\n")
    with pytest.raises(SurveyFileError, match="nothing to fit"):
        read_design(path)


def test_more_readings_of_a_wall_go_into_its_own_file(tmp_path):
    """An arc of 1,000 mm radius over a chord of 1,200, read off the chord: along it, a place so far along the curve."""
    rows = [(x, 200 - (1000 - math.sqrt(1000**2 - (x - 600) ** 2))) for x in range(0, 1201, 100)]
    text = "# surface: curved wall\n# unit: mm\n# curve: arc chord 1200, rise 200\n# reading: offset\nalong,offset\n"
    text += "".join(f"{x},{off:.1f}\n" for x, off in rows)
    file = tmp_path / "arc.csv"
    file.write_text(text, encoding="utf-8")
    found, wall = curved_text(file)
    assert found == text
    arc = 2 * math.asin(0.6)
    for part in (0.1, 0.5, 0.8):
        by_hand = 600 - 1000 * math.sin(arc / 2 - part * arc)
        assert wall.read_from(part * wall.curve.length) == pytest.approx(by_hand, abs=0.01)
    more = rows_to_go_on(found, wall, [("250 mm", "0 mm", "more 1")])
    assert more.splitlines()[4:6] == ["along,offset,label", "0,0.0"]
    assert more.splitlines()[-1] == "250 mm,,more 1"
    # empty, they change nothing; filled in, they are readings like the others
    assert len(read_curved_wall(more.encode(), name="arc.csv").points) == len(rows)
    filled = more.replace("250 mm,,", "250 mm,136.7,")
    again = read_curved_wall(filled.encode(), name="arc.csv")
    assert len(again.points) == len(rows) + 1
    assert again.points["off_mm"].abs().max() < 1.0
    plain = tmp_path / "plain.csv"
    plain.write_text("# surface: floor\n# unit: mm\nx,y,height\n0,0,1\n", encoding="utf-8")
    assert curved_text(plain) is None


def test_an_empty_position_is_to_be_filled_in():
    text = "# surface: curved wall\n# unit: mm\n# curve: arc chord 1200, rise 200\n# reading: offset\nalong,offset\n"
    with pytest.raises(SurveyFileError) as caught:
        read_curved_wall(f"{text}0,0\n,203\n1200,0\n".encode(), name="arc.csv")
    assert "type the length" in caught.value.problems[0].remedy


def test_a_fitted_chain_names_the_kink_at_its_join():
    """A straight, an arc that begins with a kink of 4 degrees, a straight: a chain of tangent joins hides it."""
    rng = np.random.default_rng(2)
    chain = make_chain([(1500.0, 0.0), (1200.0, 900.0), (1500.0, 0.0)], kinks=(4.0, 0.0))
    places = chain.at(np.arange(0, chain.length, 100.0))
    text = HEAD + "# curve: fitted chain\n# reading: plan\nx,y\n"
    data = (text + lines(zip(*(places + rng.normal(0, 0.5, places.shape)).T, strict=True))).encode()
    (kink,) = read_curved_wall(data, name="bench.csv").kinks.itertuples()
    assert kink.kink_deg == pytest.approx(4.0, abs=3 * kink.kink_error_deg)
    # from the left as seen from the room, which the chain runs against
    assert kink.along_mm == pytest.approx(4100 - 1500, abs=60)  # the last place that was read is at 4,100
