"""Papers read back: their words against the tables, their lines against the stated scale, hostile texts as text."""

from __future__ import annotations

import dataclasses
import io
import math
import re
from datetime import UTC, datetime
from fractions import Fraction
from html.parser import HTMLParser

import numpy as np
import pdfplumber
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.colors import to_rgba
from shapely import box

import flatness
import plan_rooms
from chart_checks import FOOT, INCH, survey_of
from flatness.charts.hatching import PATTERNS
from flatness.errors import ArgumentError
from flatness.files import write_ours
from flatness.framing.members import member_layout
from flatness.framing.schedule import member_schedule
from flatness.lengths import parse_length
from flatness.limits.spot_checks import Sweep
from flatness.papers.crew import axes_of, crew_sheet, place_rows
from flatness.papers.figures import room_figure
from flatness.papers.owner import Day, owner_page
from flatness.papers.owner_words import about
from flatness.papers.record import record_paper
from flatness.papers.sheet import OVERLAP, SHEETS, lay_out, room_on
from flatness.planning.quantities import quantities
from flatness.survey.walls import WallOpening, Walls
from flatness.words.printed import Rule

POINT = 25.4 / 72  # a point, 1/72 in [mm]
HOSTILE = "<script>alert(1)</script> =SUM(A1) #eval($x$) *b* _i_ @import \\u{1}"
LONG = "W" * 150
RTL = "שלום עולם"
TITLE = f"{HOSTILE}\nsecond line {RTL}"
LIMIT = flatness.straightedge_limit(3000, 5, name="agreed 3 m", purpose="<b>bold</b> boards")


def pages_of(paper):
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        return [page.extract_text() for page in pdf.pages]


def flat(text):
    """Words without the breaks that a page puts between them."""
    return re.sub(r"[\s\u200b]+", "", text)


def trough(depth=-6.0, **attributes):
    """A V-shaped trough along y: under a bar of its width the gap is its depth, whichever heights lie beside it."""
    x, y = np.meshgrid(np.arange(7) * 500.0, np.arange(7) * 500.0)
    attributes = {"title": "Room", "unit": "mm", "accuracy": 0.5, "date": "2026-03-02", **attributes}
    return flatness.make_survey(x, y, depth * (1 - np.abs(x - 1500) / 1500), **attributes)


def room(nx=17, ny=13, unit="in", **attributes):
    outline = box(0, 0, (nx - 1) * FOOT, (ny - 1) * FOOT)
    return survey_of(nx, ny, FOOT, lambda x, y: 4 * np.sin(x / 900), outline=outline, unit=unit, **attributes)


def islands(survey, pitch=6, **attributes):
    """A plan of square islands: filled and planed in turn, each another depth."""

    def change(x, y, _):
        i, j = np.floor(x / (pitch * FOOT)), np.floor(y / (pitch * FOOT))
        inside = (np.mod(x, pitch * FOOT) < (pitch - 1.6) * FOOT) & (np.mod(y, pitch * FOOT) < (pitch - 1.6) * FOOT)
        return np.where(inside, np.where((i + j) % 2 == 0, 1, -1) * (2 + 1.37 * i + 2.11 * j + x / 3000), 0.0)

    return plan_rooms.plan_of(
        survey, change, lambda m, x, y: np.where(m == 0, "leave", np.where(m > 0, "fill", "plane")), **attributes
    )


@pytest.fixture(scope="module")
def compared():
    before, after = trough(), trough(-1.0)
    return flatness.compare(before, after, align="none", limits=[LIMIT], draws=40)


@pytest.fixture(scope="module")
def planned():
    survey = room(title="Room", accuracy=0.5)
    return islands(survey, members=member_layout(0, 16 * INCH, "y", until=16 * FOOT))


# -- the owner's page


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_owners_page_has_one_page_of_numbers_behind_it_whatever_it_holds(paper, compared, planned):
    many = [flatness.straightedge_limit(600 + 100 * i, 5, name=f"limit {i} {LONG[:40]}") for i in range(14)]
    survey = trough(title=f"{TITLE} {LONG}")
    for page in (
        owner_page(survey, paper=paper),
        owner_page(flatness.assess(survey, many, draws=0), paper=paper),
        owner_page(compared.surveys[0], comparison=compared, paper=paper),
        owner_page(planned.survey, plan=planned, paper=paper),
        owner_page(islands(room(61, 5)).survey, paper=paper),
    ):
        with pdfplumber.open(io.BytesIO(page.pdf)) as pdf:
            assert len(pdf.pages) == 2
            assert (pdf.pages[0].width * POINT, pdf.pages[0].height * POINT) == pytest.approx(
                (SHEETS[paper].width, SHEETS[paper].height), abs=0.05
            )
            for sheet in pdf.pages:
                inside = [c for c in sheet.chars if c["text"].strip()]
                assert min(c["x0"] for c in inside) > 30
                assert max(c["x1"] for c in inside) < sheet.width - 30
                assert max(c["bottom"] for c in inside) < sheet.height - 15
                assert min(c["size"] for c in inside) >= 8 - 0.01
                assert all("DejaVuSans" in c["fontname"] for c in inside)


