"""The catalogue of published limits: read from its data file, listed, searched and named.

The limits themselves are data, in ``published.toml`` beside this module: one table a limit, each with its
source, edition and clause, and with how sure it is. A limit that was only quoted, or that stands from memory,
says so wherever it is listed (:func:`caution`).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from importlib import resources
from itertools import groupby, takewhile
from typing import TYPE_CHECKING, Any

from flatness.errors import LimitError, Problem, check_choice
from flatness.limits.kinds import (
    KINDS,
    PLANNABLE,
    SEEN,
    SURFACES,
    UNITLESS,
    Limit,
    build_limit,
    caution,
    describe,
    f_number_limit,
    level_limit,
    level_rule,
    light_limit,
    neighbour_limit,
    offset_limit,
    plane_limit,
    plumb_limit,
    read_value,
    slope_limit,
    span_limit,
    step_limit,
    straightedge_limit,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "KINDS",
    "Limit",
    "caution",
    "describe",
    "f_number_limit",
    "find",
    "level_limit",
    "level_rule",
    "light_limit",
    "limits",
    "neighbour_limit",
    "offset_limit",
    "plane_limit",
    "plumb_limit",
    "published",
    "read_limits",
    "slope_limit",
    "span_limit",
    "step_limit",
    "straightedge_limit",
]

FILE = "published.toml"
HOW_TO_LIST = "`flatness limits` lists all, `flatness limits tile` those with that word (flatness.limits() in Python)"
YOUR_OWN = "; what you agreed yourselves is --straightedge 10ft --allowed 1/8in (flatness.straightedge_limit in Python)"
CORRECT = "correct it in the file"
_TEXTS = ("name", "finish", "purpose", "source", "edition", "clause", "seen", "notes")
_MAY_BE_EMPTY = ("edition", "clause", "notes")
_ABOUT = ("name", "finish", "purpose", "surfaces", "kind", "source", "edition", "clause", "seen", "notes")
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*", re.ASCII)


@cache
def published() -> tuple[Limit, ...]:
    """All published limits, in the order of the data file.

    Raises LimitError, with every problem of the file, where it is not as it should be.

    Examples
    --------
    >>> from flatness.limits.catalogue import published
    >>> next(x for x in published() if x.name == "resilient-concrete").length
    3048.0
    """
    return read_limits(resources.files("flatness.limits").joinpath(FILE).read_text(encoding="utf-8"), FILE)


def read_limits(text: str, file: str = FILE) -> tuple[Limit, ...]:
    """The limits that a TOML text states, one ``[[limit]]`` table each.

    Parameters
    ----------
    text : TOML; lengths are texts with their unit
    file : name of the file, for the messages

    Raises
    ------
    LimitError : all problems found, each with file, limit, key, value, what was expected and the remedy
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LimitError("not a TOML file", file=file, value=str(error), expected="[[limit]] tables") from error
    tables, called = document.pop("limit", None), document.pop("called", {})
    if document or not isinstance(called, dict) or not _are_tables(tables):
        raise LimitError(
            "not a file of limits",
            file=file,
            value=", ".join(map(str, document)),
            expected="[[limit]] tables, one table [called], and nothing else",
        )
    found, problems = [], []
    for number, table in enumerate(tables, 1):
        limit, wrong = _read_table(table, number, file)
        problems += wrong
        found += [replace(limit, called=str(called.get(limit.finish, "")))] if limit else []
    finishes = {str(table.get("finish")) for table in tables}
    for finish, words in called.items():
        expected = "a finish of this file" if finish not in finishes else "what people call it, in quotes"
        if finish not in finishes or not isinstance(words, str) or not words.strip():
            what, value = "not a name that a finish is called by", f"{finish} = {words}"
            problems.append(Problem(what, file=file, column="called", value=value, expected=expected, remedy=CORRECT))
    problems += _name_clashes(found, file)
    if problems:
        raise LimitError(problems)
    return tuple(found)


def _are_tables(tables: object) -> bool:
    return isinstance(tables, list) and all(isinstance(one, dict) for one in tables)


