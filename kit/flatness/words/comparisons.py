"""What a comparison found, in plain words and in tables that fit a terminal 80 wide; its record as text.

What became of each planned place: accepted, to be done again or to be read, and the answer to it all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import binary_dilation

from flatness.arrays import Floats
from flatness.comparison.against_plan import OVER, SHORT, UNSEEN, UNTOLD, UNTOUCHED, WITHIN, tolerance_of
from flatness.comparison.comparing import Comparison, extremes
from flatness.comparison.mistakes import suspects
from flatness.comparison.records import Rerun
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE
from flatness.limits.kinds import UNITLESS, cited
from flatness.limits.verdict import FAIL, PASS, Judged
from flatness.measures.bars import gap_map
from flatness.planning.plan import Plan
from flatness.survey.readings import Survey
from flatness.words.checks import answer as check_answer
from flatness.words.phrases import say, sentence
from flatness.words.printed import (
    AUTHORITY,
    Rule,
    area,
    bulleted,
    columns,
    fine,
    good_to,
    indented,
    marked,
    marks_meaning,
    number,
    number_of,
    percent,
    place,
    place_words,
    shown_unit,
    signed,
    small,
)


def known_ties(survey: Survey) -> list[dict[Any, Any]]:
    """The readings of benchmarks whose height is known, one a row of ``ties``."""
    return [tie for tie in survey.ties.to_dict("records") if str(tie["label"]) in survey.benchmarks]


def heights_from(survey: Survey, unit: str) -> str:
    """What was added to the readings, or taken from what, to give heights; empty where they are heights as read."""
    sign = -1.0 if survey.quantity == "drop" else 1.0
    if survey.adjustment is not None and len(survey.adjustment.setups):
        each = [f"{name} {small(offset, unit)}" for name, offset in survey.adjustment.setups["offset"].items()]
        how = (
            "a height is the line of its set-up less the drop"
            if sign < 0
            else ("a height is the reading and what its set-up adds")
        )
        return f"{len(each)} set-ups, brought together by least squares: {how} ({', '.join(each)})"
    ties = known_ties(survey)
    if not ties:
        return ""
    constant = float(ties[0]["height"]) - sign * float(ties[0]["reading"])
    read = "its reading of a benchmark" if len(ties) == 1 else f"its {len(ties)} readings of benchmarks"
    fits = f"so that {read} {'gives' if len(ties) == 1 else 'average'} the known height"
    if sign < 0:
        return f"one set-up: a height is {small(constant, unit)} less the drop, {fits}"
    return f"one set-up: {small(constant, unit, sign=True)} was added to every reading, {fits}"


def greatest(found: Comparison, unit: str) -> Iterator[str]:
    """The greatest change each way, with its error and place, away from readings that may be slips, which follow."""
    for word, one, below in zip(
        ("Most taken off", "Most added"), extremes(found, clear=True), (True, False), strict=True
    ):
        if one.shown and (one.difference < 0) == below:
            doubt = ", beside a reading that may be a slip" if one.is_suspect else ""
            yield (
                f"{word}: {signed(one.difference, unit)}, give or take {fine(one.error, unit)} (1 s.d.), at "
                f"{place((one.x, one.y), unit, found.surveys[1])}{doubt}."
            )
    for slip in suspects(*found.surveys):
        yield (
            f"Left out of these, since its reading may be a slip: {place((slip.x, slip.y), unit, found.surveys[1])} "
            f"({slip.day}, cell "
            f"{slip.cell}). Areas, volumes and verdicts still count it."
        )


def compared_share(found: Comparison) -> str:
    """How much of each survey was compared, as a sentence."""
    return (
        f"Compared is {percent(found.compared.before)} of what the survey before reached, and "
        f"{percent(found.compared.after)} of what the one after did."
    )


def outside_plan(row: Mapping[Any, Any], unit: str, survey: Survey | None = None) -> str:
    """One row ``elsewhere`` of the table of done against planned, as a sentence."""
    done = float(row["done_mm"])
    size = signed(abs(done), unit).lstrip("+")
    return (
        f"Elsewhere {row['name']}: {size} {'taken off' if done < 0 else 'added'} in the mean over "
        f"{area(row['area_mm2'], unit)} about {place((row['x_mm'], row['y_mm']), unit, survey)}, where nothing was "
        "planned."
    )


SIDES = {  # of a height toward the room: beyond what was to be set, and behind it
    "floor": ("too high", "too low"),
    "ceiling": ("too low", "too high"),
    "wall": ("too far out", "too far back"),
}


def off_words(row: Mapping[Any, Any], surface: str, unit: str, survey: Survey | None = None) -> str:
    """Which station of a place is farthest off its height, by how much and which way: ``1/8" too high at ...``."""
    off = float(row["off_mm"])
    way = SIDES[surface][off < 0]
    at = place((row["worst_x_mm"], row["worst_y_mm"]), unit, survey)
    return f"{signed(abs(off), unit).lstrip('+')} {way} at {at}"