def test_the_owner_reads_what_the_table_says():
    # a V of depth 6 mm and width 3 m: a bar 3 m long shows 6 mm (closed form, slope x length / 2)
    found = flatness.assess(trough(), LIMIT, draws=0)
    text = flat(" ".join(pages_of(owner_page(found))))
    assert flat("is not flat enough for its use (<b>bold</b> boards)") in text
    assert flat("under a straight bar 3 m long the largest gap is about 6 mm, and up to 5 mm is allowed") in text
    assert flat("Nothing is planned yet") in text
    # the first page answers before it counts
    assert flat("The floor is not flat enough. A 3 m straight bar shows about 6 mm. 5 mm is allowed.") in text
    good = flat(" ".join(pages_of(owner_page(flatness.assess(trough(-4.0), LIMIT, draws=0)))))
    assert flat("is flat enough") in good
    assert flat("about 4 mm") in good


@pytest.mark.parametrize("place", [(1750.0, "y"), (1250.0, "x")])
def test_the_owner_sees_where_a_bar_showed_too_much(place):
    """A fine floor as read, and a hump of 8 mm between two lines of stations that a bar slid along one strip showed."""
    at, along = place
    survey = trough(-0.5)
    strip = Sweep(2000, along, at, 0, 3000, 4, 8.0)
    whole = Sweep(2000, along, at + 1000, 0, 3000, 4, None)
    found = flatness.assess(survey, LIMIT, draws=50, spot_checks=[strip, whole])
    assert found.verdict == "fail"
    day = Day.of(found)
    assert found.judged[0].worst_at == ((1500, at) if along == "x" else (at, 1500))
    _, room = room_figure(day.surface, survey, 4, 4)
    assert "bar" in day.lay(room)
    face = to_rgba(PATTERNS["bar"].face)
    (drawn,) = [patch for patch in room.ax.patches if patch.get_facecolor() == face]
    extents = drawn.get_path().get_extents()
    across, ends = (extents.intervalx, extents.intervaly) if along == "y" else (extents.intervaly, extents.intervalx)
    assert across.mean() == pytest.approx(at)
    assert ends == pytest.approx([0, 3000])
    first = flat(pages_of(owner_page(found))[0])
    assert flat("too large a gap under a bar slid here") in first
    assert flat("is proud") not in first
    # nothing of it where it showed what is allowed
    assert not Day.of(flatness.assess(survey, LIMIT, draws=50, spot_checks=[whole])).over


def test_the_owner_is_told_that_nobody_wrote_down_where_a_bar_was_set():
    found = flatness.assess(trough(-0.5), LIMIT, draws=50, spot_checks=[flatness.SpotCheck(2000, 8.0)])
    assert found.verdict == "fail"
    assert found.judged[0].worst_at is None
    assert flat("nobody wrote down where") in flat(pages_of(owner_page(found))[0])


@pytest.mark.parametrize("allowed", ["1/16", "1/8", "3/16", "1/4", "5/16", "3/8", "5/8"])
def test_the_owner_reads_the_limit_as_it_is(allowed):
    mm = parse_length(allowed, "in")
    found = flatness.assess(trough(unit="in"), flatness.straightedge_limit(3048, mm), draws=0)
    text = flat(" ".join(pages_of(owner_page(found))))
    assert flat(f"up to {allowed} inch is allowed") in text
    assert (flat("is not flat enough") in text) == (mm < 6.0)


def test_the_owner_reads_what_was_done(compared):
    page = owner_page(compared.surveys[0], comparison=compared)
    text = flat(" ".join(pages_of(page)))
    # 6 mm deep before, 1 mm after: 5 mm were added where it was deepest
    assert flat("by up to 5 mm") in text
    assert flat("Where it stood.") in text
    assert flat("What it is like now. The floor is flat enough") in text
    assert compared.verdicts["after"].tolist() == ["pass"]


