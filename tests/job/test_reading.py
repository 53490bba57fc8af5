"""What a job file says is read in millimetres, and all that is wrong with one comes in one report with its key."""

import dataclasses
import shutil
from pathlib import Path

import pytest
from shapely import Polygon

import flatness
from flatness.errors import FlatnessError
from flatness.job.reading import read_job
from flatness.job.report import JobFileError
from flatness.job.schema import SEVERAL, SINGLE, TOP
from flatness.job.values import parse_amount
from flatness.planning.constraints import Depths, FixedSpot, Rates
from flatness.planning.quantities import DEFAULTS, SET_BY_YOU
from flatness.planning.substrate import Beneath
from flatness.surroundings.finished_surface import Layer
from flatness.surroundings.interferences import Door, Headroom, Stair, Threshold

SAMPLE = Path(__file__).parents[2] / "sample_surveys" / "loft_floor"
IN, FT = 25.4, 304.8
ROWS = "".join(f"{x},{y},{int(x == y == 1000)}\n" for x in (0, 1000, 2000) for y in (0, 1000, 2000))
SURVEY = f"# title: Small floor\n# unit: mm\n# reading: height\nx,y,reading\n{ROWS}"
TOP_LINES = 'unit = "mm"\nlimits = [{ kind = "straightedge", length = "2 m", allowed = 3 }]\n'
BASE = TOP_LINES + '[surveys]\nbefore = "before.csv"\nafter = "after.csv"\n[plan]\nspacing = 500\n'


@pytest.fixture
def folder(tmp_path):
    for name in ("before", "after"):
        (tmp_path / f"{name}.csv").write_text(SURVEY, encoding="utf-8")
    return tmp_path


def read(folder, text):
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return read_job(folder / "job.toml")


def problems(folder, text):
    with pytest.raises(JobFileError) as caught:
        read(folder, text)
    return caught.value.problems


def test_the_least_job_is_a_survey(folder):
    job = read(folder, '[surveys]\nbefore = "before.csv"\n')
    assert (job.title, job.unit, job.show, job.limits, job.plan, job.after) == (
        "Small floor",
        None,
        "mm",
        (),
        None,
        None,
    )
    assert (job.confidence, job.draws, job.seed, job.headings, job.spacing) == (0.95, 200, 0, 12, None)
    assert len(job.before.survey.points) == 9


