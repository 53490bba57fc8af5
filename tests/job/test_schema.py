"""One schema: what is wrong is said in the same words, whether it stands in a job file or behind an option."""

import pytest

from flatness.__main__ import parser
from flatness.commands.job import keys_text
from flatness.commands.plan import plan_job
from flatness.job import schema
from flatness.job.reading import read_job
from flatness.job.report import JobFileError

ROWS = "".join(f"{x},{y},{int(x == y == 1000)}\n" for x in (0, 1000, 2000) for y in (0, 1000, 2000))
SURVEY = f"# title: Small floor\n# unit: mm\n# reading: height\nx,y,reading\n{ROWS}"
FILE = '{}limits = [{}]\n[surveys]\nbefore = "before.csv"\n[plan]\n{}\n'
AGREED = '{ kind = "straightedge", length = "2m", allowed = "3mm" }'


def fields():
    """Every field of the schema with its path."""
    tables = {name: keys for name, (keys, *_) in {**schema.SINGLE, **schema.SEVERAL}.items()} | {"": schema.ABOUT}
    while tables:
        name, keys = tables.popitem()
        for key, one in keys.items():
            yield f"{name}.{key}", one
            if isinstance(one.type, schema.Nested):
                tables[f"{name}.{key}"] = one.type.keys


def test_every_key_says_what_it_is_for_and_is_listed():
    listed = keys_text()
    for path, one in fields():
        assert one.help.strip() == one.help != "", path
        assert f"  {path.rpartition('.')[2]}" in listed, path
    assert max(map(len, listed.splitlines())) <= 90


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "before.csv").write_text(SURVEY, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


LAYOUT = "direction = 'y'\nkind = 'sawn joist'\n"


@pytest.mark.parametrize(
    ("top", "limit", "plan", "options"),
    [
        ("", AGREED, "way = 'patch'", ["--way", "patch"]),
        ("", AGREED, "plane = 'levl'", ["--plane", "levl"]),
        ("draws = -1\n", AGREED, "", ["--draws", "-1"]),
        ("seed = 0.5\n", AGREED, "", ["--seed", "0.5"]),
        ("", '"wood-glud"', "", ["--limit", "wood-glud"]),
        ("", AGREED, "way = 'members'", ["--way", "members"]),
        ("", AGREED, "[[fixed]]\nx = 'one'\ny = 0\nheight = 'as found'", ["--fixed", "one,0"]),
        (
            "",
            AGREED,
            "[[fixed]]\nx = 0\ny = 0\nheight = 'as found'\nallowance = '-1mm'",
            ["--fixed", "0,0,as found,-1mm"],
        ),
        ("", AGREED, "[[fixed]]\nx = '9m'\ny = 0\nheight = 'as found'", ["--fixed", "9m,0"]),
        ("", AGREED, "[[fixed]]\nx = 0\ny = 0\nheight = '90mm'\nname = 'sill'", ["--fixed", "0,0,90mm,sill"]),
        ("", AGREED, "[[fixed]]\nx = 0\ny = 0\nheight = 'drop 1m'", ["--fixed", "0,0,drop 1m"]),
        ("", AGREED, "[[beneath]]\nkind = 'concrete'", ["--beneath", "concrete"]),
        ("", AGREED, "[[beneath]]\nkind = 'slab'\nmost_planed = 'deep'", ["--beneath", "slab; most deep"]),
        ("", AGREED, "[[beneath]]\nkind = 'sawn joist'\nspan = ['5mm']", ["--beneath", "sawn joist; span 5mm"]),
        ("", AGREED, f"[members]\n{LAYOUT}first = 0\n", ["--members", "sawn joist first 0 along y"]),
        (
            "",
            AGREED,
            f"[members]\n{LAYOUT}first = 0\nspacing = '400mm'\nflange = '38mm'",
            ["--members", "sawn joist first 0 spacing 400mm along y flange 38mm"],
        ),
    ],
)
def test_the_same_words_whichever_way_it_came_in(folder, top, limit, plan, options):
    (folder / "job.toml").write_text(FILE.format(top, limit, plan), encoding="utf-8")
    with pytest.raises(JobFileError) as in_file:
        read_job("job.toml")
    named = [] if "--limit" in options else ["--straightedge", "2m", "--allowed", "3mm"]
    with pytest.raises(JobFileError) as typed:
        plan_job(parser().parse_args(["plan", "before.csv", *named, *options]))
    (one,), (other,) = in_file.value.problems, typed.value.problems
    assert one.what == other.what
    assert (one.file, other.file) == ("job.toml", None)
    assert other.column.partition(",")[0] == options[0]
    # the file's own ways of writing, and where it is, are all that differs
    assert one.expected.partition(", without quotes")[0].startswith(other.expected.partition("--members")[0])
    assert one.remedy.removesuffix(" in the job file") == other.remedy