def test_the_owner_reads_what_is_planned(planned):
    text = flat(" ".join(pages_of(owner_page(planned.survey, plan=planned))))
    for action, words in (("fill", "filled"), ("plane", "planed or ground down")):
        mine = planned.patches["action"] == action
        square_feet = planned.patches.loc[mine, "area_mm2"].sum() / FOOT**2
        two_figures = round(square_feet, 1 - math.floor(math.log10(square_feet)))
        assert flat(f"bout {two_figures:.0f} square feet will be {words}") in text
    assert flat(f"about {planned.quantities.bags} bag") in text


@given(st.floats(0.01, 60), st.sampled_from([3.175, 4.7625, 6.35, 5.0, 3.0]), st.sampled_from(["in", "mm"]))
def test_what_is_said_is_never_on_the_other_side_of_the_limit(mm, allowed, unit):
    said = about(mm, unit, allowed)
    told = parse_length(re.sub("^(less than|just over|just under) ", "", said))
    over = round(mm, 6) > allowed
    if said.startswith("just"):
        # the number alone would say the opposite
        assert said.startswith("just over") == over
        assert (told > allowed + 1e-9) != over
        assert (told < mm) == over
    else:
        assert (told > allowed + 1e-9) == over
    assert abs(told - mm) <= (25.4 / 16 if unit == "in" else 1.0) + 1e-6


class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.words, self.sources = [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.sources += [value for name, value in attributes if name in ("src", "href", "onload", "onerror")]

    def handle_data(self, data):
        self.words.append(data)


def test_the_html_form_escapes_and_needs_nothing_else():
    survey = trough(title=TITLE, date='"><img src=x onerror=alert(1)>')
    html = owner_page(flatness.assess(survey, LIMIT, draws=0)).html
    page = Page()
    page.feed(html)
    assert "script" not in page.tags
    assert page.tags.count("img") > 1
    assert all(source.startswith("data:image/svg+xml;base64,") for source in page.sources)
    words = flat("".join(page.words))
    assert flat(HOSTILE) in words
    assert flat(RTL) in words
    assert flat('"><img src=x onerror') in words


# -- all papers


def test_hostile_texts_are_printed_as_they_are(planned):
    survey = trough(title=TITLE)
    for paper in (owner_page(survey), crew_sheet(islands(room(title=TITLE)))):
        text = flat(" ".join(pages_of(paper)))
        assert flat("<script>alert(1)</script>") in text
        # letters of a language written from the right may be read back in either order
        assert flat(RTL)[:4] in text or flat(RTL)[:4][::-1] in text


def test_the_same_input_gives_the_same_bytes(compared, planned):
    made = datetime(2026, 3, 5, tzinfo=UTC)
    for make in (
        lambda **more: owner_page(compared.surveys[0], comparison=compared, **more),
        lambda **more: record_paper(compared, **more),
        lambda **more: crew_sheet(planned, **more),
    ):
        undated = make()
        assert undated.pdf == make().pdf
        dated = make(made=made)
        assert dated.pdf == make(made=made).pdf
        assert "made 2026-03-05" in pages_of(dated)[0]
        assert "made 20" not in pages_of(undated)[0]
    with pytest.raises(ArgumentError, match="time zone"):
        owner_page(compared.surveys[0], made=datetime(2026, 3, 5))


def test_a_file_is_never_written_over_another(tmp_path):
    page = owner_page(trough())
    for name in ("page.pdf", "page.html"):
        target = tmp_path / name
        page.write(target)
        with pytest.raises(ArgumentError, match="already"):
            page.write(target)
        page.write(target, overwrite=True)
        target.write_bytes(b"somebody's own")
        with pytest.raises(ArgumentError, match="did not write"):
            page.write(target, overwrite=True)
        assert target.read_bytes() == b"somebody's own"
    with pytest.raises(ArgumentError, match=r"\.pdf or \.html"):
        page.write(tmp_path / "page.doc")
    with pytest.raises(ArgumentError, match="cannot be written"):
        write_ours(tmp_path / "nowhere" / "page.pdf", page.pdf)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "page.pdf"]


def test_what_cannot_be_is_said(planned):
    for call in (
        lambda: owner_page(trough(), paper="legal"),
        lambda: owner_page(trough(), unit="ft"),
        lambda: owner_page("a survey"),
        lambda: crew_sheet(planned, scale=0.5),
        lambda: crew_sheet(planned, fraction=10),
    ):
        with pytest.raises(ArgumentError, match="expected"):
            call()


# -- the record


