"""Finishes in plain words, as a person chooses them, instead of the short names of limits."""

from __future__ import annotations

from itertools import groupby, takewhile

from flatness.limits.catalogue import find, published
from flatness.limits.kinds import Limit

BY_HAND = "reference"  # limits that no survey of a surface can be held against


def finishes(surface: str) -> dict[str, str]:
    """What each finish for a ``floor``, ``ceiling`` or ``wall`` is called, by its key in the catalogue.

    Finishes whose limits are all checked by hand are left out.

    Examples
    --------
    >>> finishes("floor")["wood-nailed"]
    'Wood floor on a wood subfloor, fasteners 1-1/2 in and longer'
    """
    named: dict[str, str] = {}
    for finish, group in groupby(published(), key=lambda limit: limit.finish):
        purposes = [one.purpose for one in group if surface in one.surfaces and one.kind != BY_HAND]
        if purposes:
            named[finish] = in_common(purposes)
    return named


def in_common(purposes: list[str]) -> str:
    """What purposes of one finish have in common, as a phrase of its own.

    >>> in_common(["slab, France: flatness", "slab, France: level"])
    'Slab, France'
    """
    letters = takewhile(lambda column: len(set(column)) == 1, zip(*purposes, strict=False))
    text = "".join(column[0] for column in letters)
    if text not in purposes:
        mark = ":" if ":" in text else ","
        text = text[: text.rfind(mark)] if mark in text else purposes[0]
    return text[:1].upper() + text[1:]


def limits_of(finish: str, surface: str) -> list[Limit]:
    """The limits of a finish that a survey of this surface can be held against."""
    return [limit for limit in find(finish, surface) if limit.kind != BY_HAND]
