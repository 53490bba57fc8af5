"""Whatever is written in a job file, reading it gives a job or an error of the kit, never anything else."""

import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import FlatnessError
from flatness.job.reading import read_job
from flatness.job.records import Job

SAMPLE = Path(__file__).parents[2] / "sample_surveys" / "loft_floor"
LINES = (SAMPLE / "job.toml").read_text(encoding="utf-8").splitlines()
KEYS = sorted({line.partition("=")[0].strip() for line in LINES if "=" in line and not line.startswith("#")})
KEYS += ["odd", '"a b"']
ODD = [
    "0",
    "-1",
    "1e300",
    "-0.0",
    "nan",
    "inf",
    "-inf",
    "true",
    '""',
    '" "',
    '"x"',
    "[]",
    "{}",
    "[[]]",
    "[{}]",
    "1979-05-27",
    "07:32:00",
    "0xffff",
    '"3/16 in"',
    '"9 mm"',
    '"99 ft"',
    '"-2 ft"',
    '"8-Mar"',
    '"as found"',
    '["1 ft", "2 ft"]',
    '[["0", "0"], ["4 ft", "0"], ["0", "4 ft"]]',
    "[1, 2, 3]",
    '["a", 1]',
    "{ a = 1 }",
    '"level"',
    '"string"',
    '"x"',
    '"1 ft2"',
    "9" * 30,
    '"\\u0000"',
    '"\\ud7ff"',
    '"½ in"',
    "'''\n'''",
    "1_000",
    '"strapping"',
    '"I-joist"',
    '"wood-tile"',
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("jobs")
    for name in ("before.csv", "after.csv"):
        shutil.copy(SAMPLE / name, made)
    return made


@st.composite
def mutated(draw):
    """The sample with a few lines gone, doubled, moved, or given odd keys and values; or letters changed."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        i = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["value", "value", "delete", "double", "swap", "key", "letter", "head"]))
        key, equals, _ = lines[i].partition("=")
        if what == "value" and equals:
            lines[i] = f"{key}= {draw(st.sampled_from(ODD))}"
        elif what == "delete":
            del lines[i]
        elif what == "double":
            lines.insert(i, lines[i])
        elif what == "swap":
            j = draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
        elif what == "key" and equals:
            lines[i] = f"{draw(st.sampled_from(KEYS))} = {draw(st.sampled_from(ODD))}"
        elif what == "head":
            lines.insert(
                i, draw(st.sampled_from(["[plan]", "[[plan]]", "[door]", "[[door]]", "[a.b]", "[members.cuts]"]))
            )
        elif lines[i]:
            at = draw(st.integers(0, len(lines[i]) - 1))
            letter = draw(st.characters(exclude_categories=["Cs"]))
            lines[i] = lines[i][:at] + letter + lines[i][at + draw(st.integers(0, 1)) :]
    return "\n".join(lines)


@settings(max_examples=150, deadline=None)
@given(mutated())
def test_a_mutated_job_is_a_job_or_an_error_of_the_kit(folder, text):
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8", newline="")
    try:
        assert isinstance(read_job(path), Job)
    except FlatnessError as error:
        for problem in error.problems:
            assert str(problem)
            if problem.file == "job.toml":
                assert problem.column
                assert problem.value is not None
                assert problem.expected
                assert problem.remedy


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_an_error_of_the_kit(folder, data):
    path = folder / "bytes.toml"
    path.write_bytes(data)
    with pytest.raises(FlatnessError) as caught:
        read_job(path)
    assert all(problem.remedy for problem in caught.value.problems)
