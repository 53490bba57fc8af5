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
from shapely import box

import flatness
import plan_rooms
from chart_checks import FOOT, INCH, survey_of
from flatness.corrections.members import member_layout
from flatness.corrections.quantities import quantities
from flatness.corrections.schedule import member_schedule
from flatness.errors import ArgumentError
from flatness.lengths import parse_length
from flatness.show.papers.crew import crew_sheet
from flatness.show.papers.files import write_ours
from flatness.show.papers.owner import owner_page
from flatness.show.papers.pdf import SHEETS
from flatness.show.papers.plain import about
from flatness.show.papers.record import record_paper
from flatness.show.papers.tiles import AROUND, HEAD, LEFT, MARGIN, OVERLAP, lay_out, room_on, scale_name
from flatness.show.plan_words import plan_report

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
def test_the_owners_page_is_one_page_whatever_it_holds(paper, compared, planned):
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
            assert len(pdf.pages) == 1
            assert (pdf.pages[0].width * POINT, pdf.pages[0].height * POINT) == pytest.approx(
                (SHEETS[paper].width, SHEETS[paper].height), abs=0.05
            )
            inside = [(c["x0"], c["x1"], c["top"], c["bottom"]) for c in pdf.pages[0].chars if c["text"].strip()]
            assert min(c[0] for c in inside) > 30
            assert max(c[1] for c in inside) < pdf.pages[0].width - 30
            assert max(c[3] for c in inside) < pdf.pages[0].height - 15


def test_the_owner_reads_what_the_table_says():
    # a V of depth 6 mm and width 3 m: a bar 3 m long shows 6 mm (closed form, slope x length / 2)
    found = flatness.assess(trough(), LIMIT, draws=0)
    text = flat(pages_of(owner_page(found))[0])
    assert flat("is not flat enough for its use (<b>bold</b> boards)") in text
    assert flat("under a straight bar 3 m long the largest gap is about 6 mm, and up to 5 mm is allowed") in text
    assert flat("Nothing is planned yet") in text
    good = flat(pages_of(owner_page(flatness.assess(trough(-4.0), LIMIT, draws=0)))[0])
    assert flat("is flat enough") in good
    assert flat("about 4 mm") in good


@pytest.mark.parametrize("allowed", ["1/16", "1/8", "3/16", "1/4", "5/16", "3/8", "5/8"])
def test_the_owner_reads_the_limit_as_it_is(allowed):
    mm = parse_length(allowed, "in")
    found = flatness.assess(trough(unit="in"), flatness.straightedge_limit(3048, mm), draws=0)
    text = flat(pages_of(owner_page(found))[0])
    assert flat(f"up to {allowed} inch is allowed") in text
    assert (flat("is not flat enough") in text) == (mm < 6.0)


def test_the_owner_reads_what_was_done(compared):
    page = owner_page(compared.surveys[0], comparison=compared)
    text = flat(pages_of(page)[0])
    # 6 mm deep before, 1 mm after: 5 mm were added where it was deepest
    assert flat("by up to 5 mm") in text
    assert flat("Where it stood.") in text
    assert flat("What it is like now. The floor is flat enough") in text
    assert compared.verdicts["after"].tolist() == ["pass"]


def test_the_owner_reads_what_is_planned(planned):
    text = flat(pages_of(owner_page(planned.survey, plan=planned))[0])
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
    assert page.tags.count("img") == 1
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
        assert flat("<script>alert(1)</script> =SUM(A1)") in text
        # letters of a language written from the right may be read back in either order
        assert flat(RTL)[:4] in text or flat(RTL)[:4][::-1] in text


def test_the_same_input_gives_the_same_bytes(compared, planned):
    made = datetime(2026, 3, 5, tzinfo=UTC)
    for make in (
        lambda **more: owner_page(compared.surveys[0], comparison=compared, **more),
        lambda **more: record_paper(compared, **more),
        lambda **more: crew_sheet(planned, **more),
    ):
        assert make().pdf == make().pdf
        dated = make(made=made)
        assert dated.pdf == make(made=made).pdf
        assert "made 2026-03-05" in pages_of(dated)[0]
        assert "made 20" not in pages_of(make())[0]
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


def inches(mm, fraction=16):
    """A depth as the trade writes it: to the nearest 1/16, half away from zero, by exact fractions."""
    parts = math.floor(abs(Fraction(repr(round(float(mm), 6)))) / Fraction(254, 10) * fraction + Fraction(1, 2))
    if not parts:
        return "0"
    whole, rest = divmod(parts, fraction)
    text = " ".join(t for t in (str(whole) if whole else "", str(Fraction(rest, fraction)) if rest else "") if t)
    return ("−" if mm < 0 else "+") + text