def agree_words(row: Mapping[Any, Any]) -> str:
    """How many of a place's stations are within tolerance: ``12 of 16``; a dash where none stands in it."""
    return f"{row['agreeing']:.0f} of {row['stations']:.0f}" if row["stations"] > 0 else "-"


def to_do_again(found: Comparison, unit: str) -> list[str]:
    """What must be done again, worst first, and what cannot be decided; one sentence where it is nothing."""
    rows = [] if found.plan is None else [row for row in found.plan.to_dict("records") if row["what"] == "patch"]
    if not rows:
        return []
    surface = found.surveys[1].surface
    off = [row for row in rows if row["status"] in (SHORT, OVER, UNTOUCHED)]
    lines = [
        f"{row['name']}, {row['status']}: {off_words(row, surface, unit, found.surveys[1])}."
        for row in sorted(off, key=lambda row: -abs(row["off_mm"]))
    ]
    within = sum(row["status"] == WITHIN for row in rows)
    wording = [f"To do again: {len(off) or 'none'} of {len(rows)} places; {within} within tolerance.", *lines]
    for status, why in (
        (UNTOLD, "the readings there fit the plan, but they fit no work at all as well"),
        (UNSEEN, "nothing was read there"),
    ):
        names = [str(row["name"]) for row in rows if row["status"] == status]
        wording += [f"Not known: {', '.join(names)} ({why})."] if names else []
    return wording


ROWS = {
    "cut": "taken off, where shown",
    "fill": "added, where shown",
    "all cut": "taken off, everywhere",
    "all fill": "added, everywhere",
    "net": "added less taken off",
}


def comparison_report(found: Comparison, unit: str | None = None) -> str:
    """The whole comparison as text for a terminal: what was compared, what changed, verdicts, what must be known."""
    unit = shown_unit(found.surveys[1], unit)
    blocks = [indented(answer(found, unit), ""), _heading(found, unit)]
    if found.warnings:
        blocks.append(bulleted("Look here first", (sentence(text, unit, found.surveys[1]) for text in found.warnings)))
    blocks += [_alignment(found, unit), _changed(found, unit), amounts_table(found, unit)]
    blocks += [_verdicts(found, unit)] if len(found.verdicts) else []
    blocks += [_plan(found, unit)] if found.plan is not None else []
    notes = [sentence(note, unit, found.surveys[1]) for note in found.notes]
    notes += [
        f"{day}: {problem.cell or ''} {say(problem.what, unit, survey)}.".replace(":  ", ": ")
        for day, survey in zip(("Before", "After"), found.surveys, strict=True)
        for problem in survey.notes
        if not any(problem.what in text for text in found.warnings)
    ]
    return "\n\n".join([*blocks, bulleted("Worth knowing", notes), indented(AUTHORITY, "")])


