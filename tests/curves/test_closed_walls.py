"""A wall read all round: a bar on it is a template, the seam is a place like any other, and all of it counts once."""

import numpy as np
import pytest
from scipy.optimize import linprog

import flatness
from flatness.curves.walls import read_curved_wall
from flatness.measures.bars import Requirement, broken_placements, gap_map, rows_of
from flatness.measures.straightedge import StationLines, straightedge
from flatness.planning.volumes import cut_and_fill, node_areas
from flatness.surface.likely import likely_surface

UPS = (0.0, 600.0, 1200.0, 1800.0)


def round_wall(radius, off, count=48, ups=UPS, more=""):
    """Radii of a round room, every so many degrees: ``off`` [mm] toward the room at an angle [rad] and a height."""
    head = f"# surface: curved wall\n# unit: mm\n# curve: arc radius {radius}\n# reading: radius\n# accuracy: 0.8 mm\n"
    angles = np.arange(count) * 360 / count
    rows = [f"{a:.6f},{radius - off(np.radians(a), up):.9f},{up}" for up in ups for a in angles]
    return read_curved_wall((head + more + "\n".join(["angle,radius,up", *rows])).encode(), name="round.csv")


def wavy(angle, up):
    return 3 + 2 * np.cos(2 * angle + 1) - 1.5 * np.sin(5 * angle) + np.cos(9 * angle) + 0.001 * up * np.sin(3 * angle)


def template_gap(heights, step, length, radius, at):
    """The largest gap at a station [mm] under a rigid template, by linear programs.

    In every window of the template's length over the station it comes down until it rests: moved by (u, v) in plan it
    stands u cos t + v sin t off its curve, nowhere under the wall, and lies over the station as low as it can.
    """
    count, reach = len(heights), int(length / step + 1e-6)
    largest = 0.0
    for first in range(at - reach, at + 1):
        places = np.arange(first, first + reach + 1)
        turned = (places - at) * step / radius
        rows = -np.column_stack([np.cos(turned), np.sin(turned)])
        found = linprog([1.0, 0.0], A_ub=rows, b_ub=-heights[places % count], bounds=[(None, None)] * 2)
        if found.status == 0:
            largest = max(largest, found.fun - heights[at])
    return largest