def test_the_sample_is_read_in_millimetres():
    """Each value is what the sample's line says, turned into mm by hand."""
    job = read_job(SAMPLE / "job.toml")
    assert job.title == "Loft floor: oak nailed on boards"
    assert [limit.name for limit in job.limits] == ["wood-nailed-10ft", "wood-nailed-6ft", "level-agreed"]
    assert job.limits[2].allowed == pytest.approx(1.25 * IN)
    assert (job.unit, job.show, job.confidence, job.draws, job.seed) == ("in", "in", 0.95, 200, 0)
    assert job.before.path.name == "before.csv"
    assert job.after.survey.source == "after.csv"
    assert job.plan.options == {
        "strategy": "least-work",
        "surface": "likely",
        "shift": "least-work",
        "aim": "sure",
        "headings": 12,
        "spacing": 152.4,
        "setting_error": pytest.approx(IN / 32),
    }
    assert job.plan.way == "proposed"
    assert job.plan.depths == Depths(9.525, 25.4)
    # 0.06 h a ft2, 2 h a ft3, 0.2 h a ft
    rates = Rates(2.0, 1.0, 0.75, 0.06 / FT**2, 2 / FT**3, 0.2 / FT, 0.1, "h")
    assert dataclasses.asdict(job.plan.rates) == {
        name: value if isinstance(value, str) else pytest.approx(value)
        for name, value in dataclasses.asdict(rates).items()
    }
    assert job.plan.thresholds == {"deepest_fill": 12.7, "least_patch": pytest.approx(FT**2)}
    assert job.plan.fixed == (FixedSpot(3733.8, 3352.8, None, 1.5875, "nosing of the stair"),)
    assert job.plan.beneath == (Beneath("boards", True, 9.525),)
    members = job.framing.members
    assert (members.kind, members.direction, members.depth) == ("sawn joist", "y", pytest.approx(9.25 * IN))
    assert members.positions.tolist() == pytest.approx([16 * IN * i for i in range(13)])
    assert job.framing.options == {"sister_thickness": pytest.approx(38.1), "step": pytest.approx(2 * FT)}
    assert job.framing.section == (pytest.approx(234.95), pytest.approx(38.1))
    assert job.layers == (Layer("oak", pytest.approx(19.05)),)
    door, stair, threshold, headroom = job.features
    assert door == Door("door to the drying room", (304.8, 914.4), 31.75, 6.35, ((1066.8, 914.4), (863.6, 1524.0)))
    assert stair.risers == pytest.approx([190.5] * 3 + [192.0875] + [190.5] * 2 + [188.9125] + [190.5] * 5)
    assert isinstance(stair, Stair)
    assert stair.on_treads == pytest.approx(19.05)
    assert threshold == Threshold("opening to the packing room", (2438.4, 6705.6), -1041.4, 6.35)
    assert headroom == Headroom("under the tie beam", (2438.4, 3048.0), 2159.0, 2032.0)
    line = job.reveals[0]
    assert (line.start, line.end, line.nominal, line.tolerance) == ((0, 0), (0, pytest.approx(22 * FT)), 6.35, 1.5875)
    settings = job.materials.settings
    # 0.45 ft3 and 118 lb/ft3, with 1 ft = 304.8 mm and 1 lb = 0.45359237 kg
    assert settings["bag_yield"].value == pytest.approx(0.45 * 304.8**3)
    assert settings["fill_density"].value == pytest.approx(118 * 0.45359237 / 304.8**3)
    assert (settings["spare"].value, settings["kerf"].value) == (0.1, pytest.approx(3.175))
    assert settings["spare"].source == SET_BY_YOU
    assert settings["sister_density"] == DEFAULTS["sister_density"]
    assert job.materials.stock == {3657.6: 21.0, 4876.8: 28.5, 7315.2: 46.0}
    assert job.compared.align == "none"
    assert job.compared.tolerance == pytest.approx(3.175)


def test_what_the_sample_shows_as_remarks_reads_too(tmp_path):
    for file in ("before.csv", "after.csv"):
        shutil.copy(SAMPLE / file, tmp_path)
    text = (SAMPLE / "job.toml").read_text(encoding="utf-8")
    for mark in ("# level_within", "# area", "# cuts"):
        assert text.count(mark) == 1
        text = text.replace(mark, mark[2:])
    job = read(tmp_path, text)
    assert job.plan.options["level_within"] == 12.7
    assert job.plan.beneath[0].area.area == pytest.approx(16 * FT * 10 * FT)
    assert job.framing.members.cuts == {"J4": (pytest.approx(7 * FT),)}


def test_every_table_of_the_format_stands_in_the_sample():
    text = (SAMPLE / "job.toml").read_text(encoding="utf-8")
    for name in (*SINGLE, *SEVERAL):
        assert f"[{name}]" in text, name
    for name in set(TOP) - {*SINGLE, *SEVERAL}:
        assert f"\n{name} = " in text, name


@pytest.mark.parametrize(
    ("written", "mm"),
    [('"3/16 in"', 4.7625), ('"12\' 6 1/2\\""', 3822.7), ("9.5", 9.5), ('"9 mm"', 9.0), ("'½ in'", 12.7), ("4", 4.0)],
)
def test_lengths_as_people_write_them(folder, written, mm):
    job = read(folder, BASE + f'[[layers]]\nname = "oak"\nthickness = {written}\n')
    assert job.layers[0].thickness == mm


