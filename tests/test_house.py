"""The house holds: one direction of imports, drawing in one room, the public names."""

import ast
import doctest
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import flatness

KIT = Path(flatness.__file__).parent
ORDER = [
    *(
        "errors",
        "files",
        "saved",
        "lengths",
        "arrays",
        "notes",
        "survey",
        "spreadsheet",
        "surface",
        "scans",
        "measures",
        "light",
        "curves",
        "limits",
        "taking",
        "surroundings",
        "framing",
    ),
    *(
        "planning",
        "comparison",
        "room",
        "job",
        "words",
        "building",
        "charts",
        "papers",
        "export",
        "panels",
        "commands",
        "__init__",
    ),
    "__main__",
]
# a room that a module may call upward, each with its reason
FORWARD = {
    # the public name survey.surface_at(spacing) forwards to the surface room, at call time only
    ("survey/readings.py", "surface"),
    # a curved wall comes unrolled, by the curve that its file names, at call time only
    ("survey/files.py", "curves"),
    # a note reads as its sentence, which is looked up when it is made
    ("notes.py", "words"),
}
DRAWING = {"matplotlib", "mpl_toolkits", "ipywidgets", "ipympl", "jinja2", "IPython"}
PUBLIC = {
    "ArgumentError",
    "Beneath",
    "Depths",
    "FixedSpot",
    "FlatnessError",
    "Layer",
    "LengthError",
    "LimitError",
    "MeasureError",
    "PlanError",
    "Rates",
    "SpotCheck",
    "SurveyFileError",
    "Sweep",
    "Ways",
    "adjust_levels",
    "assess",
    "blank_sheet",
    "check",
    "compare",
    "estimated_lines",
    "f_number_limit",
    "f_numbers",
    "fit_curve",
    "fit_plane",
    "format_length",
    "least_grazing_angle",
    "level_limit",
    "light_limit",
    "likely_surface",
    "limits",
    "make_arc",
    "make_chain",
    "make_ellipse",
    "make_oval",
    "make_survey",
    "member_layout",
    "member_schedule",
    "more_readings",
    "neighbour_limit",
    "offset_limit",
    "parse_length",
    "plan_corrections",
    "plan_readings",
    "plan_ways",
    "plane_limit",
    "plumb_limit",
    "profile_gaps",
    "raking_contrast",
    "read_curved_wall",
    "read_job",
    "read_room",
    "read_scan",
    "read_spots",
    "read_survey",
    "reveal",
    "room_targets",
    "run_job",
    "set_out",
    "slope_limit",
    "span_limit",
    "step_limit",
    "straightedge",
    "straightedge_limit",
    "survey_lines",
    "write_survey",
}
MODULES = sorted(KIT.rglob("*.py"))


def room_of(path):
    return path.relative_to(KIT).with_suffix("").parts[0]


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: import by the full name, not relative"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(KIT)))
def test_a_room_imports_only_from_rooms_above_it(path):
    here = ORDER.index(room_of(path))
    for name in imports(path):
        parts = name.split(".")
        if parts[0] == "flatness" and len(parts) > 1 and parts[1] in ORDER:
            there = ORDER.index(parts[1])
            allowed = there <= here or (path.relative_to(KIT).as_posix(), parts[1]) in FORWARD
            assert allowed, f"{path.relative_to(KIT)} imports {name} from a room below it"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(KIT)))
def test_drawing_stays_in_its_room(path):
    if room_of(path) not in ("charts", "papers", "export", "panels"):
        assert not {name.split(".")[0] for name in imports(path)} & DRAWING


def test_public_names():
    assert set(flatness.__all__) == PUBLIC
    assert all(hasattr(flatness, name) for name in PUBLIC)
    assert flatness.__all__ == sorted(flatness.__all__)


def test_public_names_are_documented():
    for name in PUBLIC:
        assert getattr(flatness, name).__doc__, name


def loaded_by(code):
    """Modules that a fresh Python has loaded once it has run this."""
    told = subprocess.run(
        [sys.executable, "-c", f"import sys; {code}; print(*sys.modules, file=sys.stderr)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(told.stderr.split())


@pytest.mark.parametrize(
    "code", ["import flatness", "import flatness.__main__ as m; m.parser(()).format_help()"], ids=["package", "help"]
)
def test_what_takes_long_to_import_is_imported_when_it_is_wanted(code):
    heavy = {
        "numpy",
        "scipy",
        "pandas",
        "matplotlib",
        "openpyxl",
        "shapely",
        "highspy",
        "laspy",
        "pye57",
        "typst",
        "jinja2",
        "ipywidgets",
    }
    assert not heavy & loaded_by(code)


def test_every_public_name_is_found_whatever_was_imported_first():
    code = (
        "import flatness.limits.verdict, flatness; assert all(callable(getattr(flatness, n)) for n in flatness.__all__)"
    )
    assert "flatness.limits.verdict" in loaded_by(code)
    assert set(flatness.__all__) <= set(dir(flatness))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        flatness.nothing  # noqa: B018


def test_the_examples_in_docstrings_hold():
    names = (".".join(("flatness", *path.relative_to(KIT).with_suffix("").parts)) for path in MODULES)
    modules = [importlib.import_module(name.removesuffix(".__init__")) for name in names]
    found = {module.__name__: doctest.testmod(module) for module in modules}
    assert sum(one.attempted for one in found.values()) > 100
    assert [name for name, one in found.items() if one.failed] == []