def test_the_record_has_surveys_verdicts_sources_and_room_to_sign(compared):
    text = " ".join(pages_of(record_paper(compared, unit="mm")))
    whole = flat(text)
    for words in (
        "Room",
        "2026-03-02",
        "49",
        "agreed 3 m",
        "agreed for this project",
        "FAIL",
        "PASS",
        "0.5 mm (1 s.d.)",
    ):
        assert flat(words) in whole
    row = compared.assessments[1].table.iloc[0]
    assert flat(f"{row.likely_mm:.1f} mm") in whole
    net = compared.volumes.loc["net", "volume_mm3"] / 1e6
    found = re.search(r"added less taken off \[litres\] (\S+) (\S+)", text)
    assert float(found[1]) == pytest.approx(net, abs=0.06 * max(1, abs(net)))
    assert float(found[2]) == pytest.approx(compared.volumes.loc["net", "error_mm3"] / 1e6, rel=0.06)
    for who in ("Measured by", "Done by", "Checked by", "Accepted by"):
        assert f"{who} name signature date" in text
    assert text.count("signature") == 4


def test_the_record_says_how_levels_close(tmp_path):
    # a line from BM1 (0) to BM2 (100): set-ups A and B tied at T; A reads 10 and -20, B reads -30 and 75, so the line
    # measures (-20 - 10) + (75 + 30) = 75 and misses the known 100 by 25
    grid = "".join(f"{x},{y},0,,A,surface\n" for x in (0, 500, 1000) for y in (0, 500, 1000))
    file = tmp_path / "levels.csv"
    file.write_text(
        "# surface: floor\n# unit: mm\n# reading: height\n# accuracy: 1 mm\n# benchmark: BM1 = 0\n"
        "# benchmark: BM2 = 100\nx,y,height,label,setup,kind\n"
        f"{grid},,10,BM1,A,benchmark\n,,-20,T,A,turning\n,,-30,T,B,turning\n,,75,BM2,B,benchmark\n"
    )
    survey = flatness.read_survey(file)
    found = flatness.compare(survey, survey, align="none")
    text = " ".join(pages_of(record_paper(found)))
    # 1.96 standard deviations of four readings of 1 mm each: 3.92 mm
    assert "Allowed at 95 %" in text
    assert re.search(r"line BM2 - .*BM1 4 25\.00 mm 3\.92 mm does not close", text)


def test_the_record_prints_what_was_read_and_what_was_added_to_it(tmp_path):
    grid = "".join(f"{x},{y},40,,surface\n" for x in (0, 500, 1000) for y in (0, 500, 1000))
    known, read = (37.0, 16.0, 51.0), (37.2, 16.5, 51.1)
    marks = "".join(f"# benchmark: B{k} = {height}\n" for k, height in enumerate(known))
    ties = "".join(f",,{value},B{k},benchmark\n" for k, value in enumerate(read))
    file = tmp_path / "after.csv"
    file.write_text(f"# surface: floor\n# unit: mm\n# accuracy: 1 mm\n{marks}x,y,height,label,kind\n{grid}{ties}")
    survey = flatness.read_survey(file)
    text = " ".join(pages_of(record_paper(flatness.compare(survey, survey), title="Hall, second day")))
    assert "Hall, second day" in text
    # the readings are 0.2, 0.5 and 0.1 mm above what is known: 0.267 mm in the mean
    added = -(0.2 + 0.5 + 0.1) / 3
    assert f"{added:+.2f} mm was added to every reading" in flat_spaces(text)
    for k, (height, value) in enumerate(zip(known, read, strict=True)):
        row = f"B{k} {height:.2f} mm {value:.2f} mm {value + added:.2f} mm {value + added - height:+.2f} mm"
        assert row.replace("-", "\N{MINUS SIGN}") in flat_spaces(text)


def flat_spaces(text):
    return re.sub(r"\s+", " ", text)


def test_the_record_holds_what_was_done_against_the_plan():
    survey, after = room(accuracy=0.3), room(accuracy=0.3)
    plan = islands(survey)
    x, y, height = after.xyz()
    moved = np.array(
        [plan.change[np.abs(plan.y - b).argmin(), np.abs(plan.x - a).argmin()] for a, b in zip(x, y, strict=True)]
    )
    after = flatness.make_survey(x, y, height + moved, accuracy=0.3, outline=after.outline)
    found = flatness.compare(survey, after, align="none", plan=plan)
    text = " ".join(pages_of(record_paper(found)))
    for row in found.plan.query("what == 'patch'").itertuples():
        line = re.search(rf"patch {row.name}, {row.action} (\S+)", text)
        assert line, row.name
        assert parse_length(line[1].strip("+")) == pytest.approx(row.planned_mm, abs=INCH / 64)


