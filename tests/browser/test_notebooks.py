"""Each notebook is opened in a real browser and run through: by the tests of the panel that it holds, or here."""

from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
NOTEBOOKS = sorted(path.name for path in (FOLDER.parents[1] / "notebooks").glob("*.ipynb"))


def test_the_notebook_by_hand_runs_and_shows_its_pictures(notebook, page, tools):
    book = notebook("notebooks/by_hand.ipynb")
    assert book.run_all() == []
    tools.pictures(page, ".jp-OutputArea img", 6, 400)


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_file_of_tests_runs_it(name):
    tests = [path.read_text() for path in FOLDER.glob("test_*.py")]
    assert any(f'notebook("notebooks/{name}")' in text and ".run_all(" in text for text in tests)
