"""The verdict of a check in one sentence with its certainty, and the limits behind it as a table."""

from __future__ import annotations

import math
from html import escape

from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.limits.wording import CAUTIONS, caution, cited, describe
from flatness.show.words import in_unit, number, percent

# told apart by the mark and the word, not by colour alone
MARKS = {PASS: "✔", FAIL: "✘", UNDECIDED: "?"}
WORDS = {PASS: "Pass", FAIL: "Fail", UNDECIDED: "Undecided"}


def deciding(assessment: Assessment) -> Judged:
    """The limit that the verdict hangs on: of those with that verdict, the one least likely to be kept."""
    same = [one for one in assessment.judged if one.verdict == assessment.verdict]
    return min(same, key=lambda one: one.chance if not math.isnan(one.chance) else 2.0)


def verdict_sentence(assessment: Assessment, finish: str, unit: str) -> str:
    """The verdict of all limits together in one sentence.

    Parameters
    ----------
    assessment : a check
    finish : the finish in plain words; empty leaves it out
    unit : ``in`` or ``mm``
    """
    one, kind = deciding(assessment), assessment.subject.survey.surface
    sure = f"at {100 * assessment.confidence:g} % confidence"
    limit = describe(one.limit, unit)
    named = f" ({finish[:1].lower()}{finish[1:]})" if finish else ""
    if one.finding is None:
        return f"Undecided: the readings cannot give what the limit of {limit} asks for; the reason is in the table."
    if math.isnan(one.chance):
        return f"{WORDS[one.verdict]}, as read: {limit}{named}."
    middle = number(one, one.likely()[0], unit)
    chance = percent(one.chance)
    if assessment.verdict == PASS:
        many = "all limits" if len(assessment.judged) > 1 else "the limit"
        return (
            f"Pass: {sure} the readings prove this {kind} within {many}{named}; nearest to its limit is {limit}, "
            f"likely {middle}, with a chance of {chance} of being within."
        )
    if assessment.verdict == FAIL:
        return (
            f"Fail: {sure} the readings prove this {kind} beyond {limit}{named}; likely {middle}, and the chance "
            f"that it is within is {chance}."
        )
    return (
        f"Undecided: {sure} the readings do not decide whether this {kind} is within {limit}{named}; likely "
        f"{middle}, and the chance that it is within is {chance}."
    )


def limits_table(assessment: Assessment, unit: str) -> str:
    """The verdict table as HTML: one row a limit, in lengths as a tape reads them."""
    head = "".join(
        f'<th scope="col">{text}</th>'
        for text in ("Limit", "Verdict", "As read", "Likely", "In 95 of 100 cases", "Chance within", "Source")
    )
    rows = "".join(_row(one, unit) for one in assessment.judged)
    seen = dict.fromkeys(one.limit.seen for one in assessment.judged if caution(one.limit))
    told = "".join(f"<br>{name.capitalize()}: {escape(CAUTIONS[name])}." for name in seen)
    return (
        f'<table class="fk-table"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'
        f'<small class="fk-quiet">{told.removeprefix("<br>")}</small>'
    )


def _row(one: Judged, unit: str) -> str:
    limit = one.limit
    source = cited(limit.source, limit.edition, limit.clause) or "agreed"
    told = f"{source} ({limit.seen})" if limit.source else source
    if one.finding is None:
        cells = [
            describe(limit, unit),
            verdict_mark(one.verdict),
            "-",
            "-",
            in_unit(f"not measured: {one.reason}", unit),
            "-",
            told,
        ]
    else:
        middle, low, high = one.likely()
        spread = "-" if math.isnan(low) else f"{number(one, low, unit)} to {number(one, high, unit)}"
        cells = [
            describe(limit, unit), verdict_mark(one.verdict), number(one, one.finding.measured.value, unit),
            number(one, middle, unit), spread, percent(one.chance), told,
        ]  # fmt: skip
    first, *others = [text if i == 1 else escape(text) for i, text in enumerate(cells)]
    return f'<tr><th scope="row">{first}</th>{"".join(f"<td>{text}</td>" for text in others)}</tr>'


def verdict_mark(verdict: str) -> str:
    """A verdict as HTML: its mark and its word on its colour."""
    return f'<span class="fk-mark fk-{verdict}">{MARKS[verdict]} {WORDS[verdict]}</span>'
