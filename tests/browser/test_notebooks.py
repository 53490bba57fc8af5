"""Each notebook is opened in a real browser and run through: by the tests of the panel that it holds."""

from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
NOTEBOOKS = sorted(path.name for path in (FOLDER.parents[1] / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_file_of_tests_runs_it_and_looks_for_its_pictures(name):
    tests = [path.read_text() for path in FOLDER.glob("test_*_panel.py")]
    ran = [text for text in tests if f'notebook("notebooks/{name}")' in text]
    assert any("shows_its_pictures(page" in text and ".run_all(" in text for text in ran)
