"""The notebook of a wall that curves, in JupyterLab: every cell runs, the answer first, three pictures."""

import re

from playwright.sync_api import expect


def test_the_notebook_runs_and_shows_its_pictures(notebook, page):
    book = notebook("notebooks/curves.ipynb")
    assert book.run_all() == []
    page.locator(".jp-OutputArea-output img").nth(2).wait_for(state="attached")
    first = page.locator(".jp-OutputArea-output pre").first
    expect(first).to_have_text(re.compile("^(The wall|Off its curve|The niche)"))