@pytest.mark.parametrize("radius", [600.0, 2000.0])
def test_a_bar_around_the_curve_is_a_template_at_the_seam_and_away_from_it(radius):
    surface = round_wall(radius, wavy).survey.surface_at()
    gaps = gap_map(surface.height, surface.spacing, 900.0, headings=1)
    ny, nx = surface.height.shape
    assert nx * surface.spacing == pytest.approx(2 * np.pi * radius)
    for row, at in ((0, 0), (0, nx - 1), (0, nx // 3), (ny - 1, 1), (ny - 1, nx // 2)):
        expected = template_gap(surface.height[row], surface.spacing, 900.0, radius, at)
        assert gaps[row, at] == pytest.approx(expected, abs=1e-6)
    largest = max(template_gap(surface.height[0], surface.spacing, 900.0, radius, at) for at in range(nx))
    assert gaps[0].max() == pytest.approx(largest, abs=1e-6)


def test_worst_placement_and_rows_of_a_plan_have_the_gap_of_the_map():
    surface = round_wall(600.0, wavy).survey.surface_at()
    gaps = gap_map(surface.height, surface.spacing, 900.0, headings=12)
    worst = straightedge(surface, 900.0).worst
    assert worst.gap == pytest.approx(gaps.max(), abs=1e-9)
    broken = broken_placements(surface.height, surface.spacing, [Requirement(900.0, 0.5)], 12)
    rows = rows_of(broken, surface.height.shape, 12, surface.spacing)
    assert rows @ surface.height.ravel() - 0.5 == pytest.approx(broken.excess, abs=1e-9)
    assert broken.excess.max() + 0.5 == pytest.approx(gaps.max(), abs=1e-9)


def test_along_measured_lines_alone_it_is_a_template_too():
    wall = round_wall(600.0, wavy, count=36, ups=(0.0, 1500.0))
    lines = StationLines.of(wall.survey)
    step = 2 * np.pi * 600 / 36
    heights = wavy(np.arange(36) * 2 * np.pi / 36, 0.0)
    expected = max(template_gap(heights, step, 700.0, 600.0, at) for at in range(36))
    upper = wavy(np.arange(36) * 2 * np.pi / 36, 1500.0)
    expected = max(expected, *(template_gap(upper, step, 700.0, 600.0, at) for at in range(36)))
    assert lines.largest(wall.survey.xyz()[2], 700.0) == pytest.approx(expected, abs=1e-4)


def test_areas_and_volumes_count_once():
    surface = round_wall(900.0, wavy).survey.surface_at()
    around, high = 2 * np.pi * 900.0, float(np.ptp(surface.y))
    found = cut_and_fill(np.full(surface.height.shape, 2.0), surface.spacing)
    assert found.fill_area == pytest.approx(around * high)
    assert found.fill_volume == pytest.approx(2 * around * high)
    assert node_areas(surface.inside, surface.spacing).sum() == pytest.approx(around * high)


def test_every_reading_stands_once_and_the_outline_is_the_files_own():
    more = "# outline: (0, 0) (5650, 0) (5650, 1800) (0, 1800)\n"
    survey = round_wall(900.0, wavy, more=more).survey
    assert len(survey.points) == 48 * 4
    assert survey.outline.bounds == (0, 0, 5650, 1800)
    assert survey.points["x"].max() < 2 * np.pi * 900 + 1e-6


@pytest.fixture(scope="module")
def two_starts():
    """One room with a bump, read twice: the bump at the seam, and half a turn from it."""

    def bump(angle, up):
        apart = np.remainder(angle + np.pi, 2 * np.pi) - np.pi
        return wavy(angle, up) + 6 * np.exp(-((apart / 0.25) ** 2))

    seam = round_wall(900.0, bump).survey
    return seam, round_wall(900.0, lambda angle, up: bump(angle + np.pi, up)).survey


def test_the_likely_surface_knows_no_seam(two_starts):
    seam, away = (likely_surface(survey, 5654.8668 / 40) for survey in two_starts)
    assert seam.mean == pytest.approx(np.roll(away.mean, 20, axis=1), abs=0.02)
    assert seam.error == pytest.approx(np.roll(away.error, 20, axis=1), abs=0.02)
    drawn = seam.draw(300, seed=1)
    # from the last column to the first, draws differ as from any column to the next
    steps = np.diff(np.concatenate([drawn, drawn[:, :, :1]], axis=2), axis=2).std(axis=0)
    assert steps[:, -1] == pytest.approx(np.roll(steps, 20, axis=1)[:, -1], rel=0.35)


def test_a_plan_at_the_seam_is_the_plan_away_from_it(two_starts):
    limit = flatness.straightedge_limit(900.0, 4.0)
    plans = [flatness.plan_corrections(survey, limits=[limit], way="patches", draws=40) for survey in two_starts]
    seam, away = (cut_and_fill(plan.change, plan.surface.spacing) for plan in plans)
    assert seam.fill_volume == pytest.approx(away.fill_volume, rel=0.05)
    assert seam.fill_area == pytest.approx(away.fill_area, rel=0.05)


def test_a_kink_at_the_seam_is_found_as_anywhere():
    """A corner of 4 degrees: the wall stands off by its angle times the distance to it, within a foot or two."""

    def corner(at):
        def off(angle, up):
            apart = np.abs(np.remainder(angle - at + np.pi, 2 * np.pi) - np.pi) * 1500.0
            return np.radians(2.0) * np.maximum(0.0, 600.0 - apart)

        return off

    for at in (0.0, 2.0):
        table = round_wall(1500.0, corner(at), count=72).fairness(600.0)
        assert len(table) == 72
        kinks = table[table["finding"] == "kink"]
        apart = np.remainder(2 * np.pi - kinks["along_mm"] / 1500.0 - at + np.pi, 2 * np.pi) - np.pi
        assert (np.abs(apart) < 0.15).any()