def answer(found: Comparison, unit: str) -> str:
    """What came of the work in a few sentences: places to do again, the verdict now and before; else what changed."""
    wording = to_do_again(found, unit)[:1] if found.plan is not None else []
    if found.assessments is not None and len(found.verdicts):
        before, after = found.assessments
        wording += [f"Now {check_answer(after, unit)}", f"Before: {before.verdict.upper()}."]
    if not wording:
        wording = [f"Changed on {percent(found.share_changed)} of the area compared.", *greatest(found, unit)]
    return " ".join(wording)


def _heading(found: Comparison, unit: str) -> str:
    lines = ["After minus before; what was taken off is negative, what was added positive"]
    for name, survey in zip(("before", "after"), found.surveys, strict=True):
        good = good_to(survey, unit)
        who = [text for text in (survey.date, survey.keys.get("by", ""), survey.keys.get("instrument", "")) if text]
        title = survey.title or survey.source or "survey"
        about = ", ".join([title, *who, f"{len(survey.points)} readings", good])
        lines.append(indented(about, f"{name:<8}"))
    return "\n".join(lines)


def _alignment(found: Comparison, unit: str) -> str:
    one = found.alignment
    lines = [f"Aligned on {say(one.rests_on, unit)}."]
    if one.way != "none":
        lines.append(
            f"The later datum is {small(one.offset, unit, sign=True)} off the earlier one, give or take "
            f"{small(one.offset_error, unit)} (1 s.d.); the kit took that out."
        )
    if one.way == "tilt":
        for axis, tilt, error in (("x", one.tilt_x, one.tilt_x_error), ("y", one.tilt_y, one.tilt_y_error)):
            lines.append(f"It tilts {tilt:+.2f} mm in a metre along {axis}, give or take {error:.2f}; taken out too.")
    for day, survey in zip(("before", "after"), found.surveys, strict=True):
        lines += [f"Heights {day}: {text}." for text in [heights_from(survey, unit)] if text]
    return "Alignment\n" + "\n".join(map(indented, lines))


def _changed(found: Comparison, unit: str) -> str:
    lines = [f"{where_shown(found, unit)} {compared_share(found)}", *greatest(found, unit)]
    return "What changed\n" + "\n".join(indented(line) for line in lines)


def where_shown(found: Comparison, unit: str) -> str:
    """From where on change is shown, and on how much of the area."""
    least, middle, most = (float(f(found.detection)) for f in (np.nanmin, np.nanmedian, np.nanmax))
    return (
        f"Change is shown where it is more than measurement error could produce at {100 * found.confidence:g} %: "
        f"{fine(middle, unit)} in most places, from {fine(least, unit)} to {fine(most, unit)} (limit of detection). "
        f"That is so on {percent(found.share_changed)} of the area compared; on the rest no change is shown, which "
        "does not mean that there was none."
    )


def amounts_table(found: Comparison, unit: str) -> str:
    """Areas and volumes with their errors in three parts, at most 80 wide."""
    head = ["", "amount", "+-", "random", "correlated", "datum"]
    names = ("ft2", "ft3") if unit == "in" else ("m2", "litres")
    lines = columns([head, *([f"{what}, {name}", *cells] for what, name, cells in amount_rows(found, unit, names))])
    about = (
        "+- is one standard deviation: of the readings (random), of what lies between the stations (correlated), of "
        "the alignment (datum). Where shown leaves out the fringes of a change; everywhere counts the ups and downs of "
        "the readings too."
    )
    return "\n".join(["How much", *(f"  {line}" for line in lines), indented(about)])


def amount_rows(found: Comparison, unit: str, names: tuple[str, str]) -> Iterator[tuple[str, str, list[str]]]:
    """Each area and volume: what it is, its unit of ``names``, and its size, error (1 s.d.) and the parts of that."""
    per = (MM2_PER_FT2, MM3_PER_FT3) if unit == "in" else (MM2_PER_M2, MM3_PER_LITRE)
    kinds = ((found.areas, "area", "mm2"), (found.volumes, "volume", "mm3"))
    for (table, what, in_), name, size in zip(kinds, names, per, strict=True):
        for kind, row in table.iterrows():
            values = [row[f"{part}_{in_}"] / size for part in (what, "error", "random", "correlated", "systematic")]
            yield ROWS[str(kind)], name, [_figure(value, values[1]) for value in values]


