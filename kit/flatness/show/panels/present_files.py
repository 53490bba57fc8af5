"""Names of the files that the Present panel writes: always new ones."""

from __future__ import annotations

import os
from pathlib import Path

from flatness.errors import ArgumentError

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
