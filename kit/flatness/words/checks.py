"""What a check found, in plain words and in a table that fits a terminal 80 wide.

A plan of readings in words, and the sheet for more readings, with an empty row for each reading to take.

What a building's surveys came to: one line that answers, a table, progress.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from flatness.curves.walls import CurvedWall, rows_to_go_on
from flatness.errors import MeasureError
from flatness.files import stands, write_new
from flatness.limits.kinds import CAUTIONS, PLANNABLE, UNITLESS, Limit, caution, cited, describe, show_ratio
from flatness.limits.measuring import Subject
from flatness.limits.more_readings import HARDLY, more_readings
from flatness.limits.planning import ReadingPlan
from flatness.limits.spot_checks import ASSUMED, SPOT_CHECKED, Seen, SpotCheck, Sweep, count_crossed
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.measures.bars import Place
from flatness.notes import Note
from flatness.survey.files import text_to_go_on
from flatness.survey.readings import Framing, Survey, place_keys
from flatness.survey.sheets import AXES
from flatness.words.phrases import problem_text, say, sentence
from flatness.words.printed import (
    AUTHORITY,
    WIDTH,
    amount,
    bar_word,
    bare_place,
    bulleted,
    columns,
    counted,
    good_to,
    hanging,
    indented,
    length,
    marked,
    marks_meaning,
    number,
    percent,
    place,
    place_heads,
    position,
    shown_unit,
    strip_place,
)

HOW_TO_ADD = (
    "`--out` writes a file with your readings as a list and an empty row for each new one: fill it in and check it in "
    "place of the old one."
)
HOW_TO_PLAN = (
    "`flatness plan` with the same file and limits says where to plane, fill, sister or fur, and how surely it passes "
    "then."
)
HARDLY_ANY = (
    "readings are unlikely to decide it: read the whole surface again, closer or with a better instrument; "
    "`flatness sheet` says how close."
)
OFTEN = "For each reading of one place lift the staff, set it down, read again, and type what it shows."
FEW_STRIPS, MOST_STRIPS = 6, 12  # that are printed, where there are more than so many
AGAIN = "`again` is a place that was read before."
MOVED = (
    "Leave the instrument where it was. If it was moved, give the new readings a `setup` of their own, and read at "
    "least two old stations from there too: they tie the two together."
)


def heading(survey: Survey, subject: Subject, unit: str) -> str:
    """What was surveyed, in one line or two."""
    title = survey.title or survey.source or "survey"
    reference = "a string" if not survey.is_level else f"a {survey.reference} reference"
    about = (
        f"{survey.surface}, {len(survey.points)} readings about {position(subject.step, unit)} apart, off "
        f"{reference}, {good_to(survey, unit)}"
    )
    return f"{title}\n{indented(about, '')}"


def verdict_table(assessment: Assessment, unit: str) -> str:
    """The verdict table, at most 80 wide."""
    drawn = assessment.draws > 0
    head = ["limit", "as read", "likely", "95 % range", "allowed", "chance", "verdict"]
    rows = [_cells(one, unit) for one in assessment.judged]
    keep = [i for i in range(len(head)) if drawn or i not in (2, 3, 5)]
    table = [[row[i] for i in keep] for row in [head, *rows]]
    meaning = marks_meaning(one.between for one in assessment.judged)
    return "\n".join([*columns(table, (0, len(keep) - 1), WIDTH, ruled=True), *meaning])


def _cells(one: Judged, unit: str) -> list[str]:
    if one.finding is None:
        allowed = describe_allowed(one, unit)
        return [one.limit.name, "-", "-", "-", allowed, "-", marked(one.verdict.upper(), one.between)]
    middle, low, high = one.likely()
    spread = "-" if math.isnan(low) else f"{number(one, low, unit)} to {number(one, high, unit)}"
    return [
        one.limit.name,
        number(one, one.finding.measured.value, unit),
        number(one, middle, unit),
        spread,
        number(one, one.finding.allowed, unit),
        percent(one.chance),
        marked(one.verdict.upper(), one.between),
    ]


def describe_allowed(one: Judged, unit: str) -> str:
    """What the limit allows, where nothing was measured."""
    if one.limit.allowed is None:
        return "-"
    if one.limit.kind == "slope":
        return show_ratio(one.limit.allowed)
    return f"{one.limit.allowed:g}" if one.limit.kind in UNITLESS else length(one.limit.allowed, unit)


def sentences(one: Judged, assessment: Assessment, unit: str) -> Iterator[str]:
    """The verdict on one limit in plain sentences: what, how surely, where, on whose word."""
    limit, finding = one.limit, one.finding
    word = f"{one.verdict.upper()}{where_alone(one, assessment, unit)}"
    yield f"{word}: {describe(limit, unit)}, for {limit.purpose or 'this project'}."
    if finding is None:
        yield f"Not measured: {say(one.reason, unit)}."
    else:
        yield from _found(one, assessment, unit)
    sure = caution(limit)
    source = cited(limit.source, limit.edition, limit.clause)
    yield f"Source: {source}{f' ({sure})' if sure else ''}."
    if limit.notes:
        yield limit.notes


def _found(one: Judged, assessment: Assessment, unit: str) -> Iterator[str]:
    assert one.finding is not None
    measured, survey = one.finding.measured, assessment.subject.survey
    if not math.isnan(one.chance):
        middle, low, high = (amount(one, value, unit) for value in one.likely())
        certain = {
            PASS: "the readings show it within the limit"
            if one.between != ASSUMED
            else "the readings show it within the limit at the stations; what lies between them is assumed",
            FAIL: "the bar shows it beyond the limit" if one.by_bar else "the readings show it beyond the limit",
            UNDECIDED: "the readings cannot decide" + _of_what(one, assessment),
        }[one.verdict]
        yield (
            f"At {100 * assessment.confidence:g} % confidence {certain}: likely {middle}, between {low} and {high} in "
            f"95 of 100 cases; the chance that it is within the limit is {percent(one.chance)}."
        )
        if one.verdict == UNDECIDED:
            yield sentence(one.reason, unit, survey)
    else:
        yield sentence(one.reason, unit, survey)
    if measured.at is not None:
        at = f"at {place(measured.at, unit, survey)}{_resting(one, survey, unit)}"
        yield f"Worst as read, {number(one, measured.value, unit)}, {at}."
    if measured.note:
        yield sentence(measured.note, unit, survey)


def where_alone(one: Judged, assessment: Assessment, unit: str) -> str:
    """Where alone a verdict holds: along measured lines, or, of a pass, at the stations; empty where on the whole."""
    if one.finding is not None and one.finding.only:
        return f" {one.finding.only}"
    if one.verdict != PASS or one.between != ASSUMED:
        return ""
    return f" at the stations, {position(assessment.subject.step, unit)} apart"


def answer(assessment: Assessment, unit: str) -> str:
    """The verdict in one sentence, and what to do next in another: what a report begins with."""
    one = assessment.governing
    assert one is not None
    finish = f" for {one.limit.everyday} ({one.limit.name})" if one.limit.everyday else ""
    alone = where_alone(one, assessment, unit)
    word = f"{one.verdict.upper()}{alone}{',' * bool(alone and finish)}{finish}"
    if one.finding is None:
        return f"{word}: {one.limit.name} is not measured: {say(one.reason, unit, assessment.subject.survey)}."
    drawn = not math.isnan(one.chance)
    value = amount(one, one.likely()[0] if drawn else one.finding.measured.value, unit)
    bar, allowed = "", number(one, one.finding.allowed, unit)
    if one.limit.kind == "straightedge" and one.limit.length is not None:
        bar = f" under a {position(one.limit.length, unit)} {bar_word(assessment.subject.survey)}"
    if one.limit.kind == "light":
        likely = "likely " if drawn else ""
        lamp = one.limit.parameters["lamp"] is not None
        shows = f"light {likely}shows something of it under"
        shows = f"lamps {likely}show something of it closer than" if lamp else shows
        found = f"{word}: {shows} {value}, and the limit is {'lamps' if lamp else 'light'} at {allowed}."
        return " ".join([found, next_step(one, assessment, unit)]).strip()
    least = "the least required" if one.finding.at_least else "allowed"
    found = f"{word}: {'likely ' if drawn else ''}{value}{bar}, and {allowed} is {least}."
    return " ".join([found, next_step(one, assessment, unit)]).strip()


def next_step(one: Judged, assessment: Assessment, unit: str) -> str:
    """What to do next after a verdict."""
    if one.by_bar and one.seen is not None:
        return _bar_showed(one.seen, assessment, unit)
    if one.verdict == UNDECIDED and one.seen is not None and one.shown_by_bar:
        own = one.limit.length is not None and one.seen.bar >= one.limit.length * 0.99
        then = "Measure that gap again" if own else f"Set a {position(one.limit.length or 0.0, unit)} bar there"
        return f"{_bar_showed(one.seen, assessment, unit)} {then}, and write down what it shows."
    if one.verdict == FAIL and one.finding is not None and one.finding.measured.at is not None:
        return f"Worst {_at(one.finding.measured.at, assessment.subject.survey, unit)}."
    if one.verdict == UNDECIDED and assessment.slips:
        return sentence(str(assessment.slips[0]), unit, assessment.subject.survey)
    if one.verdict == UNDECIDED:
        return "Read more, as said below." if one.in_doubt(assessment.confidence) else ""
    if one.verdict == PASS and one.between == SPOT_CHECKED:
        return f"Read every {position(assessment.subject.step, unit)}, and a bar slid between."
    wanted = assessment.wanted_sweeps if one.verdict == PASS and one is assessment.pictured else []
    if not wanted:
        return ""
    done = any(isinstance(check, Sweep) for check in assessment.spot_checks)
    many = "one" if len(wanted) == 1 else str(len(wanted))
    strips = f"{many} more strip" if done else f"{many} strip"
    first = "Strips are still open between them" if done else "Nothing was read between them"
    return f"{first}: slide a {position(max(s.bar for s in wanted), unit)} bar along {strips}{'s' * (len(wanted) > 1)}."


def _bar_showed(seen: Seen, assessment: Assessment, unit: str) -> str:
    strip = "" if seen.at is None else f" on the strip {_at(seen.at, assessment.subject.survey, unit)}"
    return f"The {position(seen.bar, unit)} bar showed {length(seen.least, unit)}{strip}."


def sweeps_in_words(
    sweeps: Sequence[Sweep], limit: Limit, unit: str, survey: Survey | None = None
) -> tuple[str, list[str]]:
    """How a bar is to be slid, from what gap on it is to stop, and each strip by tape."""
    if not sweeps:
        return "No strip is as long as the bar: set it by hand in as many places as you can.", []
    longest = max(one.bar for one in sweeps)
    bar, stop = position(longest, unit), length(sweeps[0].stop, unit)
    assert limit.allowed is not None
    allowed = length(limit.allowed, unit)
    head = (
        f"Slide a {bar} bar along {'this strip' if len(sweeps) == 1 else f'these {len(sweeps)} strips'}. Stop and mark "
        f"where a gap under it is over {stop}, and write down the largest gap. A gap over {allowed} under it fails "
        f"({describe(limit, unit)})."
    )
    rows = []
    for one in sweeps:
        shorter = f", {position(one.bar, unit)} bar" if one.bar < longest - 1 else ""
        rows.append(strip_place(one.along, one.at, (one.start, one.end), unit, survey) + shorter)
    return head, rows


def sweeps_text(sweeps: Sequence[Sweep], limit: Limit, unit: str, first: str = "", survey: Survey | None = None) -> str:
    """The same as text for a terminal, behind ``first``: of many strips the first few, and how many more there are."""
    head, rows = sweeps_in_words(sweeps, limit, unit, survey)
    shown = rows if len(rows) <= MOST_STRIPS else rows[:FEW_STRIPS]
    lines = [indented(head, first), *(indented(row, f"{first}  {k:>2}  ") for k, row in enumerate(shown, start=1))]
    if len(shown) < len(rows):
        left = len(rows) - len(shown)
        lines.append(indented(f"and {left} more, in the list that `flatness spots --out` writes", f"{first}      "))
    return "\n".join(lines)


def crossed_text(assessment: Assessment) -> str:
    """How much a bar that was slid has crossed; empty where none was."""
    survey = assessment.subject.survey
    strips = sum(isinstance(check, Sweep) for check in assessment.spot_checks)
    if not strips:
        return ""
    found = count_crossed(assessment.spot_checks, survey, assessment.subject.surface)
    members = "" if found.of is None else f"{found.members} of {counted(found.of, 'member')} from end to end, and "
    return (
        f"A bar was slid along {counted(strips, 'strip')}. It crossed {members}{percent(found.share)} of the "
        f"{survey.surface}: there no hump of 10 ft was missed."
    )


def _of_what(one: Judged, assessment: Assessment) -> str:
    if one.chance < assessment.confidence:
        return ""
    return " before what may be a slip is read again" if assessment.slips else " for the whole"


def _at(xy: Place, survey: Survey, unit: str) -> str:
    wording = place(xy, unit, survey)
    return wording if survey.walls else f"at {wording}"


def _resting(one: Judged, survey: Survey, unit: str) -> str:
    assert one.finding is not None
    contacts = one.finding.measured.contacts
    if len(contacts) != 2:
        return ""
    bar = "straightedge" if survey.bend is None else "template, cut to the curve,"
    word = f"under a {bar} that rests at" if one.limit.kind in ("straightedge", "span-bar") else "between"
    return f", {word} {place(contacts[0], unit, survey)} and at {place(contacts[1], unit, survey)}"


@lru_cache(maxsize=4)  # an assessment is one object, never changed: the report and the pictures ask the same of it
def where_to_read(assessment: Assessment, batch: int | None = None) -> tuple[Judged, pd.DataFrame] | None:
    """The limit in doubt, and where more readings would do most to decide it; None where no doubt is left.

    Of several it is the one that the pictures are about, else the one whose chance is nearest to even. ``batch`` as
    in :func:`~flatness.limits.more_readings.more_readings`; 0 asks for none.
    """
    doubtful = [
        one
        for one in assessment.judged
        if one.in_doubt(assessment.confidence) and one.finding is not None and not one.finding.only
    ]
    if not doubtful or batch == 0:
        return None
    pictured = assessment.pictured
    one = pictured if pictured in doubtful else min(doubtful, key=lambda one: abs(one.chance - 0.5))
    try:
        return one, more_readings(assessment, one.limit.name, batch)
    except MeasureError:  # of what a bar showed: no reading decides that
        return None


def more_text(assessment: Assessment, one: Judged, places: pd.DataFrame, unit: str) -> str:
    """Where to take more readings, in order, and how to add them to the file."""
    chance, often = percent(places.decided.iloc[-1]), int(places.times.iloc[0])
    if chance == percent(0.0) and percent(places.doubt_left.iloc[-1]) == percent(1.0):
        return "\n".join(["Where to take more readings", indented(f"A few more {HARDLY_ANY}")])
    each = "" if often == 1 else f"Read each place {often} times. "
    doubt = (
        f"To decide {one.limit.name}, the best places first. {each}The doubt that each place should leave counts the "
        f"ones before it; with all of them the verdict should be pass or fail in {chance} of cases, otherwise read "
        f"again.{f' So few {HARDLY_ANY}' if places.decided.iloc[-1] < HARDLY else ''}"
    )
    x, y, _, _ = assessment.subject.survey.stations()
    read = {tuple(key) for key in place_keys(x, y).tolist()}
    wording = []
    for here in place_keys(places.x.to_numpy(), places.y.to_numpy()).tolist():
        wording.append(", again" if tuple(here) in read else "")
        read.add(tuple(here))
    survey = assessment.subject.survey
    xys = zip(places.x, places.y, strict=True)
    tape = [bare_place(xy, unit, survey) + more for xy, more in zip(xys, wording, strict=True)]
    wide = max(map(len, tape))
    rows = [f"      {place_heads(survey)}"]
    rows += [
        f"  {i:>2}  {text:<{wide}}  leaves {percent(left)} of the doubt"
        for i, (text, left) in enumerate(zip(tape, places.doubt_left, strict=True), start=1)
    ]
    how = [HOW_TO_ADD, *([OFTEN] if often > 1 else []), *([AGAIN] if any(wording) else []), MOVED]
    return "\n".join(["Where to take more readings", indented(doubt), *rows, indented(" ".join(how))])


def report(assessment: Assessment, unit: str | None = None, batch: int | None = None) -> str:
    """The whole check as text for a terminal: heading, table, each limit in words, what must be known.

    Where the readings leave a doubt, a batch of places for more readings; ``batch`` 0 leaves them out.
    """
    survey = assessment.subject.survey
    unit = shown_unit(survey, unit)
    blocks = [indented(answer(assessment, unit), ""), heading(survey, assessment.subject, unit)]
    blocks += [verdict_table(assessment, unit)]
    for one in assessment.judged:
        lines = [one.limit.name]
        lines += [indented(text) for text in sentences(one, assessment, unit)]
        blocks.append("\n".join(lines))
    if any(one.verdict == FAIL and one.limit.kind in PLANNABLE for one in assessment.judged):
        blocks.append("\n".join(["What to do about it", indented(HOW_TO_PLAN)]))
    more = where_to_read(assessment, batch)
    blocks += [more_text(assessment, *more, unit)] if more is not None else []
    swept, pictured = assessment.swept, assessment.pictured
    if assessment.wanted_sweeps and swept is not None and pictured is not None and pictured.verdict == PASS:
        how = (
            "`flatness spots` writes them as a list to fill in, and `check --spot-check` reads it. Three strips take "
            "about three minutes."
        )
        if survey.framing is None:
            how += (
                " With the members' layout in the file (`# members: 16 in along y from 0`) they go across the members "
                "alone."
            )
        strips = sweeps_text(assessment.wanted_sweeps, swept.limit, unit, "  ", survey)
        blocks.append("\n".join(["What lies between the stations", strips, indented(how)]))
    notes = [problem_text(problem, unit, survey) for problem in survey.notes]
    notes += [crossed_text(assessment)] if crossed_text(assessment) else []
    notes += list(assessment.notes)
    notes += [
        Note("bar-set", bar=check.length, places=counted(check.places, "place"), share=f"{100 * check.share_over:.0f}")
        for check in assessment.spot_checks
        if isinstance(check, SpotCheck)
    ]
    notes += [assessment.subject.surface.note] if assessment.subject.surface.note else []
    if notes:
        blocks.append(bulleted("Worth knowing", (sentence(text, unit, survey) for text in notes)))
    return "\n\n".join([*blocks, indented(AUTHORITY, "")])


def limits_text(table: pd.DataFrame) -> str:
    """The catalogue of limits as text, at most 80 wide: finish by finish, those that can be planned for marked."""
    blocks = []
    for finish, group in table.groupby("finish", sort=False):
        called = group["called"].iloc[0]
        lines = [indented(f"{finish}: {called}" if called else str(finish), "")]
        for name, row in group.iterrows():
            lines.append(f"  {name}{' *' if row['planned'] else ''}")
            lines.append(indented(f"{row['value']} - {row['purpose']} ({row['surfaces']})", "    "))
            source = cited(row["source"], row["edition"], row["clause"])
            lines.append(indented(f"{source} [{row['seen']}]", "    "))
            lines += [indented(sentence(text, ""), "    ") for text in (CAUTIONS[row["seen"]], row["notes"]) if text]
        blocks.append("\n".join(lines))
    if table["planned"].any():
        blocks.append("* corrections can be planned for it")
    return "\n\n".join(blocks)


HEAD = ("step", "grid", "readings", "undecided", "wrong", "")
ON_SITE = (
    "Type readings into the workbook: its cells are text, so that 3/8 stays 3/8. A spreadsheet that opens the CSV may "
    "turn 3/8 into a date; type 0 3/8 or 0.375 there."
)


def plan_report(plan: ReadingPlan, unit: str, step: float) -> str:
    """The whole plan as text for a terminal, at most 80 wide; ``step`` [mm] is the grid of the sheet."""
    blocks = [_heading(plan, unit), _table(plan, unit, step), recommendation(plan, unit)]
    blocks.append(bulleted("Worth knowing", (sentence(note, unit) for note in plan.notes)))
    return "\n\n".join([*blocks, _on_site(plan.surface)])


def _on_site(surface: str) -> str:
    return indented(f"{sentence(AXES[surface], '')} {ON_SITE}", "")


def member_report(readings: int, step: float, framing: Framing, surface: str, unit: str) -> str:
    """What a sheet with stations on every member asks for, as text for a terminal, at most 80 wide."""
    text = (
        f"Read every member: {readings} readings, on each member {position(step, unit)} apart along {framing.along}, "
        "and at the walls. Then no proud member is missed between the stations, and a pass rests on what was read."
    )
    return f"{indented(text, '')}\n\n{_on_site(surface)}"


def recommendation(plan: ReadingPlan, unit: str) -> str:
    """Which grid to take, in a sentence or two."""
    enough = percent(plan.target)
    if plan.recommended is None:
        text = (
            f"No grid here is expected to end undecided in {enough} of surfaces or fewer. Take the narrowest, a more "
            "accurate instrument, or plan for a second visit: a check says where more readings decide."
        )
    else:
        row = plan.grids[plan.grids["step_mm"] == plan.recommended].iloc[0]
        text = (
            f"Recommended: readings {position(plan.recommended, unit)} apart, {int(row['readings'])} of them. It is "
            f"the widest grid here that is expected to end undecided in {enough} of surfaces or fewer "
            f"({percent(float(row['undecided']))}), at {100 * plan.confidence:g} % confidence."
        )
    return indented(text, "")


def _heading(plan: ReadingPlan, unit: str) -> str:
    first = (
        f"{plan.surface}, {position(plan.length, unit)} along x by {position(plan.width, unit)} along y, readings good "
        f"to {length(plan.accuracy, unit)} (1 s.d.), to be checked against"
    )
    lines = [indented(first, "")]
    for limit in plan.limits:
        sure = caution(limit)
        text = f"{limit.name}: {describe(limit, unit)}{f' ({sure})' if sure else ''}"
        lines.append(hanging(text))
    return "\n".join(lines)


def _table(plan: ReadingPlan, unit: str, step: float) -> str:
    rows = [HEAD]
    for row in plan.grids.to_dict("records"):
        here = float(row["step_mm"])
        marks = ["recommended"] if here == plan.recommended else []
        marks += ["on the sheet"] if abs(here - step) < 1e-6 else []
        rows.append(
            (
                position(here, unit),
                f"{row['columns']} x {row['rows']}",
                str(row["readings"]),
                f"{percent(float(row['undecided']))} ± {100 * float(row['error']):.0f}",
                percent(float(row["wrong"])),
                ", ".join(marks),
            )
        )
    return "\n".join(columns(rows, (len(HEAD) - 1,), WIDTH, ruled=True))


def write_more_sheet(
    survey: Survey, places: pd.DataFrame, path: Path, unit: str, wall: tuple[str, CurvedWall] | None = None
) -> bool:
    """Write the sheet as CSV, and say whether it was written: a sheet that is there, and may be filled in, is left.

    Parameters
    ----------
    places : as :func:`~flatness.limits.more_readings.more_readings` gives them
    wall : of a survey that is a wall unrolled, the text of its file and the wall: rows are added to that file

    Raises
    ------
    ArgumentError : the file cannot be written
    """
    if stands(path):
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    if wall is not None:
        text = rows_to_go_on(wall[0], wall[1], _curved_rows(wall[1], places, unit))
    else:
        text = text_to_go_on(survey, _rows(places, unit), unit)
    write_new(path, text.encode(), overwrite=False)
    return True


def _curved_rows(wall: CurvedWall, places: pd.DataFrame, unit: str) -> Iterator[tuple[str, str, str]]:
    """As they were read: from along the string, by the angle, or off the plan, where the label says the place."""
    for row, x in zip(_rows(places, unit), np.repeat(places.x, places.times), strict=True):
        first = wall.read_from(float(x))
        if wall.quantity == "radius" and first is not None:
            wording = f"{first:.1f}"
        else:
            wording = "" if first is None else position(first, unit)
        yield wording, row[1], f"{row[2]}: {row[0]} along the wall"


def _rows(places: pd.DataFrame, unit: str) -> Iterator[tuple[str, str, str]]:
    for count, (x, y, times) in enumerate(zip(places.x, places.y, places.times, strict=True), 1):
        for again in range(1, int(times) + 1):
            label = f"more {count}" if times == 1 else f"more {count}.{again}"
            yield position(x, unit), position(y, unit), label


NOT_CHECKED = "not checked"  # a verdict of none
LONGEST_NAME = 30  # letters of a file's name in the table of a terminal
GROUPS = {FAIL: "Fail", NOT_CHECKED: "Not checked", UNDECIDED: "Undecided", PASS: "Pass"}  # worst first
HINTS = {
    FAIL: "`flatness plan FILE` says what to do where.",
    NOT_CHECKED: "Mend what is said beside each, and check again.",
    UNDECIDED: "`flatness check FILE` says where to read more.",
    PASS: "",
}


def building_answer(table: pd.DataFrame) -> str:
    """The one sentence: how many of how many surveys fail, are open, could not be checked.

    >>> building_answer(pd.DataFrame({"verdict": ["fail", "undecided", "pass", "pass"]}))
    '1 of 4 surveys fails, 1 is undecided, 2 pass.'
    """
    counts = {verdict: int((table["verdict"] == verdict).sum()) for verdict in GROUPS}
    of = counted(len(table), "survey")
    if counts[PASS] == len(table):
        return f"All {of} pass." if len(table) > 1 else "The one survey passes."
    one = {FAIL: "fails", NOT_CHECKED: "could not be checked", UNDECIDED: "is undecided", PASS: "passes"}
    many = {FAIL: "fail", NOT_CHECKED: "could not be checked", UNDECIDED: "are undecided", PASS: "pass"}
    parts = [f"{n} {(one if n == 1 else many)[verdict]}" for verdict, n in counts.items() if n]
    count, _, rest = parts[0].partition(" ")
    return f"{', '.join([f'{count} of {of} {rest}', *parts[1:]])}."


def building_report(table: pd.DataFrame) -> str:
    """The answer, a table, worst first, and what could not be checked and why; at most 80 wide."""
    rows = [["survey", "verdict", "found", "limit", "chance"]]
    for _, row in table[table["verdict"] != NOT_CHECKED].iterrows():
        chance = "-" if pd.isna(row["chance"]) else f"{100 * row['chance']:.0f} %"
        # the end of a path tells surveys apart
        name = row["file"] if len(row["file"]) <= LONGEST_NAME else f"…{row['file'][1 - LONGEST_NAME :]}"
        rows.append([name, row["verdict"].upper(), row["found"] or "-", row["limit"], chance])
    parts = [building_answer(table)]
    if len(rows) > 1:
        parts.append("\n".join(columns(rows, (0, 1, 3), WIDTH, ruled=True)))
    bad = table[table["verdict"] == NOT_CHECKED]
    if len(bad):
        parts.append("\n".join(["Not checked", *(_why(row) for _, row in bad.iterrows())]))
    hints = [hint for verdict, hint in HINTS.items() if hint and (table["verdict"] == verdict).any()]
    return "\n\n".join([*parts, *([indented(" ".join(hints), "")] if hints else [])])


def _why(row: pd.Series) -> str:
    # an error names its file by itself, and its lines are laid out
    text = "\n".join(hanging(line) for line in first_problem(row["error"]).splitlines())
    return f"{hanging(str(row['file']))}\n{text}"


def first_problem(error: str) -> str:
    """The first of the problems of an error, and how many more there are.

    >>> first_problem("2 problems:\\n1. a.csv, row 3: not a length\\n2. a.csv, row 9: not a length")
    'a.csv, row 3: not a length\\nand 1 more; `flatness check FILE` lists them'
    """
    lines = error.splitlines()
    count, _, rest = lines[0].partition(" ") if lines else ("", "", "")
    if rest != "problems:":
        return error
    second = next((k for k, line in enumerate(lines) if line.startswith("2. ")), len(lines))
    more = f"and {int(count) - 1} more; `flatness check FILE` lists them"
    return "\n".join([*lines[1:second], more]).removeprefix("1. ")


def progress(done: int, of: int, file: str, verdict: str, took: float, elapsed: float) -> str:
    """One line while it runs: ``[ 3/40] FAIL  level2/hall.csv  1.3 s; about 2 min left``."""
    left = elapsed / done * (of - done)
    seconds = "" if pd.isna(took) else f"  {took:.1f} s"
    rest = "" if done == of else f"; about {left:.0f} s left" if left < 90 else f"; about {left / 60:.0f} min left"
    return f"[{done:>{len(str(of))}}/{of}] {verdict.upper():<11}  {file}{seconds}{rest}"


def groups(table: pd.DataFrame) -> Sequence[tuple[str, str, pd.DataFrame]]:
    """Verdict, what the group is called with its count, and its rows: worst first, none that is empty."""
    parts = [(verdict, name, table[table["verdict"] == verdict]) for verdict, name in GROUPS.items()]
    return [(verdict, f"{name}: {len(rows)}", rows) for verdict, name, rows in parts if len(rows)]
