"""Each notebook in JupyterLab, in a real browser: opened, run through, its pictures on the page."""

from pathlib import Path

import pytest

NOTEBOOKS = sorted(path.name for path in (Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
PICTURES = {"check_floor.ipynb": 3}


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_runs_from_top_to_bottom_and_shows_its_pictures(notebook, page, name):
    opened = notebook(f"notebooks/{name}")
    assert opened.run_all() == []
    pictures = page.locator(".jp-OutputArea img")
    assert pictures.count() >= PICTURES.get(name, 1)
    assert pictures.first.evaluate("image => image.naturalWidth") > 400
    assert page.errors == []
