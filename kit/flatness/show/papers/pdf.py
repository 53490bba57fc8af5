"""From data to a PDF: a template, the data as JSON, drawings as SVG; what came from a file is text and never markup."""

from __future__ import annotations

import json
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import matplotlib as mpl
import typst

from flatness.errors import ArgumentError, shorten
from flatness.show.axes import SOFTWARE

TEMPLATES = Path(__file__).parent / "templates"
LONGEST_WORD = 24  # letters before a word may be broken
BREAK = "\N{ZERO WIDTH SPACE}"
JOINERS = "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}"  # which some scripts are written with
EARLIEST = datetime(1980, 1, 1, tzinfo=UTC)  # what a ZIP archive and a PDF both can say


@dataclass(frozen=True)
class Sheet:
    """A size of paper, upright.

    Attributes
    ----------
    name : as the user says it
    template : as the template calls it
    width, height : [mm]
    """

    name: str
    template: str
    width: float
    height: float


SHEETS = {
    "letter": Sheet("letter", "us-letter", 215.9, 279.4),
    "a4": Sheet("a4", "a4", 210.0, 297.0),
}


def sheet_named(paper: str) -> Sheet:
    """The size of paper of this name, ``letter`` or ``a4``."""
    if paper not in SHEETS:
        raise ArgumentError("unknown size of paper", column="paper", value=str(paper), expected=", ".join(SHEETS))
    return SHEETS[paper]


def make_pdf(
    template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes], paper: str, made: datetime | None = None
) -> bytes:
    """Set a template with its data.

    Parameters
    ----------
    template : file in ``templates``
    data : what JSON can say; every text in it is printed as it is
    pictures : SVG by file name
    paper : ``letter`` or ``a4``
    made : when the paper was made, which is printed and stamped; None leaves it out. The same data and the same
        ``made`` give the same bytes

    Raises
    ------
    ArgumentError : an unknown paper, or a date out of range
    """
    sheet = sheet_named(paper)
    whole = {**data, "paper": sheet.template, "made": made_text(made), "software": SOFTWARE}
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for source in TEMPLATES.glob("*.typ"):
            shutil.copyfile(source, root / source.name)
        (root / "data.json").write_text(json.dumps(printable(whole), allow_nan=False), encoding="utf-8")
        for name, svg in pictures.items():
            (root / name).write_bytes(svg)
        # the letters that the template's own face lacks come from the one that the charts are set in
        fonts = [str(Path(mpl.get_data_path()) / "fonts" / "ttf")]
        stamp = int((made or EARLIEST).timestamp())
        out = typst.compile(str(root / template), root=str(root), font_paths=fonts, format="pdf", timestamp=stamp)
    assert isinstance(out, bytes)
    return out


def made_text(made: datetime | None) -> str:
    """The day that a paper was made, such as ``2026-03-05``; empty where it is not said."""
    if made is None:
        return ""
    if not isinstance(made, datetime) or made.tzinfo is None or made < EARLIEST:
        raise ArgumentError(
            "the time that the paper was made is not usable", column="made", value=str(made),
            expected="a datetime with its time zone, from 1980", remedy="such as datetime.now(timezone.utc)",
        )  # fmt: skip
    return made.date().isoformat()


def printable(value: Any) -> Any:
    """Data with every text on one line, without marks that turn what follows, and with long words that may break."""
    if isinstance(value, Mapping):
        return {key: printable(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [printable(item) for item in value]
    return _breakable(one_line(value)) if isinstance(value, str) else value


def one_line(text: str) -> str:
    """A text on one line: no control characters, no marks that change the direction of what follows.

    >>> one_line("a\\nb  c\\u202e")
    'a b c'
    """
    kept = (" " if c.isspace() or unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    shown = (c for c in kept if c in JOINERS or unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    return " ".join("".join(shown).split())


def cut(text: str, most: int) -> str:
    """A text on one line, cut in the middle where it is longer than ``most`` letters: between words where it has any.

    >>> cut("A floor of many humps and hollows over the whole hall", 40), cut("x" * 50, 36)
    ('A floor of many … the whole hall', 'xxxxxxxxxxxxxxxx ... xxxxxxxxxxxxxx')
    """
    line = one_line(text)
    if len(line) <= most:
        return line
    half = (most - 3) // 2
    start, end = line[: half + 1].rpartition(" ")[0], line[-half - 1 :].partition(" ")[2]
    # words longer than a quarter of the room are cut themselves
    return f"{start} … {end}" if min(len(start), len(end)) > most // 4 else shorten(line, most)[1:-1]


def _breakable(text: str) -> str:
    words = text.split(" ")
    return " ".join(
        BREAK.join(word[i : i + LONGEST_WORD] for i in range(0, len(word), LONGEST_WORD)) or word for word in words
    )