@pytest.mark.parametrize(
    ("written", "kind"),
    [("i-joist", "I-joist"), ("I joist", "I-joist"), ("Sawn-Joist", "sawn joist"), ("lvl", "LVL"), ("Studs", "stud")],
)
def test_kinds_are_read_whatever_their_case_hyphens_and_spaces(folder, written, kind):
    layout = "direction = 'y'\nfirst = 0\nspacing = 400\ncount = 5\n"
    job = read(folder, f"{BASE}[[beneath]]\nkind = '{written}'\n[members]\nkind = '{written}'\n{layout}")
    assert (job.plan.beneath[0].kind, job.framing.members.kind) == (kind, kind)


def test_bare_numbers_take_the_unit_of_the_file(folder):
    job = read(folder, BASE.replace('"mm"', '"inches"').replace("500", "20") + '[[layers]]\nname="a"\nthickness = 2\n')
    assert job.layers[0].thickness == 50.8
    assert job.unit == "in"


@pytest.mark.parametrize(
    ("table", "by_hand"),
    [
        ('kind = "offset", length = "2 m", allowed = "5 mm"', flatness.offset_limit(2000, 5)),
        ('kind = "plane", length = "10 ft", allowed = "1/8 in"', flatness.plane_limit(3048, 3.175)),
        (
            'kind = "span-bar", distances = ["1 m", "4 m"], allowed = [4, 10]',
            flatness.span_limit([1000, 4000], [4, 10]),
        ),
        (
            'kind = "span-grid", distances = ["1 m", "4 m"], allowed = [4, 10], rounded = false',
            flatness.span_limit([1000, 4000], [4, 10], "grid", rounded=False),
        ),
        ('kind = "ff", at_least = 25', flatness.f_number_limit(ff=25.0)),
        ('kind = "fl", at_least = 20, scope = "least"', flatness.f_number_limit(fl=20.0, scope="least")),
        ('kind = "level", allowed = 12, distance = "20 ft"', flatness.level_limit(12.0, 6096.0)),
        (
            'kind = "neighbours", allowed = "1/8 in", name = "joists", purpose = "boards"',
            flatness.neighbour_limit(3.175, name="joists", purpose="boards"),
        ),
        (
            'kind = "step", base = 150, allowed = 0.5, surfaces = "floor"',
            flatness.step_limit(150.0, 0.5, surfaces=["floor"]),
        ),
        ('kind = "slope", at_most = "1:48", base = "2 ft"', flatness.slope_limit("1:48", 609.6)),
    ],
)
def test_agreed_limits_are_those_of_the_public_functions(folder, table, by_hand):
    text = BASE.replace(TOP_LINES, f'unit = "mm"\nlimits = [{{ {table} }}]\n').replace(
        "[plan]", "[plan]\nstrategy = 'level'"
    )
    assert read(folder, text).limits == (by_hand,)


def test_a_finish_gives_the_limits_of_this_kind_of_surface(folder):
    finish = next(x.finish for x in flatness.limits().itertuples() if x.finish and "wall" not in x.surfaces)
    job = read(folder, BASE.replace(TOP_LINES, f'unit = "mm"\nlimits = "{finish}"\n'))
    table = flatness.limits()
    assert [limit.name for limit in job.limits] == [
        name for name, row in table.iterrows() if row["finish"] == finish and "floor" in row["surfaces"]
    ]


def test_what_did_not_change(folder):
    job = read(
        folder, BASE + '[compare]\nalign = "offset"\nunchanged = ["A1", [0, "1 m"], [[0,0],[1000,0],[0,1000]]]\n'
    )
    assert job.compared.unchanged == ("A1", (0.0, 1000.0), Polygon([(0, 0), (1000, 0), (0, 1000)]))
    assert read(folder, BASE).compared.align == "benchmarks"


