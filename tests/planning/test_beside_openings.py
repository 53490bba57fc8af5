"""What is planned at stations beside an opening: the change of the floor there, not a part of it."""

import dataclasses

import numpy as np
import pytest
from shapely import box

from flatness.limits.kinds import level_limit, neighbour_limit, straightedge_limit
from flatness.limits.measuring import Subject, measure
from flatness.limits.verdict import PASS
from flatness.planning.set_heights import PlanCheck, Work, at_stations
from flatness.survey.readings import make_survey

OPENING = box(1050, 1050, 1950, 1950)  # its edges run between the lattice's nodes, 200 mm apart


def floor():
    """A floor 10 mm too high, dead flat; stations beside the opening and past the last nodes, at 3000 mm."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, 3151, 150.0), np.arange(0, 3151, 150.0)))
    keep = (np.abs(x - 1500) >= 450) | (np.abs(y - 1500) >= 450)
    survey = make_survey(
        x[keep], y[keep], np.full(keep.sum(), 10.0), outline=box(0, 0, 3150, 3150), openings=(OPENING,)
    )
    return Subject.of(survey, [], 200.0, 12)


def test_a_floor_planed_everywhere_is_planed_beside_an_opening_too():
    subject = floor()
    surface, survey = subject.surface, subject.survey
    assert not surface.inside.all()
    planed = np.where(surface.inside, -10.0, np.nan)
    np.testing.assert_allclose(at_stations(surface, survey, planed), -10.0, atol=1e-12)
    check, work = PlanCheck(subject, None, 0, 0, 0.95), Work(surface.height + planed)
    changed = check.changed(work)
    np.testing.assert_allclose(changed.survey.points["height"], 0.0, atol=1e-12)
    limits = level_limit(1.0), level_limit(1.0, 600.0), straightedge_limit(1000, 1.0), neighbour_limit(1.0)
    for limit in limits:
        assert measure(limit, changed).measured.value == pytest.approx(0.0, abs=1e-9)
        assert check.judge(limit, work).verdict == PASS


def test_a_reading_far_off_the_surface_is_not_changed():
    subject = floor()
    x = subject.survey.xyz()[0]
    # of the nodes, the last with a height stand at 800 mm; two steps of the lattice are 400 mm
    part = dataclasses.replace(
        subject.surface, height=np.where(subject.surface.x < 1000, subject.surface.height, np.nan)
    )
    change = at_stations(part, subject.survey, np.where(part.inside, -10.0, np.nan))
    np.testing.assert_allclose(change[x <= 1050], -10.0, atol=1e-12)
    assert not change[x > 1200].any()