def test_every_depth_stands_at_its_place_to_scale(planned):
    with pdfplumber.open(io.BytesIO(crew_sheet(planned, scale=48).pdf)) as pdf:
        page = pdf.pages[0]
        assert "scale 1/4 in to 1 ft (1:48)" in page.extract_text()
        step = 2 * FOOT
        shown = [(i, j) for i, x in enumerate(planned.x) for j, y in enumerate(planned.y)
                 if abs(x / step - round(x / step)) < 1e-6 and abs(y / step - round(y / step)) < 1e-6]  # fmt: skip
        assert len(shown) == 9 * 7
        for i, j in shown:
            x = (MARGIN + LEFT + AROUND + planned.x[i] / 48) / POINT
            y = (MARGIN + HEAD + AROUND + (planned.y[-1] - planned.y[j]) / 48) / POINT
            column = page.crop((x - 17, y - 6, x + 17, y + 6))
            words = [c for c in column.chars if abs((c["top"] + c["bottom"]) / 2 - y) < 2.5]
            assert "".join(c["text"] for c in words).strip() == inches(planned.change[j, i]).strip()
            middle = (min(c["x0"] for c in words) + max(c["x1"] for c in words)) / 2
            assert middle == pytest.approx(x, abs=1.5)


@pytest.mark.parametrize(("scale", "unit", "length"), [(48, "in", 10 * FOOT), (24, "in", 10 * FOOT), (50, "mm", 3000)])
def test_the_scale_bar_measures_what_it_says(planned, scale, unit, length):
    with pdfplumber.open(io.BytesIO(crew_sheet(planned, scale=scale, unit=unit).pdf)) as pdf:
        page = pdf.pages[0]
        bars = [line for line in page.lines if abs(line["linewidth"] - 2) < 0.01]
        assert len(bars) == 1
        assert (bars[0]["x1"] - bars[0]["x0"]) * POINT * scale == pytest.approx(length, rel=1e-3)
        said = f"10' at {scale_name(scale, unit)}" if unit == "in" else f"3 m at 1:{scale}"
        assert flat(said) in flat(page.extract_text())


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_large_room_is_tiled_without_losing_a_depth(paper):
    plan = islands(survey_of(31, 21, 2 * FOOT, lambda x, y: 0 * x, outline=box(0, 0, 60 * FOOT, 40 * FOOT)))
    found = crew_sheet(plan, paper=paper, scale=48)
    with pdfplumber.open(io.BytesIO(found.pdf)) as pdf:
        sheets = [page for page in pdf.pages if "sheet " in page.extract_text().split("\n")[0]]
        names = [re.search(r"sheet (\w+),", page.extract_text())[1] for page in sheets]
        assert len(sheets) > 1
        assert len(set(names)) == len(names)
        words = " ".join(page.extract_text() for page in sheets)
        for name, page in zip(names, sheets, strict=True):
            neighbours = re.findall(r"match ([A-Z]+\d+)", page.extract_text())
            assert neighbours, name
            for other in neighbours:
                assert f"match {name}" in sheets[names.index(other)].extract_text()
        for name in plan.patches["name"]:
            assert re.search(rf"\b{name}\b", words), name
        rounded = {inches(mm) for mm in plan.change[np.isfinite(plan.change)]}
        stride = next(k for k in range(1, 9) if abs(k * plan.surface.spacing / FOOT - 2) < 1e-6)
        for mm in plan.change[::stride, ::stride].ravel():
            assert inches(mm) in words
        assert len(rounded) > 20


@given(
    st.floats(1000, 40000), st.floats(1000, 40000), st.sampled_from([None, 12.0, 48.0, 50.0]),
    st.sampled_from(["in", "mm"]), st.sampled_from(["letter", "a4"]),
)  # fmt: skip
def test_sheets_cover_the_room_and_fit_the_paper(wide, high, scale, unit, paper):
    label = (11.0, 2.7)
    layout = lay_out((0, wide, 0, high), 152.4, label, SHEETS[paper], unit, scale)
    room_w, room_h = room_on(SHEETS[paper], layout.flipped)
    assert layout.width <= room_w + 1e-6
    assert layout.height <= room_h + 1e-6
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
    # neighbouring depths do not touch, and one on an overlap is whole on one of the two sheets
    assert layout.stride * 152.4 / layout.scale > label[0]
    assert label[0] <= OVERLAP