def _read_table(table: dict[str, Any], number: int, file: str) -> tuple[Limit | None, list[Problem]]:
    label = f"limit {table['name']}" if isinstance(table.get("name"), str) else f"limit number {number}"
    problems: list[Problem] = []

    def wrong(what: str, key: str, **more: str | None) -> None:
        problems.append(Problem(what, file=file, column=f"{label}, {key}", **more))  # type: ignore[arg-type]

    kind = table.get("kind")
    known = KINDS.get(kind) if isinstance(kind, str) else None
    if "kind" in table and known is None:
        near = get_close_matches(str(kind), KINDS, 1)
        wrong("unknown kind", "kind", value=str(kind), expected=", ".join(KINDS), remedy=did_you_mean(near))
    keys = [*_ABOUT, *(known.keys if known else ())]
    for key in keys:
        if key not in table and not (known and key in known.optional):
            empty = ', with "" where nothing is known' if key in _MAY_BE_EMPTY else ""
            wrong("missing key", key, expected=f"a line that begins with {key} =", remedy=f"add it{empty}")
    for key in table:
        if known and key not in keys:
            near = get_close_matches(key, keys, 1)
            wrong("unknown key", key, value=key, expected=", ".join(keys), remedy=did_you_mean(near))
    for key in _TEXTS:
        text = table.get(key, "x")
        if not isinstance(text, str) or (not text.strip() and key not in _MAY_BE_EMPTY):
            wrong("not a text", key, value=str(text), expected="a text in quotes")
        elif key in ("name", "finish") and key in table and not _NAME.fullmatch(text):
            wrong("not a short name", key, value=text, expected="lower-case words joined by hyphens")
        elif key == "seen" and key in table and text not in SEEN[:3]:
            wrong("unknown word for how sure a limit is", key, value=text, expected=", ".join(SEEN[:3]))
    surfaces = table.get("surfaces", list(SURFACES))
    if not isinstance(surfaces, list) or not surfaces or any(s not in SURFACES for s in surfaces):
        wrong("unknown surface", "surfaces", value=str(surfaces), expected=f"a list from {', '.join(SURFACES)}")
    values: dict[str, Any] = {}
    for key, holds in known.keys.items() if known else ():
        if key in table:
            try:
                values[key] = read_value(table[key], holds)
            except LimitError as error:
                problems += [replace(p, file=file, column=f"{label}, {key}") for p in error.problems]
    if problems or not isinstance(kind, str):
        return None, [replace(p, remedy=p.remedy or CORRECT) for p in problems]
    about = {key: table[key] for key in _TEXTS}
    try:
        return build_limit(kind, values, surfaces=tuple(surfaces), **about), []
    except LimitError as error:
        return None, [
            replace(p, file=file, column=f"{label}, {p.column}", remedy=p.remedy or CORRECT) for p in error.problems
        ]


def _name_clashes(found: list[Limit], file: str) -> list[Problem]:
    problems, seen = [], set()
    for limit in found:
        if limit.name in seen:
            what, expected = "duplicate name", "a name that no other limit has"
        elif any(other.finish == limit.name and other.name != limit.name for other in found):
            what, expected = ("a limit named like a finish of other limits", "a name that is no finish of others")
        else:
            seen.add(limit.name)
            continue
        place = f"limit {limit.name}, name"
        problems.append(
            Problem(what, file=file, column=place, value=limit.name, expected=expected, remedy="rename one of them")
        )
    return problems


def did_you_mean(near: Iterable[str]) -> str | None:
    """A question that names what is near; None where nothing is."""
    return f"did you mean {' or '.join(near)}?" if near else None


def _has(limit: Limit, words: str) -> bool:
    """Whether each of these words begins one in what a limit says of itself, in any case."""
    told = (limit.name, limit.finish, limit.called, limit.purpose, *limit.surfaces, limit.source, limit.notes)
    text = " ".join(told)
    return all(re.search(rf"\b{re.escape(word)}", text, re.IGNORECASE) for word in words.split())


def near_words(word: str) -> list[str]:
    """Words that are near one which no limit has, among those of names, finishes and what people call them."""
    known = {
        part for x in published() for part in re.findall("[a-z]{3,}", f"{x.name} {x.called} {x.purpose}".casefold())
    }
    return get_close_matches(word.casefold(), sorted(known), 3, 0.7)


def limits(word: str | None = None) -> pd.DataFrame:
    """The published limits as a table, one row a limit.

    Parameters
    ----------
    word : only limits with this word, or all of these words, in name, finish, what people call it, purpose, surfaces,
        source or notes, in any case

    Returns
    -------
    DataFrame indexed by limit name : finish, called (what people on site call it), purpose, surfaces, kind, value (in
        words, in the source's unit), allowed_mm and length_mm (NaN where the kind has none), planned (whether
        corrections can be planned for it), source, edition, clause, seen ("read", "quoted" or "memory") and notes;
        without rows where nothing has the word
    """
    import pandas as pd  # here, since the command line names its commands without it

    columns: dict[str, Callable[[Limit], Any]] = {
        "finish": lambda x: x.finish,
        "called": lambda x: x.called,
        "purpose": lambda x: x.purpose,
        "surfaces": lambda x: ", ".join(x.surfaces),
        "kind": lambda x: x.kind,
        "value": lambda x: describe(x, "source"),
        "allowed_mm": lambda x: float("nan") if x.allowed is None or x.kind in UNITLESS else x.allowed,
        "length_mm": lambda x: float("nan") if x.length is None else x.length,
        "planned": lambda x: x.kind in PLANNABLE,
        "source": lambda x: x.source,
        "edition": lambda x: x.edition,
        "clause": lambda x: x.clause,
        "seen": lambda x: x.seen,
        "notes": lambda x: x.notes,
    }
    found = [x for x in published() if _has(x, word or "")]
    names = pd.Index([x.name for x in found], name="limit")
    return pd.DataFrame({key: [value(x) for x in found] for key, value in columns.items()}, index=names)


