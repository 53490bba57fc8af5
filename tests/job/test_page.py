"""The owner's page's slots: what the job says of address, client, cost and pictures, and what goes into the paper."""

import io

import pytest
from PIL import Image

from flatness.errors import ArgumentError
from flatness.job.reading import read_job
from flatness.job.records import Picture
from flatness.job.report import JobFileError
from flatness.job.values import Price
from flatness.papers.files import embedded

ROWS = "".join(f"{x},{y},0\n" for x in (0, 1000, 2000) for y in (0, 1000, 2000))
SURVEY = f"# unit: mm\n# reading: height\nx,y,reading\n{ROWS}"
ORIENTATION, MAKER, GPS = 0x0112, 0x010F, 0x8825  # tags of EXIF 2.3


def photograph(kind="JPEG"):
    """A picture 40 wide and 20 high, its left half red, stored on its side with a camera's notes."""
    upright = Image.new("RGB", (40, 20), "blue")
    upright.paste((255, 0, 0), (0, 0, 20, 20))
    notes = Image.Exif()
    notes[ORIENTATION], notes[MAKER], notes[GPS] = 6, "MAKERSNAME", {1: "N", 2: (47.0, 5.0, 0.0)}
    out = io.BytesIO()
    # orientation 6 is turned clockwise by a quarter to be seen, so that it is stored turned the other way
    upright.rotate(90, expand=True).save(out, kind, exif=notes, **({"comment": b"SECRET"} if kind == "JPEG" else {}))
    return out.getvalue()


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "before.csv").write_text(SURVEY, encoding="utf-8")
    (tmp_path / "ridge.jpg").write_bytes(photograph())
    (tmp_path / "logo.png").write_bytes(photograph("PNG"))
    return tmp_path


def read(folder, lines):
    (folder / "job.toml").write_text(f'[surveys]\nbefore = "before.csv"\n[page]\n{lines}\n', encoding="utf-8")
    return read_job(folder / "job.toml")


def test_the_page_is_read_with_its_pictures(folder):
    lines = 'address = "2 Kiln Lane"\nclient = "the gallery"\ndate = "2026-03-20"\nlogo = "logo.png"\n'
    lines += 'per_hour = "$65.50"\nhours_a_day = 7.5\n[page.photographs]\n"The ridge" = "ridge.jpg"\n'
    page = read(folder, lines).page
    assert (page.address, page.client, page.date, page.cost) == ("2 Kiln Lane", "the gallery", "2026-03-20", "")
    assert (page.per_hour, page.hours_a_day) == (Price(65.5, "$"), 7.5)
    assert (page.logo.name, page.photographs[0].says) == ("logo.png", "The ridge")
    assert page.photographs[0].data == (folder / "ridge.jpg").read_bytes()
    assert read(folder, 'per_hour = "60 EUR"').page.per_hour == Price(60.0, "EUR")


@pytest.mark.parametrize(
    ("lines", "place", "what"),
    [
        ('logo = "lgo.png"', "page.logo", "no such file"),
        ('logo = "before.csv"', "page.logo", "not a JPEG or PNG"),
        ('photographs = { "The ridge" = "ridge.jpeg" }', 'page.photographs."The ridge"', "no such file"),
        ("per_hour = 65", "page.per_hour", "not an amount of money"),
        ('per_hour = "65"', "page.per_hour", "not an amount of money"),
        ('per_hour = "$0"', "page.per_hour", "not an amount of money"),
        ("hours_a_day = 25", "page.hours_a_day", "not such a number"),
        ('adress = "here"', "page.adress", "unknown key"),
    ],
)
def test_what_is_wrong_with_the_page_is_told_by_its_key(folder, lines, place, what):
    with pytest.raises(JobFileError) as caught:
        read(folder, lines)
    (problem,) = caught.value.problems
    assert (problem.file, problem.column) == ("job.toml", place)
    assert what in problem.what
    assert problem.expected
    assert problem.remedy


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_goes_in_upright_and_without_what_the_camera_wrote(kind):
    ending, data = embedded(Picture("ridge", photograph(kind)))
    with Image.open(io.BytesIO(data)) as found:
        assert (found.format, ending) == ((kind, ".jpg") if kind == "JPEG" else (kind, ".png"))
        assert found.size == (40, 20)
        red, _, blue = found.convert("RGB").getpixel((5, 10))
        assert red > 200 > 60 > blue
        assert not found.getexif()
        assert not {"comment", "icc_profile", "photoshop", "xmp"} & set(found.info)
    assert b"MAKERSNAME" in photograph(kind)
    assert b"MAKERSNAME" not in data
    assert b"SECRET" not in data
    _, small = embedded(Picture("ridge", photograph(kind)), most=20)
    with Image.open(io.BytesIO(small)) as found:
        assert found.size == (20, 10)


def test_a_damaged_picture_is_named():
    with pytest.raises(ArgumentError, match=r"ridge\.jpg") as caught:
        embedded(Picture("ridge.jpg", photograph()[:200]))
    assert "save it again" in caught.value.problems[0].remedy