def test_strapping_and_stock_as_a_list(folder):
    text = BASE + (
        '[members]\nkind = "strapping"\ndirection = "x"\nfirst = 0\nspacing = 400\ncount = 6\ndepth = 38\n'
        '[members.crossing]\ndirection = "y"\nfirst = 0\nspacing = 500\ncount = 5\n'
        '[materials]\nstock = ["2.4 m", "3.6 m"]\n'
    )
    job = read(folder, text)
    assert len(job.framing.members) == 6
    assert job.framing.crossing.positions.tolist() == [0, 500, 1000, 1500, 2000]
    assert job.materials.stock == (2400.0, 3600.0)


FIXED = "[[fixed]]\nx = 0\ny = 0\nheight = 0\n"
MEMBERS = "[members]\nfirst = 0\nspacing = 400\ncount = 3\n"
DOOR = '[[door]]\nname = "pantry"\nat = [0, 0]\ngap = 20\n'
WRONG = [
    # text added or (old, new); path; parts of what is said
    (("[plan]", "[plann]"), "plann", ["unknown key", "did you mean plan?"]),
    ("aims = 0.7\n", "plan.aims", ["unknown key", "did you mean aim?"]),
    ("draws = 10\n", "plan.draws", ["belongs at the top of the file"]),
    ("[plan.rates]\nadds = 2\n", "plan.rates.adds", ["did you mean add?"]),
    ("[plan.thresholds]\ndeepest_fil = 2\n", "plan.thresholds.deepest_fil", ["did you mean deepest_fill?"]),
    (FIXED + FIXED + "alowance = 1\n", "fixed[2].alowance", ["did you mean allowance?"]),
    (FIXED + "allowance = -1\n", "fixed[1].allowance", ["out of range", "'-1'", "0 or more"]),
    (FIXED.replace("height = 0\n", ""), "fixed[1].height", ["missing", "height ="]),
    (FIXED.replace("height = 0", 'height = "as it was"'), "fixed[1].height", ["as it was", '"as found"']),
    (FIXED.replace("x = 0", 'x = "8-Mar"'), "fixed[1].x", ["a date", "8-Mar"]),
    (FIXED.replace("x = 0", "x = 2001-02-03"), "fixed[1].x", ["not a length"]),
    (FIXED.replace("x = 0", "x = true"), "fixed[1].x", ["not a length", "true"]),
    (FIXED.replace("x = 0", "x = 99999"), "fixed[1].x, fixed[1].y", ["not on the surface", "99999, 0"]),
    (FIXED.replace("x = 0", f"x = 1{'0' * 400}"), "fixed[1].x", ["not a length"]),
    (FIXED.replace("x = 0", "x = nan"), "fixed[1].x", ["not a length"]),
    (FIXED.replace("[[fixed]]", "[fixed]"), "fixed", ["[[fixed]]"]),
    (("[plan]", "[[plan]]"), "plan", ["several tables", "[plan]"]),
    (("[plan]\nspacing = 500\n", FIXED), "fixed", ["the job has none", "[plan]"]),
    ('way = "patch"\n', "plan.way", ["patch", "did you mean patches?"]),
    ('way = "members"\n', "plan.way", ["no members are named", "[members]"]),
    ('plane = "flat"\n', "plan.plane", ["flat", "end-members"]),
    ('setting_error = "-1 mm"\n', "plan.setting_error", ["-1 mm", "0 or more"]),
    ("[plan.rates]\narea = 5\n", "plan.rates.area", ["no rate by area", "per ft2"]),
    ('[plan.rates]\nvolume = "5 per ft2"\n', "plan.rates.volume", ["no rate by volume", "ft3"]),
    ('[plan.rates]\nlength = "2"\n', "plan.rates.length", ["no rate by length", "per ft"]),
    ("[plan.rates]\nplace = -1\n", "plan.rates.place", ["-1", "from 0"]),
    ('strategy = "levl"\n', "plan.strategy", ["levl", "did you mean level?"]),
    ('way = "patches"\nheight = 3\n', "plan.height", ["height is for the strategy level", "'3'"]),
    ('strategy = "level"\nlevel_within = 4\n', "plan.level_within", ["for the strategy least-work", "'4'"]),
    ('strategy = "fixed-spots"\n', "fixed", ["without any spots", "[[fixed]]"]),
    ("aim = 1.5\n", "plan.aim", ["1.5", "sure"]),
    ("headings = 0\n", "plan.headings", ["from 1 to 360"]),
    ("headings = 4.0\n", "plan.headings", ["whole number"]),
    (("500", "0.001"), "plan.spacing", ["too fine", "0.001"]),
    (("500", "0"), "plan.spacing", ["above zero"]),
    ('ask_engineer = "yes"\n', "plan.ask_engineer", ["true or false"]),
    ("[plan.depths]\ncut = -2\n", "plan.depths.cut", ["0 or more"]),
    ("[plan.rates]\noff = 0\n", "plan.rates.off", ["above 0"]),
    ("[plan.thresholds]\nleast_patch = 4\n", "plan.thresholds.least_patch", ["not an area", "1 ft2"]),
    ('[plan.thresholds]\nheaviest_fill = "4 ft"\n', "plan.thresholds.heaviest_fill", ["not a unit of mass", "kg"]),
    (FIXED.replace("height = 0", 'height = 90\nname = "sill"'), "fixed[1].height", ["sill at", "far above", "meant"]),
    ('[[beneath]]\nkind = "concrete"\n', "beneath[1].kind", ["concrete", "slab"]),
    ('[[beneath]]\nkind = "sawn joist"\nspan = [5]\n', "beneath[1].span", ["a span that cannot be used", "[5]"]),
    ('[[beneath]]\nkind = "boards"\narea = [[0,0],[1,1],[2,2]]\n', "beneath[1].area", ["bound no area"]),
    ('[[beneath]]\nkind = "boards"\narea = [[0,0],[1]]\n', "beneath[1].area[2]", ["not a place"]),
    ('[[beneath]]\nkind = "LVL"\n' + MEMBERS, "beneath[1]", ["contradict"]),
    (MEMBERS.replace("spacing = 400\n", ""), "members", ["incomplete"]),
    (MEMBERS + "until = 3\n", "members", ["incomplete"]),
    (MEMBERS.replace("3", "99999"), "members.count", ["from 1 to 2000"]),
    (MEMBERS + "flange = 38\n", "members.flange", ["has no flanges", "'38'"]),
    (MEMBERS + "start = 9000\n", "members", ["do not overlap"]),
    (MEMBERS + "start = 500\nend = 400\n", "members", ["ends before it begins"]),
    (MEMBERS + 'names = ["a"]\n', "members.names", ["differ in number"]),
    (MEMBERS + 'names = ["a", "a", "b"]\n', "members", ["two members of one name"]),
    (MEMBERS + "names = []\n", "members.names", ["empty list"]),
    (MEMBERS + "cuts = { J9 = 4 }\n", "members.cuts", ["not in the layout"]),
    (MEMBERS + "cuts = 4\n", "members.cuts", ["not a table"]),
    (MEMBERS + 'kind = "strapping"\n', "members.crossing", ["strapping goes with the members"]),
    (MEMBERS + '[materials]\nstock = ["3 m"]\n', "members.sister_depth", ["depth of the sisters"]),
    ('[materials]\nstock = ["3 m"]\n', "materials.stock", ["without members"]),
    (MEMBERS + 'depth=200\n[materials.stock]\n"3 m" = 4\n"3000" = 5\n', "materials.stock.3000", ["one length twice"]),
    (MEMBERS + 'depth=200\n[materials.stock]\n"3 m" = "4"\n', 'materials.stock."3 m"', ["not a number"]),
    ("[materials]\nbag_yield = 0.4\n", "materials.bag_yield", ["not a volume", "0.42 ft3"]),
    ('[materials]\nbag_yield = "0.4"\n', "materials.bag_yield", ["without a unit", "ft3"]),
    ("[materials]\nspare = -1\n", "materials.spare", ["from 0"]),
    ('[[layers]]\nname = "oak"\n', "layers[1].thickness", ["missing"]),
    (DOOR + 'least = "x"\n', "door[1].least", ["not a length"]),
    (DOOR + DOOR.replace("[0, 0]", "[0]"), "door[2].at", ["not a place"]),
    (DOOR.replace("[0, 0]", "[0, 9000]"), "door[1]", ["no reading reaches pantry"]),
    (DOOR + "swing = [[0, 0], [0, -900]]\n", "door[1]", ["no reading reaches the swing of pantry"]),
    (DOOR.replace("door", "doors"), "doors", ["did you mean door?"]),
    (DOOR.replace("door", "stair").replace("gap = 20", 'floor_is = "up"'), "stair[1].floor_is", ["top, bottom"]),
    (DOOR.replace("door", "headroom").replace("gap", "clear").replace("20", "0"), "headroom[1].clear", ["above zero"]),
    (
        '[[reveal]]\nname = "a"\nstart = [0,0]\nend = [0,0]\nnominal = 6\n',
        "reveal[1].start, reveal[1].end",
        ["no length"],
    ),
    (
        '[[reveal]]\nname = "a"\nstart = [0,0]\nend = [0,2000]\nnominal = 6\nheight = 3\nline = "parallel"\n',
        "reveal[1].height",
        ["goes with a level line"],
    ),
    (2 * '[[reveal]]\nname = "a"\nstart = [0,0]\nend = [0,2000]\nnominal = 6\n', "reveal[2].name", ["two reveals"]),
    ('[compare]\nalign = "benchmark"\n', "compare.align", ["did you mean benchmarks?"]),
    ('[compare]\nunchanged = "A1"\n', "compare.unchanged", ["not a list"]),
    ("[compare]\nunchanged = [[1, 2, 3]]\n", "compare.unchanged[1]", ["neither a label"]),
    (('after = "after.csv"\n[plan]', "[compare]\n[plan]"), "compare", ["one survey"]),
    (('"before.csv"', '"befor.csv"'), "surveys.before", ["no such file", "did you mean before.csv?"]),
    (('"before.csv"', '"nowhere/before.csv"'), "surveys.before", ["no such file", "check the folder"]),
    (('"before.csv"', r'"a\u0000b"'), "surveys.before", ["not a text on one line"]),
    (('"before.csv"', f'"{"a" * 5000}"'), "surveys.before", ["no such file"]),
    (('"after.csv"', '"before.csv"'), "surveys.after", ["one file"]),
    (('before = "before.csv"\n', ""), "surveys.before", ["missing"]),
    (('after = "after.csv"', 'after_sheet = "b"'), "surveys.after_sheet", ["without its file"]),
    (('[surveys]\nbefore = "before.csv"\nafter = "after.csv"\n', ""), "surveys", ["missing"]),
    (('unit = "mm"', 'unit = "yard"'), "unit", ["yard", "in, ft, mm, cm or m"]),
    (('unit = "mm"', 'unit = "mm"\ntitle = 3'), "title", ["not a text"]),
    (('unit = "mm"', 'unit = "mm"\nshow = "ft"'), "show", ["in, mm"]),
    (('unit = "mm"', 'unit = "mm"\nconfidence = 1'), "confidence", ["from 0.5 to under 1"]),
    (('unit = "mm"', 'unit = "mm"\nconfidence = "0.9"'), "confidence", ["without quotes"]),
    (('unit = "mm"', 'unit = "mm"\nseed = -1'), "seed", ["whole number from 0"]),
    (('unit = "mm"', 'unit = "mm"\ndraws = 0.5'), "draws", ["whole number from 0"]),
    (("limits = [", 'limits = ["wod-nailed", '), "limits[1]", ["unknown limit or finish", "wood-nailed"]),
    (("limits = [", "limits = [4, "), "limits", ["not a list of limits"]),
    (('kind = "straightedge", ', ""), "limits[1].kind", ["missing"]),
    (("straightedge", "straightege"), "limits[1].kind", ["did you mean straightedge?"]),
    (("length = ", "lenght = "), "limits[1].lenght", ["did you mean length?"]),
    (("allowed = 3", "allowed = 0"), "limits[1].allowed", ["above zero"]),
    (("allowed = 3", 'allowed = 3, surfaces = ["wall"]'), "limits[1]", ["not a limit for a floor"]),
    (
        (
            "limits = [",
            'limits = [{ kind = "straightedge", length = "1 m", allowed = 3, name = "a" }, '
            '{ kind = "straightedge", length = "2 m", allowed = 3, name = "a" }, ',
        ),
        "limits",
        ["two different limits"],
    ),
    ((TOP_LINES, 'unit = "mm"\n'), "plan.way", ["needs something to meet", "name a limit"]),
    (('unit = "mm"\n', ""), "plan.spacing", ["without its unit", "'500'", "unit ="]),
]


