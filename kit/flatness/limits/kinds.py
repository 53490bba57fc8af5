"""The kinds of limit there are, and the record of one limit.

Numbers that are all called flatness are formed in different ways, and one kind's number says nothing
about another's. :data:`KINDS` says which values each kind carries and where its main number stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from flatness.errors import LengthError, LimitError
from flatness.lengths import parse_exact, parse_length

SURFACES = ("floor", "ceiling", "wall")
SEEN = ("read", "quoted", "memory", "agreed")
SCOPES = ("overall", "least")


@dataclass(frozen=True)
class Kind:
    """What a kind of limit carries: its keys and what each holds, those that may be left out, and which of
    them is the number allowed and which the length it is measured over."""

    keys: Mapping[str, str]
    optional: tuple[str, ...] = ()
    allowed: str | None = "allowed"
    length: str | None = None


_BAR = {"length": "length", "allowed": "length"}
_SPAN = Kind({"distances": "lengths", "allowed": "lengths", "rounded": "flag"}, allowed=None)
_F_NUMBER = Kind({"at_least": "number", "scope": "scope"}, allowed="at_least")
_OVER = Kind({"distance": "length", "allowed": "length"}, optional=("distance",), length="distance")
_LEVEL = Kind({**_OVER.keys, "within": "flag"}, optional=("distance", "within"), length="distance")
_ALONE = Kind({"allowed": "length"})
KINDS: dict[str, Kind] = {
    "straightedge": Kind({**_BAR, "plane": "flag"}, optional=("plane",), length="length"),
    "straightedge-share": Kind({**_BAR, "share": "share"}, length="length"),
    "span-bar": _SPAN,
    "span-grid": _SPAN,
    "offset": Kind(_BAR, length="length"),
    "plane": Kind(_BAR, length="length"),
    "ff": _F_NUMBER,
    "fl": _F_NUMBER,
    "tr34-e": _ALONE,
    "tr34-f": _ALONE,
    "level": _LEVEL,
    "level-rule": Kind(
        {"per_metre": "length", "cap": "length", "up_to": "length", "plus": "length", "cube_root": "length",
         "across": "flag"},
        optional=("per_metre", "cap", "up_to", "plus", "cube_root", "across"), allowed=None,
    ),
    "plumb": _OVER,
    "neighbours": _ALONE,
    "step": Kind({"base": "length", "allowed": "length"}, optional=("base",), length="base"),
    "slope": Kind(
        {"at_most": "ratio", "base": "length"}, optional=("base",), allowed="at_most", length="base"
    ),
    "reference": Kind({"values": "texts"}, allowed=None),
}  # fmt: skip
UNITLESS = ("ff", "fl", "slope")  # kinds whose allowed number is not a length


@dataclass(frozen=True)
class Limit:
    """One limit: what a surface is allowed to be, by which way of measuring, and on whose word.

    Attributes
    ----------
    name : short name, unique in the catalogue
    kind : one of :data:`KINDS`: how the number is formed
    purpose : what it is for, in plain words
    surfaces : which of floor, ceiling and wall it is for
    finish : key of the group it belongs to; naming the finish names all its limits
    allowed : the most allowed [mm]; for ``ff`` and ``fl`` the least F-number, for ``slope`` the ratio, rise
        over run; None for ``span-bar``, ``span-grid``, ``level-rule`` and ``reference``
    length : length of the bar, or distance it is measured over [mm]; None where there is none
    parameters : all values of the kind under the keys of :data:`KINDS`, lengths in mm; optional ones that
        were not given are None
    source, edition, clause : publisher and document; empty where not known
    seen : ``read`` in the source's own text, ``quoted`` by others, from ``memory``, or ``agreed``
    notes : what its user must know
    """

    name: str
    kind: str
    purpose: str
    surfaces: tuple[str, ...]
    finish: str
    allowed: float | None
    length: float | None
    parameters: Mapping[str, Any] = field(hash=False)
    source: str
    edition: str
    clause: str
    seen: str
    notes: str


def build_limit(kind: str, values: Mapping[str, Any], **about: Any) -> Limit:
    """The limit of a kind from its values in mm, once they are checked against each other.

    Raises LimitError where the values contradict each other.
    """
    known = KINDS[kind]
    parameters = {key: values.get(key) for key in known.keys}
    if kind in ("span-bar", "span-grid"):
        _check_table(values["distances"], values["allowed"])
    if kind == "level-rule":
        given = [key for key in known.keys if parameters[key] is not None and key not in ("up_to", "across")]
        if given not in (["per_metre", "cap"], ["per_metre", "plus"], ["cube_root"]):
            raise LimitError(
                "a level rule that says too little or too much", column="per_metre",
                value=", ".join(given), expected="per_metre with cap (and up_to) or with plus, or cube_root alone",
            )  # fmt: skip
    allowed = parameters[known.allowed] if known.allowed else None
    length = parameters[known.length] if known.length else None
    return Limit(kind=kind, allowed=allowed, length=length, parameters=parameters, **about)


def _check_table(distances: Sequence[float], allowed: Sequence[float]) -> None:
    if len(distances) != len(allowed):
        raise LimitError(
            "distances and allowed values do not pair up", column="allowed",
            value=f"{len(distances)} distances, {len(allowed)} allowed values",
            expected="one allowed value for each distance",
        )  # fmt: skip
    if any(b <= a for a, b in pairwise(distances)):
        raise LimitError(
            "distances that do not rise", column="distances", value=str(list(distances)),
            expected="distances from the shortest to the longest, each once",
        )  # fmt: skip


def level_rule(limit: Limit) -> Callable[[float], float]:
    """The difference in height [mm] that a ``level-rule`` allows over a distance [mm].

    A rule by the metre gives the rate times the distance, and ``plus`` besides or never more than its cap;
    ``up_to`` only records how far the source states the rate.
    """
    if limit.kind != "level-rule":
        raise LimitError("not a level rule", value=limit.name, expected="a limit of kind level-rule")
    rule = limit.parameters
    if rule["cube_root"] is not None:
        return lambda distance: float(rule["cube_root"] * math.cbrt(distance / 1000))
    plus, cap = rule["plus"] or 0.0, rule["cap"] or math.inf
    return lambda distance: float(min(plus + rule["per_metre"] * distance / 1000, cap))


def read_value(raw: object, holds: str) -> Any:
    """A value as the limits file writes it, in mm where it is a length; LimitError where it is not one."""
    return _READERS[holds](raw)


def check_positive(value: object, key: str) -> float:
    """The number, once it is finite and above zero; LimitError otherwise."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise LimitError(
            "not a number", column=key, value=str(value), expected="a number; lengths in millimetres",
            remedy="a length written as text goes through flatness.parse_length first",
        )  # fmt: skip
    if not (math.isfinite(value) and value > 0):
        raise LimitError("out of range", column=key, value=str(value), expected="a finite number above zero")
    return float(value)