# -- the crew sheet


def inches(mm, fraction=32):
    """A length as the trade writes it: to the nearest 1/32, half away from zero, by exact fractions."""
    parts = math.floor(abs(Fraction(repr(round(float(mm), 6)))) / Fraction(254, 10) * fraction + Fraction(1, 2))
    if not parts:
        return "0"
    whole, rest = divmod(parts, fraction)
    text = " ".join(t for t in (str(whole) if whole else "", str(Fraction(rest, fraction)) if rest else "") if t)
    return ("−" if mm < 0 else "") + text


class Scale:
    """Where places of the surface stand on a page, by the ticks that are printed along its drawing."""

    def __init__(self, page, per=FOOT):
        below = page.search("f(ee|)t from the zero corner|meters from the zero corner")[0]
        words = [w for w in page.extract_words() if re.fullmatch(r"[\d.]+", w["text"])]
        row = [w for w in words if below["top"] - 16 < w["top"] < below["top"] - 2]
        left = min(w["x0"] for w in row)
        column = [w for w in words if left - 20 < w["x1"] < left - 5 and w["top"] < below["top"] - 16]
        self.x = self.fit([(float(w["text"]) * per, (w["x0"] + w["x1"]) / 2) for w in row])
        self.y = self.fit([(float(w["text"]) * per, (w["top"] + w["bottom"]) / 2) for w in column])

    @staticmethod
    def fit(pairs):
        assert len(pairs) > 1
        return np.polyfit(*zip(*pairs, strict=True), 1)

    def at(self, x, y):
        return float(np.polyval(self.x, x)), float(np.polyval(self.y, y))


def text_near(page, x, y, wide=12, high=4):
    """What stands about a point of a page: letters whose middles lie so near, from left to right."""
    near = [
        c
        for c in page.chars
        if abs((c["x0"] + c["x1"]) / 2 - x) < wide and abs((c["top"] + c["bottom"]) / 2 - y) < high
    ]
    return "".join(c["text"] for c in sorted(near, key=lambda c: c["x0"])).strip()


@pytest.fixture(scope="module")
def framed():
    """Every joist of a floor set level; the readings stand on the joists."""
    survey = room(title="Room", accuracy=0.5)
    joists = member_layout(0, 2 * FOOT, "y", until=16 * FOOT, start=0, end=12 * FOOT)
    return flatness.plan_corrections(
        survey, way="members", members=joists, limits=FLAT, draws=0, spacing=FOOT, headings=4, surface="as-read"
    )


FLAT = flatness.straightedge_limit(10 * FOOT, 3 / 16 * INCH)


def test_the_deepest_height_of_each_place_stands_where_it_is_to_scale(planned):
    with pdfplumber.open(io.BytesIO(crew_sheet(planned).pdf)) as pdf:
        page = pdf.pages[0]
        scale = Scale(page)
        for row in planned.patches.itertuples():
            j, i = (
                np.abs(axis - at).argmin()
                for axis, at in ((planned.y, row.deepest_y_mm), (planned.x, row.deepest_x_mm))
            )
            height = planned.surface.height[j, i] + planned.change[j, i]
            x, y = scale.at(row.deepest_x_mm, row.deepest_y_mm)
            near = {
                w["text"]
                for w in page.extract_words()
                if abs((w["x0"] + w["x1"]) / 2 - x) < 30 and abs((w["top"] + w["bottom"]) / 2 - y) < 26
            }
            assert inches(height) in near, row.name
            assert ("+" if row.greatest_mm > 0 else "−") + inches(abs(row.greatest_mm)) in near, row.name


def test_the_scale_that_is_said_is_the_scale_that_is_drawn(planned):
    for scale, unit, said in ((48, "in", "1/4 in to 1 ft (1:48)"), (50, "mm", "1:50")):
        with pdfplumber.open(io.BytesIO(crew_sheet(planned, scale=scale, unit=unit).pdf)) as pdf:
            page = pdf.pages[0]
            assert f"Scale {said}" in page.extract_text()
            drawn = Scale(page, per=FOOT if unit == "in" else 1000.0)
            assert 1 / abs(drawn.x[0] * POINT) == pytest.approx(scale, rel=0.01)
            assert 1 / abs(drawn.y[0] * POINT) == pytest.approx(scale, rel=0.01)