@pytest.mark.parametrize(("change", "path", "said"), WRONG, ids=lambda value: str(value)[:40] if value else "")
def test_what_is_wrong_is_said_with_its_key(folder, change, path, said):
    if isinstance(change, tuple):
        assert change[0] in BASE
        text = BASE.replace(*change)
    else:
        text = BASE + change
    found = problems(folder, text)
    at_path = [problem for problem in found if problem.column == path]
    assert at_path, "\n".join(map(str, found))
    for part in said:
        assert part in str(at_path[0])
    for problem in found:
        assert problem.file == "job.toml"
        assert problem.value
        assert problem.expected
        assert problem.remedy


def test_all_errors_come_in_one_report(folder):
    """Wrong keys, values, places and survey cells, each once, though they are found at different times."""
    (folder / "after.csv").write_text(SURVEY.replace("\n0,2000,0", "\n0,2000,deep"), encoding="utf-8")
    text = BASE.replace('unit = "mm"', 'unit = "mm"\nsead = 3\nshow = "ft"').replace("spacing = 500", "aim = 7")
    text += FIXED.replace("x = 0", "x = 7777") + FIXED + "why = 1\n" + DOOR.replace("[0, 0]", "[9000, 0]")
    found = problems(folder, text)
    assert {(problem.file, problem.cell or problem.column) for problem in found} == {
        ("job.toml", "sead"),
        ("job.toml", "show"),
        ("job.toml", "plan.aim"),
        ("job.toml", "fixed[1].x, fixed[1].y"),
        ("job.toml", "fixed[2].why"),
        ("job.toml", "door[1]"),
        ("after.csv", "C7"),
    }