def _read_length(raw: object) -> float:
    remedy = "write the number and its unit as text"
    if not isinstance(raw, str):
        raise LimitError("a length must be text with its unit", value=str(raw), expected='"3/16 in"', remedy=remedy)
    try:
        mm, unitless = parse_length(raw, "mm"), parse_exact(raw, "mm") != parse_exact(raw, "cm")
    except LengthError as error:
        first = error.problems[0]
        raise LimitError(first.what, value=raw, expected=first.expected, remedy=first.remedy or remedy) from error
    if unitless:
        raise LimitError("a length without a unit", value=raw, expected="in, ft, mm, cm or m", remedy=remedy)
    if mm <= 0:
        raise LimitError("out of range", value=raw, expected="a length above zero", remedy="check the sign")
    return mm


def _read_lengths(raw: object) -> tuple[float, ...]:
    if not isinstance(raw, list) or not raw:
        raise LimitError("not a list of lengths", value=str(raw), expected='a list such as ["1 m", "4 m"]')
    return tuple(_read_length(item) for item in raw)


def _read_number(raw: object) -> float:
    return check_positive(raw, "")


def _read_share(raw: object) -> float:
    if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not 0 < raw <= 1:
        raise LimitError("not a share", value=str(raw), expected="a number above 0, up to 1; 0.9 is 90 %")
    return float(raw)


def read_ratio(raw: object) -> float:
    """Rise over run of a slope written ``1:48``."""
    found = re.fullmatch(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*:\s*(\d{1,6}(?:\.\d{1,6})?)\s*", str(raw), re.ASCII)
    if found is None or not float(found[1]) or not float(found[2]):
        raise LimitError("not a slope", value=str(raw), expected='rise to run, such as "1:48"')
    return float(found[1]) / float(found[2])


def _read_scope(raw: object) -> str:
    if raw not in SCOPES:
        raise LimitError("unknown scope", value=str(raw), expected=" or ".join(SCOPES))
    return str(raw)


def _read_flag(raw: object) -> bool:
    if not isinstance(raw, bool):
        raise LimitError("neither true nor false", value=str(raw), expected="true or false")
    return raw


def _read_texts(raw: object) -> dict[str, str]:
    if not isinstance(raw, dict) or not raw or not all(isinstance(v, str) and v for v in raw.values()):
        raise LimitError("not a table of texts", value=str(raw), expected='a table: "label" = "value"')
    return dict(raw)


_READERS: dict[str, Callable[[object], Any]] = {
    "length": _read_length, "lengths": _read_lengths, "number": _read_number, "share": _read_share,
    "ratio": read_ratio, "scope": _read_scope, "flag": _read_flag, "texts": _read_texts,
}  # fmt: skip