def test_every_station_of_every_joist_says_how_far_it_comes_up(framed):
    # the level is that of the highest top, since nothing may come off
    x, y, z = framed.survey.xyz()
    on = np.abs(x / (2 * FOOT) - np.round(x / (2 * FOOT))) < 1e-6
    level = z[on].max()
    paper = crew_sheet(framed)
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        page = pdf.pages[0]
        text = page.extract_text()
        assert f"Set every joist top {inches(level)} in above the datum" in text
        scale = Scale(page)
        for a, b, height in zip(x[on], y[on], z[on], strict=True):
            if b % (2 * FOOT) < 1e-6:
                left, top = scale.at(a, b)
                # at the walls figures stand inside
                top = min(max(top, scale.at(0, 12 * FOOT)[1] + 5), scale.at(0, 0)[1] - 5)
                assert inches(level - height) in text_near(page, left, top, wide=24, high=3), (a, b)
        for name in framed.members.table["name"]:
            assert re.search(rf"\b{name}\b", text)
        bold = {c["fontname"].split("-")[-1] for c in page.chars if c["text"] == "J"}
        assert bold == {"Bold"}


def test_a_plan_of_members_says_first_the_ends_then_the_others(framed):
    text = "\n".join(pages_of(crew_sheet(framed)))
    first, then = text.index("Set J1 and J9 first"), text.index("Sister J2 to J8 to the string")
    assert text.index("Set the laser") < first < then < text.index("Check every way")
    assert "Sister, J1 to J9 9 12'" in text
    for word in ("chance", "verdict", "PASS", "offset", "seed"):
        assert word not in text


def test_shims_behind_straps_reach_from_the_lowest_spot_of_a_ceiling():
    survey = room(9, 9, surface="ceiling", title="Ceiling")
    joists = member_layout(0, 2 * FOOT, "x", until=8 * FOOT)
    plan = flatness.plan_corrections(
        survey,
        way="overlay",
        members=joists,
        limits=flatness.straightedge_limit(10 * FOOT, 5, surfaces=("ceiling",)),
        draws=0,
        spacing=FOOT,
        headings=4,
        surface="as-read",
    )
    paper = crew_sheet(plan)
    pages = pages_of(paper)
    # the face lies a strap of 3/4 in below the lowest spot, so that there the shim is nothing
    x, y, z = survey.xyz()
    lowest = z.max()
    # straps every 16 in across joists every 2 ft; the ceiling is as high all along y, and straight between readings
    along = np.interp(plan.members.positions, x[y == 0], z[y == 0])
    thickest = max(lowest - along)
    assert f"face {inches(lowest + 0.75 * INCH)} in below the datum" in pages[0]
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        # the most and the least stand in ink boxes, white on black
        white = pdf.pages[0].filter(lambda one: one["object_type"] == "char" and set(one["non_stroking_color"]) == {1})
        assert {word["text"] for word in white.extract_words()} == {inches(thickest), "0"}
    assert "Shim every other crossing" in " ".join(pages)
    # the strap that the face lies off is what is brought
    assert "Strap, 3/4 in thick, F1 to F7" in " ".join(pages)


@pytest.mark.parametrize(("nx", "ny"), [(9, 9), (13, 29), (10, 30)])
def test_the_order_of_the_work_stands_on_page_one_of_a_ceiling_however_long_it_is(nx, ny):
    """Crossings 16 in apart leave a long room no smaller scale: the order stands at the right of the drawing."""
    survey = room(nx, ny, surface="ceiling", title="Ceiling")
    joists = member_layout(0, 16 * INCH, "y", until=(nx - 1) * FOOT)
    limit = flatness.straightedge_limit(10 * FOOT, 5, surfaces=("ceiling",))
    how = {"draws": 0, "spacing": FOOT, "headings": 4, "surface": "as-read"}
    paper = crew_sheet(flatness.plan_corrections(survey, way="overlay", members=joists, limits=limit, **how))
    pages = pages_of(paper)
    assert "In this order" in pages[0]
    assert "Start on F" in pages[0]
    assert "Stop and call" in pages[0]
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        first = pdf.pages[0]
        words = [one for one in first.extract_words() if one["text"] in ("Start", "Stop", "order")]
        assert all(one["x1"] < first.width - 30 and one["bottom"] < first.height - 30 for one in words)