@pytest.mark.parametrize(
    ("text", "row", "column"),
    [
        ('unit = "mm"\n\nallowed = 3/16\n', 3, "column 12"),  # the / is the twelfth letter
        ('unit = "mm"\ntitle = "12\' 6"" long"\n', 2, "column 16"),  # the mark behind the one that ends
        ("[surveys\n", 1, "column 9"),
        ("[surveys]\n[surveys]\n", 2, "column 9"),
        ('unit = "mm', 1, "its end"),
        ("x = " + "[" * 20000, 1, None),
        ("x = " + "1" * 5000, 1, None),
    ],
)
def test_what_is_not_toml_is_said_with_line_and_column(folder, text, row, column):
    (problem,) = problems(folder, text)
    if column is not None:
        assert (problem.row, problem.column) == (row, column)
    assert problem.file == "job.toml"
    assert problem.expected
    assert problem.remedy


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda path: None, "no such file"),
        (lambda path: path.mkdir(), "a folder"),
        (lambda path: path.write_bytes(b'title = "caf\xe9"'), "UTF-8"),
        (lambda path: path.write_bytes(b"#" * 1_000_001), "larger than 1 MB"),
    ],
)
def test_files_that_cannot_be_read(tmp_path, make, said):
    make(tmp_path / "job.toml")
    with pytest.raises(JobFileError, match=said):
        read_job(tmp_path / "job.toml")


