"""Writing a file, and never over another one unasked."""

from __future__ import annotations

import os
from pathlib import Path

from flatness.errors import ArgumentError, FlatnessError


def write_new(
    path: str | os.PathLike[str], data: bytes, overwrite: bool, *,
    exists: type[FlatnessError] = ArgumentError, remedy: str = "choose another name, or say overwrite=True",
) -> None:  # fmt: skip
    """Write ``data`` to a file of a new name; over one that is there only where ``overwrite`` says so.

    Raises
    ------
    FlatnessError : of the kind ``exists``, with ``remedy``: there is a file of this name
    ArgumentError : the file cannot be written
    """
    target = Path(path)
    try:
        with target.open("wb" if overwrite else "xb") as file:
            file.write(data)
    except FileExistsError as error:
        raise exists(
            "there is a file of this name already", file=target.name, expected="a new name", remedy=remedy
        ) from error
    except OSError as error:
        raise ArgumentError(f"the file cannot be written: {error.strerror}", value=str(target)) from error
