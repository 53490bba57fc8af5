"""The table of the owner's page: what is looked at, what is allowed, what it was, is or will be, and who says so."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import PASS, RANK, UNDECIDED, Assessment, Judged
from flatness.limits.wording import caution, cited
from flatness.show.done_words import before_and_after
from flatness.show.papers.pdf import cut
from flatness.show.papers.plain import RESULTS, about, capital, looked_at
from flatness.show.papers.standing import likely_after
from flatness.show.words import number, percent

MET_WHERE_MEASURED = "good enough where measured"
MOST_ROWS = 6  # of the table, so that it all stays on one page


def head_of(plan: Plan | None, comparison: Comparison | None) -> list[str]:
    """The headings of the columns."""
    if comparison is not None:
        found = ["Before", "Now", "Result"]
    else:
        found = ["Found", "As found", "Planned", "As planned"] if plan is not None else ["Found", "Result"]
    return ["What is looked at", "Allowed", *found, "Who sets it"]


def rows_of(
    assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str
) -> tuple[list[list[str]], str]:
    """The verdicts that matter most, and how many more there are."""
    if assessment is None:
        return [], ""
    pairs: list[tuple[Judged, Judged | None]] = [(one, None) for one in assessment.judged]
    if comparison is not None and comparison.assessments is not None:
        pairs = list(zip(*(one.judged for one in comparison.assessments), strict=True))
    after = {} if plan is None else {str(row["limit"]): row for row in plan.after.to_dict("records")}
    pairs.sort(key=lambda pair: RANK[(pair[1] or pair[0]).verdict])
    limits = [one.limit for one, _ in pairs]
    rows = []
    for one, other in pairs[:MOST_ROWS]:
        if comparison is not None:
            now = _found(other, unit) if other is not None else "not judged"
            found = [_found(one, unit), now, _result_of(other or one)]
        elif plan is not None:
            row = after.get(one.limit.name)
            found = [_found(one, unit), _result_of(one), _planned(plan, row, unit), _result(row)]
        else:
            found = [_found(one, unit), _result_of(one)]
        allowed = looked_at(one.limit, unit)[1]
        rows.append([_named(one.limit, limits, unit), allowed, *found, cut(_source(one), 110)])
    left = [pair[1] or pair[0] for pair in pairs[MOST_ROWS:]]
    counts = {words: sum(one.verdict == verdict for one in left) for verdict, words in RESULTS.items()}
    told = ", ".join(f"{count} {words}" for words, count in counts.items() if count)
    return rows, f"And {len(left)} more {'limit' if len(left) == 1 else 'limits'}: {told}." if left else ""


def _result_of(one: Judged) -> str:
    return MET_WHERE_MEASURED if one.verdict == PASS and one.between == ASSUMED else RESULTS[one.verdict]


def _named(limit: Limit, limits: Sequence[Limit], unit: str) -> str:
    """What a limit looks at, and what for where another one looks at the same."""
    what = looked_at(limit, unit)[0]
    purpose = limit.purpose if sum(looked_at(one, unit)[0] == what for one in limits) > 1 else ""
    return cut(f"{capital(what)}{purpose and f' ({purpose})'}", 110)


def _found(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "not known"
    middle, _, high = one.likely()
    value = one.finding.measured.value if np.isnan(middle) else middle
    if one.limit.kind == "slope" or one.limit.kind in UNITLESS:
        return number(one, value, unit)
    # as the sentences above the table say it
    return about(value, unit, one.finding.allowed, 0.0 if math.isnan(high) else high)


def _planned(plan: Plan, row: Mapping[Any, Any] | None, unit: str) -> str:
    if row is None or not np.isfinite(row["after"]):
        return "not known"
    if not np.isfinite(row["after_mm"]):
        return before_and_after(plan, row, unit)[1]
    return about(likely_after(row), unit, row["allowed_mm"], math.inf)


def _result(row: Mapping[Any, Any] | None) -> str:
    if row is None:
        return "not known"
    words, chance = RESULTS[str(row["verdict"])], float(row["chance"])
    return f"{words} (chance {percent(chance)})" if row["verdict"] == UNDECIDED and math.isfinite(chance) else words


def _source(one: Judged) -> str:
    source = cited(one.limit.source, one.limit.edition, one.limit.clause)
    sure = caution(one.limit)
    return f"{source} ({sure.split(':')[0].split(',')[0]})" if sure else source