def test_a_name_that_no_file_can_have_is_an_error_of_the_kit():
    for name in ("a" * 5000, "a\0b"):
        with pytest.raises(FlatnessError):
            read_job(name)


def test_windows_line_ends_and_a_byte_order_mark(folder):
    (folder / "job.toml").write_bytes(b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode())
    assert read_job(folder / "job.toml").spacing == 500.0


# closed forms: 1 ft = 304.8 mm, 1 in = 25.4 mm, 1 lb = 0.45359237 kg, 1 l = a cube of 100 mm
@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1 ft2", "area", 92903.04),
        ("1 ft²", "area", 92903.04),
        ("0.5 m^2", "area", 500000.0),
        ("1/2 in2", "area", 322.58),
        ("1 1/2 cm2", "area", 150.0),
        ("12 L", "volume", 12e6),
        ("1 ft3", "volume", 304.8**3),
        ("20 litres", "volume", 20e6),
        ("100 lbs", "mass", 45.359237),
        ("2 g", "mass", 0.002),
        ("2000 kg/m3", "density", 2e-6),
        ("2 kg / l", "density", 2e-6),
        ("62.4 lb/ft³", "density", 62.4 * 0.45359237 / 304.8**3),
        ("9.8 m/s²", "acceleration", 9.8),
        ("½ m2", "area", 500000.0),
        (0, "area", 0.0),
    ],
)
def test_amounts(text, kind, value):
    assert parse_amount(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "ft2", "1,5 m2", "1/0 m2", "1 1.5 m2", "-1 m2", "1 m", "1 kg", "nan m2", None, 4, True, [1], "1e999 m2"],
)
def test_what_is_no_amount(text):
    with pytest.raises(FlatnessError):
        parse_amount(text, "area")