def test_nothing_on_the_crew_sheet_is_under_ten_points(planned):
    schedule = member_schedule(planned, planned.members)
    with pdfplumber.open(io.BytesIO(crew_sheet(planned, schedule).pdf)) as pdf:
        sizes = {round(c["size"], 2) for page in pdf.pages for c in page.chars}
        edge = MARGIN / POINT
        for page in pdf.pages:
            shown = [c for c in page.chars if c["text"].strip()]
            assert max(c["x1"] for c in shown) < page.width - edge + 2
            assert min(c["x0"] for c in shown) > edge - 2
            assert max(c["bottom"] for c in shown) < page.height
            # no colour is needed: all inks are grey
            inks = {c["non_stroking_color"] for c in shown}
            assert all(len(ink) == 1 or len(set(ink)) == 1 for ink in inks)
    assert min(sizes) >= 10


def test_the_lists_say_what_the_tables_say(planned):
    schedule = member_schedule(planned, planned.members, set_by="string")
    text = " ".join(pages_of(crew_sheet(planned, schedule))[1:])
    for row in planned.patches.itertuples():
        line = re.search(rf"(?m)^{row.name} .*$", text)
        assert line, row.name
        assert f"{row.area_mm2 / FOOT**2:.1f} ft²" in line[0]
        assert f"{row.volume_mm3 / FOOT**3:.2f} ft³" in line[0]
        assert inches(row.greatest_mm) in line[0]
    assert re.findall(r"(?m)^(P\d+) (?:fill|plane)", text) == planned.patches["name"].tolist()
    ends = [schedule.members["member"].iloc[k] for k in (0, -1)]
    for row in schedule.members.itertuples():
        line = re.search(rf"(?m)^{row.member} .*$", text)[0]
        assert ("first, with" in line) == (row.member in ends)
        assert ("to the string" in line) == (row.member not in ends)
    for row in schedule.members.itertuples():
        line = re.search(rf"(?m)^{row.member} .*$", text)[0]
        assert inches(row.raise_first_mm, 32) in line
        assert inches(row.raise_last_mm, 32) in line
    bags = re.search(r"bags of fill (\d+) bags", text)
    assert int(bags[1]) == planned.quantities.bags
    whole = flat(text)
    for caution in planned.cautions:
        assert flat(caution.text) in whole
        assert flat(caution.source) in whole


def test_a_floor_that_is_left_as_it_is_has_no_empty_headings():
    plan = flatness.plan_corrections(trough(-1.0), limits=LIMIT, draws=0)
    words = "\n".join(pages_of(crew_sheet(plan)))
    assert "Nothing is to be done" in words
    assert not plan.cautions
    assert not re.search(r"^Cautions$", words, re.M)


def test_what_is_bought_is_priced_where_prices_were_given(planned):
    section = {"sisters": [2300.0] * 3, "sister_section": (235.0, 38.0)}
    priced, plain = (quantities(planned, stock=stock, **section) for stock in ({2400: 4.0, 4800: 5.5}, [2400, 4800]))
    text = "\n".join(pages_of(crew_sheet(dataclasses.replace(planned, quantities=priced), unit="mm")))
    # one long board and one short one: 5.50 and 4.00
    assert re.search(r"(?m)^1 2\.4 m 4\.00 4\.00$", text)
    assert re.search(r"(?m)^1 4\.8 m 5\.50 5\.50$", text)
    assert re.search(r"(?m)^in all 9\.50$", text)
    assert "9.50 at the prices given" in plan_report(dataclasses.replace(planned, quantities=priced), "mm")
    text = "\n".join(pages_of(crew_sheet(dataclasses.replace(planned, quantities=plain), unit="mm")))
    assert "Lengths to buy" in text
    assert "Price" not in text


def test_a_patchs_number_carries_its_greatest_depth():
    # 12 in lattice, depths shown every 2 ft: what is deepest may lie between them
    sheet = crew_sheet(islands(room(31, 25)), unit="in")
    words = " ".join(pages_of(sheet))
    plan = islands(room(31, 25))
    told = dict(re.findall(r"(P\d+): ([+−]\S+(?: \d+/\d+)?)", words))
    assert len(told) > len(plan.patches) / 2
    for row in plan.patches.itertuples():
        if row.name in told:
            shown = parse_length(told[row.name].replace("−", "-"), "in")
            assert shown == pytest.approx(row.greatest_mm, abs=INCH / 32 + 1e-6)
