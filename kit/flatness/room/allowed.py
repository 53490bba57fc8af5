"""What a room is allowed: what is agreed for it, else what the catalogue of published limits says."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from flatness.lengths import parse_length
from flatness.limits.catalogue import find
from flatness.limits.kinds import caution, cited

AGREED = "agreed for this project"
NOTHING = "no limit agreed"
_UP_TO = re.compile(r"up to ([\d.]+ m)$")


@dataclass(frozen=True)
class Allowed:
    """How much is allowed, or needed, and on whose word.

    Attributes
    ----------
    mm : NaN where nothing is agreed or published
    source : on whose word
    at_least : whether it is needed, in place of allowed at most
    """

    mm: float = math.nan
    source: str = NOTHING
    at_least: bool = False


def allowed(agreed: float | None, published: float = math.nan, source: str = "", *, at_least: bool = False) -> Allowed:
    """What is agreed [mm], else what is published [mm] by ``source``, else nothing."""
    if agreed is not None:
        return Allowed(agreed, AGREED, at_least)
    return Allowed(at_least=at_least) if math.isnan(published) else Allowed(published, source, at_least)


def source_of(name: str) -> str:
    """Where a published limit stands, and how sure that is."""
    (limit,) = find(name)
    sure = caution(limit)
    return cited(limit.source, limit.edition, limit.clause) + (f" ({sure})" if sure else "")


@cache
def _angularity() -> tuple[tuple[float, float], ...]:
    (limit,) = find("din-angularity")

    def steps() -> Iterator[tuple[float, float]]:
        for size, allowed in limit.parameters["values"].items():
            found = _UP_TO.search(size)
            assert found is not None, size
            yield parse_length(found[1]), parse_length(allowed)

    return tuple(steps())


def angularity(nominal: float) -> float:
    """What DIN 18202 table 2 allows out of square, plumb or level over a nominal length [mm]; NaN beyond its end.

    >>> angularity(3000), angularity(3001)
    (8.0, 12.0)
    """
    return next((allowed for most, allowed in _angularity() if nominal <= most + 1e-6), math.nan)


@cache
def habitable_height() -> float:
    """Clear height of a habitable room [mm], IRC R305.1."""
    (limit,) = find("clear-height")
    return parse_length(limit.parameters["values"]["habitable rooms"].removesuffix(" at least"))


@cache
def unbevelled_step() -> float:
    """Change in level without a bevel [mm], ADA standards 303.2."""
    (limit,) = find("accessible-vertical-change")
    assert limit.allowed is not None
    return limit.allowed
