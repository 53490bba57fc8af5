"""What a check found, in plain words and in a table that fits a terminal 80 wide."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from functools import lru_cache

import pandas as pd

from flatness.errors import Problem
from flatness.lengths import format_length
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.measuring import Subject
from flatness.limits.more_readings import HARDLY, more_readings
from flatness.limits.spot_checks import ASSUMED, SPOT_CHECKED, SpotCheck, Sweep
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.limits.wording import CAUTIONS, caution, cited, describe, show_ratio
from flatness.show.words import (
    AUTHORITY,
    WIDTH,
    good_to,
    in_unit,
    indented,
    length,
    number,
    percent,
    place,
    position,
    sentence,
    shown_unit,
)
from flatness.survey.readings import Survey, place_keys

HOW_TO_ADD = (
    "With `--out` a file is written that has your readings as a list and an empty row for each new one: fill it in and "
    "check it in place of the old one."
)
HARDLY_ANY = (
    " So few readings will hardly decide it: better read the whole surface again, closer or with a better instrument; "
    "`flatness sheet` says how close."
)
OFTEN = "Of one place each reading is taken afresh: lift the staff, set it down, read again, and type what it shows."
AGAIN = "`again` is a place that was read before."
MOVED = (
    "Leave the instrument where it was. If it has been moved, the new readings take a `setup` of their own, with at "
    "least two old stations read from there too, which ties the two together."
)


def heading(survey: Survey, subject: Subject, unit: str) -> str:
    """What was surveyed, in one line or two."""
    title = survey.title or survey.source or "survey"
    reference = "a string" if not survey.is_level else f"a {survey.reference} reference"
    about = (
        f"{survey.surface}, {len(survey.points)} readings about {position(subject.step, unit)} apart, off "
        f"{reference}, {good_to(survey, unit)}"
    )
    return "\n".join([title, *textwrap.wrap(about, WIDTH)])


def verdict_table(assessment: Assessment, unit: str) -> str:
    """The verdict table, at most 80 wide."""
    drawn = assessment.draws > 0
    head = ["limit", "as read", "likely", "95 % range", "allowed", "chance", "verdict"]
    rows = [_cells(one, unit) for one in assessment.judged]
    keep = [i for i in range(len(head)) if drawn or i not in (2, 3, 5)]
    table = [[row[i] for i in keep] for row in [head, *rows]]
    widths = [max(len(row[i]) for row in table) for i in range(len(keep))]
    spare = WIDTH - sum(widths[1:]) - 2 * (len(widths) - 1)
    lines = []
    for row in table:
        names = textwrap.wrap(row[0], max(12, spare)) or [""]
        cells = [text.rjust(w) for text, w in zip(row[1:-1], widths[1:-1], strict=True)] + [row[-1]]
        lines.append("  ".join([names[0].ljust(min(widths[0], max(12, spare))), *cells]).rstrip())
        lines += [f"  {more}" for more in names[1:]]
    lines.insert(1, "-" * max(len(line) for line in lines))
    return "\n".join(lines)


def _cells(one: Judged, unit: str) -> list[str]:
    if one.finding is None:
        allowed = describe_allowed(one, unit)
        return [one.limit.name, "-", "-", "-", allowed, "-", one.verdict.upper()]
    middle, low, high = one.likely()
    spread = "-" if math.isnan(low) else f"{number(one, low, unit)} to {number(one, high, unit)}"
    return [
        one.limit.name, number(one, one.finding.measured.value, unit), number(one, middle, unit), spread,
        number(one, one.finding.allowed, unit), percent(one.chance), one.verdict.upper(),
    ]  # fmt: skip


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
        yield in_unit(f"Not measured: {one.reason}.", unit)
    else:
        yield from _found(one, assessment, unit)
    sure = caution(limit)
    source = cited(limit.source, limit.edition, limit.clause)
    yield f"Source: {source}{f' ({sure})' if sure else ''}."
    if limit.notes:
        yield limit.notes


def _found(one: Judged, assessment: Assessment, unit: str) -> Iterator[str]:
    assert one.finding is not None
    measured = one.finding.measured
    if not math.isnan(one.chance):
        middle, low, high = (number(one, value, unit) for value in one.likely())
        certain = {
            PASS: "the readings show it within the limit"
            if one.between != ASSUMED
            else "the readings show it within the limit at the stations; what lies between them is assumed",
            FAIL: "the readings show it beyond the limit",
            UNDECIDED: "the readings cannot decide" + _of_what(one, assessment),
        }[one.verdict]
        yield (
            f"At {100 * assessment.confidence:g} % confidence {certain}: likely {middle}, between {low} and {high} in "
            f"95 of 100 cases; the chance that it is within the limit is {percent(one.chance)}."
        )
        if one.verdict == UNDECIDED:
            yield sentence(one.reason, unit)
    else:
        yield sentence(one.reason, unit)
    if measured.at is not None:
        yield f"Worst as read, {number(one, measured.value, unit)}, at {place(measured.at, unit)}{_resting(one, unit)}."
    if measured.note:
        yield sentence(measured.note, unit)


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
    word = f"{one.verdict.upper()}{where_alone(one, assessment, unit)}"
    if one.finding is None:
        return in_unit(f"{word}: {one.limit.name} is not measured: {one.reason}.", unit)
    drawn = not math.isnan(one.chance)
    value = number(one, one.likely()[0] if drawn else one.finding.measured.value, unit)
    bar, allowed = "", number(one, one.finding.allowed, unit)
    if one.limit.kind == "straightedge" and one.limit.length is not None:
        bar = f" under a {position(one.limit.length, unit)} bar"
    least = "asked for at least" if one.finding.at_least else "allowed"
    found = f"{word}: {'likely ' if drawn else ''}{value}{bar}, and {allowed} is {least}."
    return " ".join([found, next_step(one, assessment, unit)]).strip()


def next_step(one: Judged, assessment: Assessment, unit: str) -> str:
    """What to do next after a verdict."""
    if one.verdict == FAIL and one.finding is not None and one.finding.measured.at is not None:
        return f"Worst at {place(one.finding.measured.at, unit)}."
    if one.verdict == UNDECIDED and assessment.slips:
        slip = assessment.slips[0]
        read, expected = (format_length(mm, unit, 32) for mm in (slip.reading, slip.expected))
        return f"Read {slip.station} again: {read} was read, and its neighbors say {expected}."
    if one.verdict == UNDECIDED:
        return "Read more where the list below says." if one.in_doubt(assessment.confidence) else ""
    if one.verdict == PASS and one.between == SPOT_CHECKED:
        return f"Read every {position(assessment.subject.step, unit)}, and a bar slid between."
    wanted = assessment.wanted_sweeps if one.verdict == PASS and one is assessment.pictured else []
    if not wanted:
        return ""
    many = "one strip" if len(wanted) == 1 else f"{len(wanted)} strips"
    return f"Nobody has looked between them: slide a {position(max(s.bar for s in wanted), unit)} bar along {many}."


def sweeps_told(sweeps: Sequence[Sweep], limit: Limit, unit: str) -> tuple[str, list[str]]:
    """How a bar is to be slid, from what gap on it is to stop, and each strip by tape."""
    if not sweeps:
        return "No strip is as long as the bar: set it by hand in as many places as you can.", []
    longest = max(one.bar for one in sweeps)
    bar, stop = position(longest, unit), length(sweeps[0].stop, unit)
    assert limit.allowed is not None
    allowed = length(limit.allowed, unit)
    head = (
        f"Slide a {bar} bar along {'this strip' if len(sweeps) == 1 else f'these {len(sweeps)} strips'}. Stop and mark "
        f"where a gap under it is over {stop}, and write down the largest. A gap over {allowed} under it fails "
        f"({describe(limit, unit)})."
    )
    rows = []
    for one in sweeps:
        other = "y" if one.along == "x" else "x"
        rows.append(
            f"at {other} {position(one.at, unit)}, from {one.along} {position(one.start, unit)} to "
            f"{position(one.end, unit)}{f', {position(one.bar, unit)} bar' if one.bar < longest - 1 else ''}"
        )
    return head, rows


def sweeps_text(sweeps: Sequence[Sweep], limit: Limit, unit: str, first: str = "") -> str:
    """The same as text for a terminal, behind ``first``."""
    head, rows = sweeps_told(sweeps, limit, unit)
    return "\n".join([indented(head, first), *(f"{first}  {k:>2}  {row}" for k, row in enumerate(rows, start=1))])


def _of_what(one: Judged, assessment: Assessment) -> str:
    if one.chance < assessment.confidence:
        return ""
    return " before what may be a slip is read again" if assessment.slips else " for the whole"


def _resting(one: Judged, unit: str) -> str:
    assert one.finding is not None
    contacts = one.finding.measured.contacts
    if len(contacts) != 2:
        return ""
    word = "under a straightedge that rests at" if one.limit.kind in ("straightedge", "span-bar") else "between"
    return f", {word} {place(contacts[0], unit)} and at {place(contacts[1], unit)}"


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
    return one, more_readings(assessment, one.limit.name, batch)


def more_text(assessment: Assessment, one: Judged, places: pd.DataFrame, unit: str) -> str:
    """Where to take more readings, in order, and how to add them to the file."""
    chance, often = percent(places.decided.iloc[-1]), int(places.times.iloc[0])
    each = "" if often == 1 else f"Read each place {often} times. "
    doubt = (
        f"To decide {one.limit.name}, in order of worth. {each}What each place is expected to leave of the doubt "
        f"counts the ones before it; with all of them the verdict should be pass or fail in {chance} of cases, else "
        f"read again.{HARDLY_ANY if places.decided.iloc[-1] < HARDLY else ''}"
    )
    x, y, _, _ = assessment.subject.survey.stations()
    read = {tuple(key) for key in place_keys(x, y).tolist()}
    told = []
    for here in place_keys(places.x.to_numpy(), places.y.to_numpy()).tolist():
        told.append(", again" if tuple(here) in read else "")
        read.add(tuple(here))
    tape = [place(xy, unit) + more for xy, more in zip(zip(places.x, places.y, strict=True), told, strict=True)]
    wide = max(map(len, tape))
    rows = [
        f"  {i:>2}  {text:<{wide}}  leaves {percent(left)} of the doubt"
        for i, (text, left) in enumerate(zip(tape, places.doubt_left, strict=True), start=1)
    ]
    how = [HOW_TO_ADD, *([OFTEN] if often > 1 else []), *([AGAIN] if any(told) else []), MOVED]
    return "\n".join(["Where to take more readings", indented(doubt), *rows, indented(" ".join(how))])


def note_text(problem: Problem) -> str:
    """A finding of the reader on one line or two, without its labels."""
    where = problem.cell or (f"row {problem.row}" if problem.row is not None else "")
    parts = [f"{where}: {problem.what}" if where else problem.what, problem.remedy or ""]
    return "; ".join(part for part in parts if part)


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
    more = where_to_read(assessment, batch)
    blocks += [more_text(assessment, *more, unit)] if more is not None else []
    laid = assessment.pictured
    if assessment.wanted_sweeps and laid is not None and laid.verdict == PASS:
        how = (
            "`flatness spots` writes them as a list to fill in, and `check --spot-check` reads it. Three strips take "
            "about three minutes. With the members' layout in the file (`# members: 16 in along y from 0`) they go "
            "across the members alone."
        )
        strips = sweeps_text(assessment.wanted_sweeps, laid.limit, unit, "  ")
        blocks.append("\n".join(["What lies between the stations", strips, indented(how)]))
    notes = [note_text(problem) for problem in survey.notes]
    notes += list(assessment.likely.notes) if assessment.likely else []
    notes += [
        f"the bar of {check.length:.0f} mm was set in {check.places} places: at 95 % no more than "
        f"{100 * check.share_over:.0f} % of the floor shows more than it did, where the places were chosen by chance"
        for check in assessment.spot_checks
        if isinstance(check, SpotCheck)
    ]
    notes += [assessment.subject.surface.note] if assessment.subject.surface.note else []
    if notes:
        blocks.append("\n".join(["Worth knowing", *(indented(in_unit(f"{text}.", unit), "  - ") for text in notes)]))
    blocks.append("\n".join(textwrap.wrap(AUTHORITY, WIDTH)))
    return "\n\n".join(blocks)


def limits_text(table: pd.DataFrame) -> str:
    """The catalogue of limits as text, at most 80 wide: finish by finish."""
    blocks = []
    for finish, group in table.groupby("finish", sort=False):
        lines = [str(finish)]
        for name, row in group.iterrows():
            lines.append(f"  {name}")
            lines.append(indented(f"{row['value']} - {row['purpose']} ({row['surfaces']})", "    "))
            source = cited(row["source"], row["edition"], row["clause"])
            lines.append(indented(f"{source} [{row['seen']}]", "    "))
            about = [text.rstrip(".") for text in (CAUTIONS[row["seen"]], row["notes"]) if text]
            lines += [indented(f"{text[0].upper()}{text[1:]}.", "    ") for text in about]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)