def find(names_or_limits: str | Limit | Iterable[str | Limit], surface: str | None = None) -> list[Limit]:
    """The limits that are meant, each once, in the order named.

    Parameters
    ----------
    names_or_limits : a limit's name, a finish (all its limits), a :class:`Limit`, or several of these
    surface : ``floor``, ``ceiling`` or ``wall``: a finish gives only its limits for that surface, and a limit
        for other surfaces is an error

    Raises
    ------
    LimitError : an unknown name, with the nearest ones; a limit for another surface; two limits of one name

    Examples
    --------
    >>> [x.name for x in find("wood-nailed")]
    ['wood-nailed-10ft', 'wood-nailed-6ft']
    """
    check_choice("surface", surface, (None, *SURFACES))
    asked: list[str | Limit]
    if isinstance(names_or_limits, Iterable) and not isinstance(names_or_limits, str):
        asked = list(names_or_limits)
    else:
        asked = [names_or_limits]
    if not asked:
        raise LimitError("no limit is named", expected="a limit, a finish, or several", remedy=HOW_TO_LIST)
    chosen: dict[str, Limit] = {}
    for item in asked:
        for limit in _for_surface([item] if isinstance(item, Limit) else _named(item), item, surface):
            if chosen.setdefault(limit.name, limit) != limit:
                what, expected = "two different limits of one name", "one name a limit"
                raise LimitError(what, value=limit.name, expected=expected, remedy="give the agreed limit another name")
    return list(chosen.values())


def _named(name: str) -> list[Limit]:
    if not isinstance(name, str):
        raise LimitError("neither a name nor a limit", value=str(name), expected="a text or a Limit")
    wanted = name.strip().casefold()
    found = [x for x in published() if x.name == wanted] or [x for x in published() if x.finish == wanted]
    if not found:
        known = list(dict.fromkeys([*(x.finish for x in published()), *(x.name for x in published())]))
        fitting = dict.fromkeys(x.finish for x in published() if wanted and _has(x, wanted))
        near = list(fitting)[:4] or get_close_matches(wanted, known, 4, 0.5)
        hint = f"did you mean {', '.join(near)}? " if near else ""
        expected = "the name of a limit or of a finish"
        raise LimitError("unknown limit or finish", value=name, expected=expected, remedy=hint + HOW_TO_LIST + YOUR_OWN)
    return found


def _for_surface(found: list[Limit], item: str | Limit, surface: str | None) -> list[Limit]:
    kept = [x for x in found if surface is None or surface in x.surfaces]
    if not kept:
        others = dict.fromkeys(s for x in found for s in x.surfaces)
        raise LimitError(
            f"not a limit for a {surface}",
            value=item if isinstance(item, str) else item.name,
            expected=f"a limit for a {surface}; this one is for {' and '.join(others)}",
            remedy="name another limit, or correct the surface of the survey",
        )
    return kept


BY_HAND = "reference"  # limits that no survey of a surface can be held against


def finishes(surface: str) -> dict[str, str]:
    """What each finish for a ``floor``, ``ceiling`` or ``wall`` is called, by its key in the catalogue.

    As people on site say; in the standard's own words where nobody says it otherwise. Finishes whose limits are all
    checked by hand are left out.

    Examples
    --------
    >>> finishes("floor")["laminate"]
    'Laminate'
    """
    named: dict[str, str] = {}
    for finish, group in groupby(published(), key=lambda limit: limit.finish):
        limits = [one for one in group if surface in one.surfaces and one.kind != BY_HAND]
        if limits:
            text = limits[0].everyday or in_common([one.purpose for one in limits])
            named[finish] = text[:1].upper() + text[1:]
    return named


def in_common(purposes: list[str]) -> str:
    """What purposes of one finish have in common, as a phrase of its own.

    >>> in_common(["slab, France: flatness", "slab, France: level"])
    'slab, France'
    """
    letters = takewhile(lambda column: len(set(column)) == 1, zip(*purposes, strict=False))
    text = "".join(column[0] for column in letters)
    if text not in purposes:
        mark = ":" if ":" in text else ","
        text = text[: text.rfind(mark)] if mark in text else purposes[0]
    return text


def limits_of(finish: str, surface: str) -> list[Limit]:
    """The limits of a finish that a survey of this surface can be held against."""
    return [limit for limit in find(finish, surface) if limit.kind != BY_HAND]