@pytest.mark.parametrize("quantity", ["drop", "height"])
def test_a_wall_shows_from_where_its_face_is_read(quantity):
    """A laser line stands before the wall; a datum that the new face lies out from stands behind it."""
    x, y = np.meshgrid(np.arange(9) * FOOT, np.arange(9) * FOOT)
    far = 12 * np.exp(-((x - 4 * FOOT) ** 2 + (y - 4 * FOOT) ** 2) / (1.5 * FOOT) ** 2)
    read = 300.0 + far if quantity == "drop" else 50.0 - far
    survey = flatness.make_survey(
        x, y, read, quantity=quantity, surface="wall", reference="plumb", unit="mm", title="Wall", accuracy=0.5
    )
    limit = flatness.straightedge_limit(8 * FOOT, 3, surfaces=("wall",))
    how = {"draws": 0, "spacing": FOOT, "headings": 4, "surface": "as-read"}
    plan = flatness.plan_corrections(survey, limits=limit, **how)
    with pdfplumber.open(io.BytesIO(crew_sheet(plan, unit="mm").pdf)) as pdf:
        words = pdf.pages[0].extract_words()
    below = sorted((word for word in words if word["top"] > 300), key=lambda word: -word["top"])
    at = {word["text"]: (word["x0"] + word["x1"]) / 2 for word in below}  # the uppermost of each
    line = at["laser" if quantity == "drop" else "datum"]
    assert (line > at["wall"]) == (quantity == "drop")
    deepest = plan.marks.loc[plan.marks["change_mm"].abs().idxmax()]
    column = "reading_mm" if quantity == "drop" else "set_mm"
    shown = [
        word["text"]
        for word in words
        if word["top"] > 300 and min(line, at["wall"]) < word["x0"] < max(line, at["wall"])
    ]
    assert f"{round(2 * deepest[column]) / 2:g}" in shown


def test_places_and_members_never_stand_on_one_sheet(planned):
    schedule = member_schedule(planned, planned.members)
    text = "\n".join(pages_of(crew_sheet(planned, schedule)))
    assert not re.search(r"\bJ\d+\b", text)
    assert "Sister" not in text
    framed = dataclasses.replace(
        planned, patches=planned.patches.assign(action=["sister", *planned.patches["action"][1:]])
    )
    text = "\n".join(pages_of(crew_sheet(framed, schedule.only(["J3", "J4"]))))
    assert re.findall(r"(?m)^(J\d+) ", text[text.index("Sisters") :]) == ["J3", "J4"]


def test_the_work_is_told_in_its_order(planned):
    text = "\n".join(pages_of(crew_sheet(planned)))
    order = text[text.index("In this order") :]
    planes = [m.start() for m in re.finditer(r"Plane \d+ sq ft", order)]
    fills = [m.start() for m in re.finditer(r"Fill \d+ sq ft", order)]
    assert order.index("Set the laser") < min(planes)
    assert max(planes) < min(fills)
    assert max(fills) < order.index("Check every way")
    assert "3/16 in under a 10 ft bar" in flat_spaces(order)
    assert "Stop and call" in order


def test_the_list_says_what_the_plan_says(planned):
    pages = pages_of(crew_sheet(planned))
    assert len(pages) == 2
    rows = re.findall(r"(?m)^(\d+) (Plane|Fill) .*$", pages[1])
    assert [f"P{number}" for number, _ in rows] == planned.patches["name"].tolist()
    for row in planned.patches.itertuples():
        line = re.search(rf"(?m)^{row.name[1:]} (Plane|Fill) .*$", pages[1])[0]
        assert line.split()[1].lower() == row.action
        assert f"{row.area_mm2 / FOOT**2:.0f} sq ft {inches(abs(row.greatest_mm))} in" in line
    bags = re.search(r"Fill (\d+) bags?", pages[1])
    assert int(bags[1]) == planned.quantities.bags


def test_cautions_are_about_this_work(planned):
    members = planned.members
    for kind, said in (("sawn joist", "a notch is at most"), ("LVL", "Engineered members")):
        other = dataclasses.replace(planned, members=dataclasses.replace(members, kind=kind))
        text = flat(" ".join(pages_of(crew_sheet(other))))
        assert flat(said) in text
        assert (flat("a notch is at most") in text) == (kind == "sawn joist")
        assert flat("the local code and licensed practice decide") in text


def test_a_large_room_is_tiled_without_losing_a_place():
    plan = plan_rooms.large()
    with pdfplumber.open(io.BytesIO(crew_sheet(plan, scale=48).pdf)) as pdf:
        sheets = [page for page in pdf.pages if re.search(r"sheet [A-Z]+\d", page.extract_text())]
        names = [re.search(r"sheet (\w+)", page.extract_text())[1] for page in sheets]
        assert len(sheets) > 1
        assert len(set(names)) == len(names)
        for name, page in zip(names, sheets, strict=True):
            neighbours = re.findall(r"match ([A-Z]+\d+)", page.extract_text())
            assert neighbours, name
            for other in neighbours:
                assert f"match {name}" in sheets[names.index(other)].extract_text()
        words = " ".join(page.extract_text() for page in sheets)
        for row in plan.patches.itertuples():
            assert re.search(rf"\b{row.name[1:]} {row.action.upper()}\b", words), row.name


