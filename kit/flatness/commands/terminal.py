"""What is printed, as a terminal shows it: every mark that would move, hide or turn the text is shown as text."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from flatness.errors import visible


class Shown:
    """A stream on which hidden marks, and letters that its encoding lacks, are written as text.

    Attributes
    ----------
    beneath : the stream itself, for what draws over its own line
    """

    def __init__(self, beneath: TextIO) -> None:
        self.beneath = beneath

    def write(self, text: str) -> int:
        """Write the text as it can be seen."""
        encoding = getattr(self.beneath, "encoding", None) or "utf-8"
        seen = visible(text).encode(encoding, "backslashreplace").decode(encoding)
        self.beneath.write(seen)
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.beneath, name)


@contextmanager
def shown_as_text() -> Iterator[None]:
    """Within, all that goes to standard output and standard error is written as :class:`Shown` does."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (Shown(one) if one is not None else one for one in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
