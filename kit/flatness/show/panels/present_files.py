"""Names of the files that the Present panel writes, always new ones; and what cannot be compared, in its own words."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.show.panels.compare_words import HEIGHTS_BY, WAY_NAMES

NEW_NAME = "type another name: no file is ever written over here"


def free_path(name: str, folder: str | os.PathLike[str], endings: tuple[str, ...]) -> Path:
    """The path of a new file of this name; without an ending it gets the first of ``endings``."""
    plain = name.strip()
    if not plain or plain != Path(plain).name or plain.startswith("."):
        raise ArgumentError(
            "not the name of a file", value=name, expected=f"a name without folders, such as room{endings[0]}",
            remedy="type a name",
        )  # fmt: skip
    path = Path(folder) / plain
    path = path if path.suffix else path.with_suffix(endings[0])
    if path.suffix.lower() not in endings:
        raise ArgumentError(
            "another kind of file", value=name, expected=f"a name that ends in {' or '.join(endings)}",
            remedy="change its ending",
        )  # fmt: skip
    if path.exists():
        raise ArgumentError("there is a file of this name already", value=path.name, remedy=NEW_NAME)
    return path


def next_free(name: str, folder: str | os.PathLike[str]) -> str:
    """The same name with the least number behind it that no file has."""
    path, number = Path(name), 2
    stem = path.stem.rstrip("0123456789").removesuffix("-") or path.stem
    while (Path(folder) / f"{stem}-{number}{path.suffix}").exists():
        number += 1
    return f"{stem}-{number}{path.suffix}"


@contextmanager
def in_own_words() -> Iterator[None]:
    """Whatever is said of ``align`` is said of the control that sets it."""
    try:
        yield
    except FlatnessError as error:
        raise type(error)([_of_the_control(problem) for problem in error.problems]) from error


def _of_the_control(problem: Problem) -> Problem:
    if problem.column != "align":
        return problem
    names = {way: name for name, way in WAY_NAMES.items()}
    value = names.get(str(problem.value), problem.value)
    remedy = (
        f"under Files and settings, set '{HEIGHTS_BY}' to '{names['none']}' where the instrument stood untouched, or "
        f"to '{names['offset']}' (off a string: '{names['tilt']}') where part of the surface did not change; or choose "
        "another file for after the work, or none"
    )
    return replace(problem, column=HEIGHTS_BY, value=value, remedy=remedy)