@given(
    st.floats(1000, 40000),
    st.floats(1000, 40000),
    st.sampled_from([None, 12.0, 48.0, 50.0]),
    st.sampled_from(["in", "mm"]),
    st.sampled_from(["letter", "a4"]),
    st.floats(30, 90),
)
def test_sheets_cover_the_room_and_fit_the_paper(wide, high, scale, unit, paper, beside):
    layout = lay_out((0, wide, 0, high), SHEETS[paper], unit, beside=beside, most=64, scale=scale)
    room_w, room_h = room_on(SHEETS[paper], layout.flipped)
    assert layout.width <= room_w + 1e-6
    assert layout.height <= room_h - (beside if layout.shared else 0) + 1e-6
    assert min(t.x0 for t in layout.tiles) < 0
    assert max(t.x1 for t in layout.tiles) > wide
    assert min(t.y0 for t in layout.tiles) < 0
    assert max(t.y1 for t in layout.tiles) > high
    at = {(t.row, t.column): t for t in layout.tiles}
    for (row, column), tile in at.items():
        if (row, column + 1) in at:
            assert tile.x1 - at[row, column + 1].x0 == pytest.approx(OVERLAP * layout.scale)
        if (row + 1, column) in at:
            assert at[row + 1, column].y1 - tile.y0 == pytest.approx(OVERLAP * layout.scale)


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_type_is_large_enough_and_stays_on_the_page(planned, framed, paper):
    for plan in (planned, framed):
        with pdfplumber.open(io.BytesIO(crew_sheet(plan, paper=paper).pdf)) as pdf:
            assert len(pdf.pages) <= 2
            for page in pdf.pages:
                shown = [c for c in page.chars if c["text"].strip() and abs(c["matrix"][0]) > 0.1]
                assert min(c["size"] for c in shown) >= 8 - 0.01
                assert max(c["x1"] for c in shown) < page.width - 13 / POINT
                assert min(c["x0"] for c in shown) > 13 / POINT
                assert max(c["bottom"] for c in shown) < page.height - 5 / POINT
                assert all("DejaVuSans" in c["fontname"] for c in shown)


def test_a_floor_that_is_left_as_it_is_has_no_empty_headings():
    plan = flatness.plan_corrections(trough(-1.0), limits=LIMIT, draws=0)
    words = "\n".join(pages_of(crew_sheet(plan)))
    assert "Nothing is to be done" in words
    assert not re.search(r"^(Places|Bring|Safety|In this order)$", words, re.M)


def test_lengths_are_cut_out_of_what_is_on_sale(planned):
    bought = quantities(planned, stock=[2400, 4800], sisters=[2300.0] * 3, sister_section=(235.0, 38.0))
    text = "\n".join(pages_of(crew_sheet(dataclasses.replace(planned, quantities=bought), unit="mm")))
    # two pieces and a saw cut out of the long board, one out of the short one
    assert re.search(r"(?m)^1 4\.8 m 2 x 2\.3 m ", text)
    assert re.search(r"(?m)^1 2\.4 m 1 x 2\.3 m ", text)


def test_a_crew_tapes_from_the_walls_as_it_walks_in(planned):
    # a room of 16 ft by 12 ft, entered from the top: the left hand is toward 16 ft, and both tapes run backward
    walls = Walls((WallOpening("door", "top", 3 * FOOT, 6 * FOOT),))
    plan = dataclasses.replace(planned, survey=dataclasses.replace(planned.survey, walls=walls))
    assert axes_of(plan.survey, "in") == ["feet from the left wall", "feet from the door wall"]
    for row, told in zip(plan.patches.to_dict("records"), place_rows(plan, Rule("in")), strict=True):
        for text, axis, far in ((told[2], "x", 16 * FOOT), (told[3], "y", 12 * FOOT)):
            start, end = (parse_length(part, "ft") for part in text.split(" to "))
            assert start == pytest.approx(far - row[f"to_{axis}_mm"], abs=INCH / 16)
            assert end == pytest.approx(far - row[f"from_{axis}_mm"], abs=INCH / 16)
    first, *_ = pages_of(crew_sheet(plan))
    assert "from the left wall" in first
    assert "door" in first.split()
    assert "From left wall" in " ".join(pages_of(crew_sheet(plan)))
    assert axes_of(planned.survey, "in") == ["feet from the zero corner"] * 2
