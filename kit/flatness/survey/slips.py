"""What may have been meant by a length that was typed wrong: another sign, point, order of digits, or unit."""

from __future__ import annotations

import re
from collections.abc import Iterator

from flatness.errors import LengthError
from flatness.lengths import MM_PER, RULED, UnitNeededError, parse_exact

_PLAIN = re.compile(r"[+-]?\d*[.,]?\d+|[+-]?\d+[.,]")
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-"})


def is_bare(typed: str, decimal_comma: bool = False) -> bool:
    """Whether a typed length carries no unit of its own; zero needs none and says none."""
    try:
        parse_exact(typed, None, decimal_comma=decimal_comma)
    except UnitNeededError:
        return True
    except LengthError:
        return False
    return False


def meant(typed: str, unit: str, decimal_comma: bool = False) -> Iterator[tuple[str, float]]:
    """What may have been meant by a typed length: each as a text to type instead, and as a length [mm].

    Parameters
    ----------
    typed : as it stands in the file
    unit : of a number that carries none
    decimal_comma : as for :func:`~flatness.lengths.parse_exact`

    Examples
    --------
    >>> [text for text, mm in meant("-41 5/8", "in") if mm > 0], [text for text, mm in meant("4.15", "in") if mm > 1000]
    (['41 5/8'], ['41.5'])
    """
    seen = {typed}
    for text in _candidates(" ".join(typed.translate(_SIGNS).split()), unit, decimal_comma):
        if text in seen:
            continue
        seen.add(text)
        try:
            mm = float(parse_exact(text, unit, decimal_comma=decimal_comma))
        except LengthError:
            continue
        yield text, mm


def _candidates(typed: str, unit: str, decimal_comma: bool) -> Iterator[str]:
    yield typed[1:].lstrip() if typed.startswith("-") else f"-{typed}"
    yield from _point_moved(typed)
    for at in range(len(typed) - 1):
        if typed[at : at + 2].isdigit():
            yield typed[:at] + typed[at + 1] + typed[at] + typed[at + 2 :]
    yield from _space_and_stroke_lost(typed)
    if is_bare(typed, decimal_comma):
        yield from (f"{typed} {other}" for other in MM_PER if other != unit)


def _space_and_stroke_lost(typed: str) -> Iterator[str]:
    """4158 for 41 5/8."""
    sign, digits = (typed[0], typed[1:]) if typed[:1] in ("+", "-") else ("", typed)
    if not digits.isdecimal():
        return
    for below in (1, 2):
        for above in (1, 2):
            whole, top, bottom = digits[: -below - above], digits[-below - above : -below], digits[-below:]
            if whole and int(bottom) in RULED and 0 < int(top) < int(bottom) and top[0] != "0":
                yield f"{sign}{whole} {top}/{bottom}"


def _point_moved(typed: str) -> Iterator[str]:
    """A plain number with its point one or two places to the left or right."""
    if not _PLAIN.fullmatch(typed):
        return
    mark = "," if "," in typed else "."
    sign = typed[0] if typed[0] in "+-" else ""
    whole, _, part = typed.lstrip("+-").partition(mark)
    for by in (1, -1, 2, -2):
        digits = f"00{whole}{part}00"
        at = len(whole) + 2 + by
        left, right = digits[:at].lstrip("0") or "0", digits[at:].rstrip("0")
        yield f"{sign}{left}{mark}{right}" if right else f"{sign}{left}"
