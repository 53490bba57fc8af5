"""Controls of the panels: one for each key of a job, which takes and refuses what a job file does."""

import pytest

from flatness.errors import FlatnessError
from flatness.job.report import JobFileError, JobReport, Origin
from flatness.job.schema import BENEATH, COMPARE, DEPTHS, FIXED, LAYOUT, MATERIALS, PLAN, RATES, Field, limit_keys
from flatness.panels import check, compare, plan, present, room
from flatness.panels.controls import Control

FOOT = 304.8
EVERY = {
    "check": check.CONTROLS,
    "compare": compare.CONTROLS,
    "plan": [one for group in plan.GROUPS.values() for one in group],
    "present": present.CONTROLS,
    "room": room.CONTROLS,
}


@pytest.mark.parametrize("panel", EVERY)
def test_every_control_says_what_it_is_and_what_for_and_there_is_one_of_each(panel):
    for one in EVERY[panel]:
        assert isinstance(one.field, Field)
        assert one.name.strip() == one.name != "", one.key
        assert one.tooltip.strip() == one.tooltip != "", one.key
    keys = [one.key for one in EVERY[panel]]
    assert len(set(keys)) == len(keys)


def test_what_several_panels_ask_is_called_the_same_in_each():
    for name in ("finish", "align", "confidence"):
        called = {one.name for controls in EVERY.values() for one in controls if one.key == name}
        assert len(called) == 1, called


# by the inch of 25.4 mm, the foot of 304.8 mm, and the pound of 0.45359237 kg (NIST Handbook 44, appendix C)
@pytest.mark.parametrize(
    ("field", "text", "unit", "kept"),
    [
        (DEPTHS["cut"], "3/16", "in", 4.7625),
        (DEPTHS["cut"], "5", "mm", 5.0),
        (FIXED["x"], "4", "in", 4 * FOOT),  # along the surface a bare number is feet
        (FIXED["x"], "4 in", "in", 101.6),
        (BENEATH["span"], "0; 10 ft; 22", "in", (0.0, 10 * FOOT, 22 * FOOT)),
        (MATERIALS["stock"], "12 ft; 4.2 m", "mm", (12 * FOOT, 4200.0)),
        (MATERIALS["fill_density"], "120", "in", 120 * 0.45359237 / FOOT**3),
        (MATERIALS["bag_yield"], "12", "mm", 12e6),
        (limit_keys("straightedge")["length"], "10", "in", 10 * FOOT),
    ],
)
def test_text_is_read_in_the_unit_that_the_label_says_and_shown_so_that_it_reads_back(field, text, unit, kept):
    control = Control("it", field)
    found = control.read(text, unit)
    assert found == pytest.approx(kept)
    assert control.read(control.show(found, unit), unit) == pytest.approx(kept, rel=1e-3)


def test_places_and_labels_are_read_and_shown_so_that_they_read_back():
    control = Control("it", COMPARE["unchanged"])
    for text in ("4, 2; A7", control.show(((4 * FOOT, 2 * FOOT), "A7"), "in")):
        place, label = control.read(text, "in")
        assert (place, label) == (pytest.approx((4 * FOOT, 2 * FOOT)), "A7")


@pytest.mark.parametrize(
    ("field", "text"),
    [(DEPTHS["cut"], "-1 in"), (LAYOUT["spacing"], "0 in"), (PLAN["level_within"], "two"), (FIXED["allowance"], "-2")],
)
def test_what_is_wrong_is_said_as_of_a_job_file(field, text):
    with pytest.raises(FlatnessError) as typed:
        Control("it", field).read(text, "in")
    report = JobReport(Origin("job.toml"), "in")
    field.type.read(text, "it", report)
    with pytest.raises(JobFileError) as written:
        report.stop_if_any()
    (one,), (other,) = typed.value.problems, written.value.problems
    assert (one.what, one.value, one.expected) == (other.what, other.value, other.expected)
    assert one.column == f"{field.label} [in]"


def test_a_choice_is_called_in_a_list_what_the_schema_calls_it():
    assert Control("way", PLAN["way"]).options(None) == PLAN["way"].type.options
    assert Control("kind", BENEATH["kind"], none="Not known").options(None)[0] == ("Not known", "")
    assert not Control("may", BENEATH["may_be_planed"]).is_typed
    assert Control("off", RATES["off"]).is_typed