def test_doors_and_names_of_walls_come_from_the_survey_or_from_the_job(folder):
    outlined = SURVEY.replace("# unit: mm\n", "# unit: mm\n# outline: 0,0; 2000,0; 2000,2000; 0,2000\n")
    (folder / "before.csv").write_text(outlined, encoding="utf-8")
    top = 'unit = "ft"\n[surveys]\nbefore = "before.csv"\n'
    walls = '[walls]\ndoor = "hall wall 1 to 3 ft 6 in"\nwindow = ["top 100 mm to 700 mm"]\n'
    walls += 'names = { left = "hall wall" }\n'
    found = read(folder, top + walls).before.survey.walls
    door, window = found.openings
    assert (door.side, door.start, door.end) == ("left", pytest.approx(FT), pytest.approx(3.5 * FT))
    assert (window.kind, window.side, window.start, window.end) == ("window", "top", 100, 700)
    assert found.names == {"left": "hall wall"}
    for wrong, place, what in (
        (walls.replace("hall wall 1", "hal wall 1"), "walls.door", "unknown side"),
        (walls.replace("3 ft 6 in", "30 ft"), "walls.door", "beyond its side"),
        (walls.replace("left =", "lefft ="), "walls.names.lefft", "name cannot be read"),
    ):
        told = problems(folder, top + wrong)
        assert any(one.column == place and what in one.what for one in told), wrong
    (folder / "before.csv").write_text(SURVEY, encoding="utf-8")
    assert "where the walls stand" in problems(folder, top + walls)[0].what
    (folder / "before.csv").write_text(outlined.replace("# unit", "# door: top 0 to 800\n# unit"), encoding="utf-8")
    assert "walls of its own" in problems(folder, top + walls)[0].what
