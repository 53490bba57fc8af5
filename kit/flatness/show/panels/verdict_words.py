"""The verdict of a check as a mark, and the limits behind it as a table."""

from __future__ import annotations

import math
from html import escape

from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.limits.wording import CAUTIONS, caution, cited, describe
from flatness.show.words import in_unit, number, percent

# told apart by the mark and the word, not by colour alone
MARKS = {PASS: "✔", FAIL: "✘", UNDECIDED: "?"}
WORDS = {PASS: "Pass", FAIL: "Fail", UNDECIDED: "Undecided"}


HEAD = (
    "Limit", "Verdict", "Between the stations", "As read", "Likely", "In 95 of 100 cases", "Chance within", "Source"
)  # fmt: skip


def limits_table(assessment: Assessment, unit: str) -> str:
    """The verdict table as HTML: one row a limit, in lengths as a tape reads them."""
    head = "".join(f'<th scope="col">{text}</th>' for text in HEAD)
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
            "-",
            in_unit(f"not measured: {one.reason}", unit),
            "-",
            told,
        ]
    else:
        middle, low, high = one.likely()
        spread = "-" if math.isnan(low) else f"{number(one, low, unit)} to {number(one, high, unit)}"
        cells = [
            describe(limit, unit), verdict_mark(one.verdict), one.between,
            number(one, one.finding.measured.value, unit), number(one, middle, unit), spread, percent(one.chance), told,
        ]  # fmt: skip
    first, *others = [text if i == 1 else escape(text) for i, text in enumerate(cells)]
    return f'<tr><th scope="row">{first}</th>{"".join(f"<td>{text}</td>" for text in others)}</tr>'


def verdict_mark(verdict: str) -> str:
    """A verdict as HTML: its mark and its word on its colour."""
    return f'<span class="fk-mark fk-{verdict}">{MARKS[verdict]} {WORDS[verdict]}</span>'
