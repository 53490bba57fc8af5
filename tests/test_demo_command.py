"""The folder with one whole job in it: that it is whole, that its commands run, that nothing is written over."""

import shlex

import pytest

from flatness.__main__ import main
from flatness.commands import job as demo
from flatness.job.reading import read_job
from flatness.survey.files import read_survey

pytestmark = pytest.mark.usefixtures("coarse_lattice")


def test_a_whole_job_is_written_and_its_commands_run(tmp_path, capsys, monkeypatch):
    folder, sample = tmp_path / "my job", demo._sample
    less = {b"draws = 200 ": b"draws = 20 ", b'spacing = "6 in"': b'spacing = "1 ft"'}  # what takes the time

    def quick(name):
        found = sample(name)
        if name == "job.toml":
            for old, new in less.items():
                assert found.count(old) == 1
                found = found.replace(old, new)
        return found

    monkeypatch.setattr(demo, "_sample", quick)
    assert main(["demo", str(folder)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("One whole job is in")
    assert len(read_survey(folder / "before.csv").points) == len(read_survey(folder / "after.csv").points) == 104
    assert read_job(folder / "job.toml").plan is not None
    for end in ("owner.pdf", "owner.html", "crew.pdf", "record.pdf"):
        assert (folder / "papers" / f"loft-floor-{end}").stat().st_size > 10_000, end
    lines = (folder / "commands.txt").read_text().splitlines()
    assert all(line in said for line in lines)
    check, *_, compare, _ = (shlex.split(line) for line in lines)
    assert main([*check[1:], "--draws", "20"]) == 1  # the floor as found fails
    assert main([*compare[1:], "--draws", "20"]) == 0
    capsys.readouterr()
    # nothing is written over
    held = (folder / "before.csv").read_bytes()
    assert main(["demo", str(folder)]) == 2
    assert "holds something already" in capsys.readouterr().err
    assert (folder / "before.csv").read_bytes() == held