def _figure(value: float, error: float) -> str:
    """As many digits as the error warrants: two of its own."""
    if not math.isfinite(value):
        return "-"
    digits = 2 if error <= 0 or not math.isfinite(error) else max(0, 1 - math.floor(math.log10(error)))
    return f"{value:.{min(digits, 4)}f}"


def _verdicts(found: Comparison, unit: str) -> str:
    assert found.assessments is not None
    rows = [["limit", "before", "likely", "after", "likely", "allowed", ""]]
    for one, other in zip(found.assessments[0].judged, found.assessments[1].judged, strict=True):
        turned = "turned" if one.verdict != other.verdict else ""
        allowed = number(other, other.finding.allowed, unit) if other.finding else "-"
        rows.append(
            [
                one.limit.name,
                marked(one.verdict, one.between),
                _likely(one, unit),
                marked(other.verdict, other.between),
                _likely(other, unit),
                allowed,
                turned,
            ]
        )
    found_places = marks_meaning(one.between for found in found.assessments for one in found.judged)
    return "\n".join(["Verdicts", *(f"  {line}" for line in columns(rows, left=(0, 1, 3, 6))), *found_places])


def _likely(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "-"
    value = one.likely()[0] if len(one.used) else one.finding.measured.value
    return number(one, value, unit) if one.limit.kind not in UNITLESS or math.isfinite(value) else "-"


def _plan(found: Comparison, unit: str) -> str:
    assert found.plan is not None
    rows = [["", "planned", "done", "worst", "agree", "", ""]]
    for row in found.plan.to_dict("records"):
        numbers = [signed(row[name], unit) for name in ("planned_mm", "done_mm", "off_mm")]
        rows.append([part_name(row), *numbers, agree_words(row), row["status"], doubt(row)])
    about = (
        "Planned and done: mean change; of a member, of the stretch that misses the plan most surely. Worst: the "
        "station that is farthest off the height to set. Agree: how many stations are within "
        f"{fine(tolerance_of(found.settings['plan'], found.settings['tolerance']), unit)} of it, and what the "
        f"readings may be off at {100 * found.confidence:g} %."
    )
    more = [
        outside_plan(row, unit, found.surveys[1]) for row in found.plan.to_dict("records") if row["what"] == "elsewhere"
    ]
    lines = [*(f"  {line}" for line in columns(rows, left=(0, 5, 6))), *map(indented, [about, *more])]
    return "\n".join(["Against the plan", *map(indented, to_do_again(found, unit)), *lines])


def part_name(row: Mapping[Any, Any]) -> str:
    """A row of the plan by name: ``patch 2, fill``."""
    if row["what"] == "whole":
        return str(row["name"])
    return f"{row['what']} {row['name']}" + (f", {row['action']}" if row["action"] else "")


def doubt(row: Mapping[Any, Any]) -> str:
    """Whether the error of a row leaves doubt of its status, in words; empty where it does not."""
    return "" if row["sure"] or not row["status"] or row["status"] in (UNSEEN, UNTOLD) else "unsure"


def record_text(found: Mapping[str, Any], report: str) -> str:
    """A record as text: who measured what with what and when, how it was compared, limits with sources, the report."""
    lines = ["Record of a comparison", ""]
    for day, one in found["inputs"].items():
        lines.append(f"{day}: {one['file']}")
        lines += [f"  sha256 {one['sha256']}"]
        wording = {key: one[key] for key in ("title", "date", "by", "instrument", "surface", "reading", "reference")}
        lines += [indented(f"{key}: {value or 'not stated'}") for key, value in wording.items()]
        accuracy = one["accuracy_mm"]
        good = "not stated" if accuracy is None else f"{accuracy:.3g} mm, one standard deviation"
        lines += [f"  readings: {one['readings']}", f"  accuracy: {good}", ""]
    if found.get("plan"):
        lines += [f"plan: {found['plan']['file']}", f"  sha256 {found['plan']['sha256']}", ""]
    lines.append("settings")
    lines += [indented(f"{key}: {_setting(value)}") for key, value in found["settings"].items()]
    lines += ["", "versions", *(f"  {name} {text}" for name, text in found["versions"].items())]
    for limit in found["limits"]:
        source = cited(limit["source"], limit["edition"], limit["clause"])
        lines += ["", limit["name"], indented(limit["measure"]), indented(f"{source} [{limit['seen']}]")]
    return "\n".join([*lines, "", report, ""])


def _setting(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(_setting(item) for item in value) or "none"
    if isinstance(value, dict):
        return ", ".join(f"{key} {_setting(item)}" for key, item in value.items())
    return "not given" if value is None else str(value)


def rerun_text(found: Rerun) -> str:
    """What differs between a record and its rerun."""
    count = len(found.differences)
    head = f"{count} {'thing differs' if count == 1 else 'things differ'}:"
    if not count:
        head = "Nothing differs: the same files give the same numbers, to one part in a million."
    return bulleted(head, [*found.differences, *(f"remark: {text}" for text in found.remarks)])


ACCEPT, REDO, READ = "accept", "redo", "read"
SAMPLES = 120  # along each side of a room, to tell what share of it was compared
HEADINGS = 4  # in which a bar is laid to see whether a place came out flatter than planned


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one planned place.

    Attributes
    ----------
    name, number : as in the plan, and as on every paper
    answer : ``accept``, ``redo`` or ``read``
    better : whether it missed its heights and is flatter than planned all the same
    untouched : whether nothing seems to have been done there
    row : of the table of done against planned
    """

    name: str
    number: str
    answer: str
    better: bool
    untouched: bool
    row: dict[Any, Any]

    @property
    def at(self) -> tuple[float, float]:
        """The station that is farthest off [mm], or the middle of the place."""
        names = ("worst_x_mm", "worst_y_mm") if math.isfinite(self.row["worst_x_mm"]) else ("x_mm", "y_mm")
        return float(self.row[names[0]]), float(self.row[names[1]])

    def what_to_do(self, rule: Rule) -> str:
        """What the crew does there: how much, or that nothing is left to do."""
        off = float(self.row["off_mm"])
        if self.answer == READ:
            return "Read it: nothing was read there"
        if self.answer == ACCEPT:
            if self.better:
                return "Accept: flatter than planned"
            if self.row["status"] == UNTOLD:
                return "Accept: so little was planned that no more can be told"
            if not math.isfinite(off):
                return "Accept"
            at = "at its height" if rule.reading(off) == "0" else f"within {rule.named(abs(off))} of its height"
            return f"Accept: {at}"
        how_much, action = rule.named(abs(off)), str(self.row["action"])
        if self.untouched:
            return f"Not touched: {'plane' if off > 0 else 'fill'} {how_much}"
        if off > 0:
            return f"Plane {how_much} more" if action == "plane" else f"Take {how_much} off again"
        return f"Fill {how_much}" if action == "plane" else f"Add {how_much} more"

    def why(self, survey: Survey, rule: Rule) -> str:
        """Where it is farthest off, and which way."""
        if self.answer != REDO:
            return ""
        way = SIDES[survey.surface][self.row["off_mm"] < 0]
        return f"{way} {'' if survey.walls else 'at '}{place_words(*self.at, rule.unit, survey)}"


def outcomes_of(found: Comparison) -> list[Outcome]:
    """What became of each place of the plan, or of each member where it has no places; those to redo first."""
    rows = [] if found.plan is None else found.plan.to_dict("records")
    places = [row for row in rows if row["what"] == "patch"] or [row for row in rows if row["what"] == "member"]
    flatter = flatter_places(found)
    found_places = []
    for row in places:
        name, off = str(row["name"]), row["status"] in (SHORT, OVER, UNTOUCHED)
        better = off and name in flatter
        found_places.append(
            Outcome(
                name=name,
                number=number_of(name),
                answer=READ if row["status"] == UNSEEN else REDO if off and not better else ACCEPT,
                better=better,
                untouched=row["status"] == UNTOUCHED,
                row=row,
            )
        )
    rank = (REDO, READ, ACCEPT)
    return sorted(found_places, key=lambda one: (rank.index(one.answer), -abs(np.nan_to_num(one.row["off_mm"]))))


def flatter_places(found: Comparison) -> set[str]:
    """Places under which the bar that governs shows no more than it was planned to, on a surface that passes."""
    plan = found.settings.get("plan")
    pictured = found.assessments[1].pictured if found.assessments is not None else None
    if not isinstance(plan, Plan) or pictured is None or found.assessments is None:
        return set()
    if found.assessments[1].verdict != PASS or pictured.limit.length is None or not len(plan.patches):
        return set()
    length = pictured.limit.length
    planned = gap_map(plan.target, plan.surface.spacing, length, HEADINGS)
    now = gap_map(found.after_heights, found.spacing, length, HEADINGS)
    lattices = ((plan.x, plan.y, planned), (found.x, found.y, now))
    names = set()
    for name, outline in zip(plan.patches["name"], plan.patches["outline"], strict=True):
        before, after = (_most_in(outline, *lattice) for lattice in lattices)
        if after <= before:
            names.add(str(name))
    return names


def _most_in(outline: Any, x: Floats, y: Floats, values: Floats) -> float:
    """The greatest value [mm] in an outline and one node around it: a bar that rests on its edge shows it there."""
    inside = binary_dilation(shapely.contains_xy(outline, *np.meshgrid(x, y))) & np.isfinite(values)
    return float(values[inside].max()) if inside.any() else math.inf


def answer_of(found: Comparison, outcomes: list[Outcome]) -> tuple[str, str]:
    """The answer to the whole comparison: ``pass``, ``fail`` or ``undecided``, and one sentence."""
    redo, read = (sum(one.answer == answer for one in outcomes) for answer in (REDO, READ))
    surface = found.surveys[1].surface
    verdict = found.assessments[1].verdict if found.assessments is not None else ""
    what = "place" if not outcomes or outcomes[0].row["what"] == "patch" else "member"
    if redo:
        return FAIL, f"Redo {redo} {what}{'s' * (redo > 1)}, then accept."
    if verdict == FAIL:
        return FAIL, f"Do not accept: the {surface} is not within its limits."
    if read:
        return "undecided", f"Read {read} more {what}{'s' * (read > 1)}, then decide."
    if verdict and verdict != PASS:
        return "undecided", f"Not settled: the {surface} may be within its limits."
    if not verdict and not outcomes:
        return "", "This record says what changed; no limit and no plan were named."
    count = {0: "", 1: "", 2: f": both {what}s"}.get(len(outcomes), f": all {len(outcomes)} {what}s")
    return PASS, f"Accept{count}."


def share_compared(found: Comparison) -> float:
    """Share [-] of the room, or of what either survey reached where no outline is stated, that was compared."""
    room = next((one.outline for one in reversed(found.surveys) if one.outline is not None), None)
    if room is None:
        return min(found.compared.before, found.compared.after)
    room = room.difference(shapely.union_all(list(found.surveys[1].openings)))
    x0, y0, x1, y1 = room.bounds
    gx, gy = np.meshgrid(*((np.arange(SAMPLES) + 0.5) / SAMPLES * (b - a) + a for a, b in ((x0, x1), (y0, y1))))
    inside = shapely.contains_xy(room, gx, gy)
    columns, rows = (
        np.abs(axis[:, None] - at[None, :]).argmin(axis=0)
        for axis, at in ((found.x, gx[inside]), (found.y, gy[inside]))
    )
    near = np.hypot(found.x[columns] - gx[inside], found.y[rows] - gy[inside]) < found.spacing
    return float((np.isfinite(found.difference[rows, columns]) & near).mean())
