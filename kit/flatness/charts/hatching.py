"""How each action of a plan is drawn, by colour and by pattern, and the key that says what they mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.offsetbox import AnnotationBbox, DrawingArea
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from flatness.charts.axes import INK, SMALL, note, text_width, wrap

SWATCH, HIGH = 30.0, 14.0  # of a sample in the key [points]
AFTER, BETWEEN, ROW = 7.0, 20.0, 20.0  # sample to words, column to column, row to row [points]


@dataclass(frozen=True)
class Pattern:
    """Colour, hatch and the hatch's colour of an action or a place, a few words, and the texture on papers."""

    face: str
    hatch: str = ""
    line: str = ""
    words: str = ""
    texture: str = ""


# Light enough that dark numbers stay readable on each (over 7:1); hues stay apart for eyes that see no red or no
# green, and hatches where there is no colour at all. As on the papers a high place, to be planed, is orange, and a low
# one, to be filled, blue.
PATTERNS = {
    "leave": Pattern("#f6f6f3", "", "#f6f6f3", "leave as it is"),
    "engineer": Pattern("#dc9cc4", "xxx", "#7d2459", "ask the engineer or the maker before taking off"),
    "plane": Pattern("#ffd98f", "////", "#b0690f", "plane: take off"),
    "sister": Pattern("#b9e0b4", "---", "#3b7a2e", "sister: raise the members"),
    "fur": Pattern("#a9d8c0", "+++", "#1f6f5f", "fur out to the target"),
    "fill": Pattern("#93c5ee", "...", "#1f5c96", "fill"),
    # on papers: what a place was found to be, and which way it is moved
    "fine": Pattern("#E9F1EC"),
    "whole": Pattern("#E2E5E9"),  # no single place breaks the limit
    "near": Pattern("#F6E2A0", line="#7A5B00", texture="dots"),
    "high": Pattern("#D2600A", line="#5A2500", texture="slant"),
    "higher": Pattern("#B24E05", line="#4A1E00", texture="slant"),
    "low": Pattern("#2B69AD", line="#CFE3F7", texture="waves"),
    "lower": Pattern("#1E4E86", line="#CFE3F7", texture="waves"),
    "bar": Pattern("#E9A58C", line="#7A1F0A", texture="upright"),
    "undecided": Pattern("#E4DAF3", line="#6A3FA0", texture="upright"),
    "unread": Pattern("#FFFFFF", line="#7C868E", texture="level"),
    "accepted": Pattern("#CFE6D8"),
    "add": Pattern("#E3EEF9", line="#2B69AD", texture="dots"),
    "off": Pattern("#FBEBDD", line="#D2600A", texture="slant"),
}


@dataclass(frozen=True)
class Entry:
    """One line of the key: its artist, sized ``SWATCH`` x ``HIGH`` points from (0, 0), and its words."""

    name: str
    sample: Artist
    words: str


def area_entry(action: str, more: str = "") -> Entry:
    """A filled and hatched sample of an action; ``more`` is said after its words."""
    sample = Rectangle((0, 0), SWATCH, HIGH, edgecolor=INK, linewidth=0.8, facecolor=PATTERNS[action].face)
    return Entry(action, sample, f"{PATTERNS[action].words}{more}")


def line_entry(name: str, words: str, **style: Any) -> Entry:
    """A sample of a line, or of a marker where ``marker`` is given."""
    xs = [SWATCH / 2] if style.get("marker") else [0, SWATCH]
    return Entry(name, Line2D(xs, [HIGH / 2] * len(xs), **style), words)


@dataclass(frozen=True, eq=False)
class Key:
    """The key as drawn: name, samples and words of each entry."""

    names: tuple[str, ...]
    boxes: tuple[AnnotationBbox, ...]
    samples: tuple[Artist, ...]
    words: tuple[Annotation, ...]


def _layout(entries: Sequence[Entry], width: float) -> tuple[list[tuple[str, float, float]], float]:
    """Words of each entry broken into lines, how far right and down it stands, and the height of all [points]."""
    widest = SWATCH + AFTER + max(text_width(entry.words, SMALL) for entry in entries)
    columns = max(1, min(int((width + BETWEEN) // (widest + BETWEEN)), len(entries), 3))
    rows = -(-len(entries) // columns)
    pitch = (width + BETWEEN) / columns
    words = [wrap(entry.words, pitch - BETWEEN - SWATCH - AFTER, SMALL) for entry in entries]
    lines = [max(text.count("\n") for text in words[row::rows]) for row in range(rows)]
    deep = [ROW + more * SMALL * 1.25 for more in lines]
    return [(text, i // rows * pitch, sum(deep[: i % rows])) for i, text in enumerate(words)], sum(deep)


def key_points(entries: Sequence[Entry], width: float) -> float:
    """Height of the key [points] when it is this wide [points]."""
    return _layout(entries, width)[1]


def put_key(ax: Axes, entries: Sequence[Entry], width: float) -> Key:
    """The key from the upper left corner of the axes, column by column, this wide [points]."""
    boxes, texts = [], []
    for entry, (words, right, down) in zip(entries, _layout(entries, width)[0], strict=True):
        area = DrawingArea(SWATCH, HIGH, 0, 0)
        for part in (entry.sample, *_hatching(entry)):
            area.add_artist(part)
        put: dict[str, Any] = {"xycoords": "axes fraction", "boxcoords": "offset points", "box_alignment": (0, 1)}
        boxes.append(AnnotationBbox(area, (0, 1), (right, -down), frameon=False, pad=0, annotation_clip=False, **put))
        ax.add_artist(boxes[-1])
        style: dict[str, Any] = {"xycoords": "axes fraction", "va": "top", "parse_math": False, "linespacing": 1.2}
        texts.append(note(ax, words, (0, 1), off=(right + SWATCH + AFTER, -down - 1), **style))
    samples = tuple(entry.sample for entry in entries)
    return Key(tuple(entry.name for entry in entries), tuple(boxes), samples, tuple(texts))


def _hatching(entry: Entry) -> list[Rectangle]:
    pattern = PATTERNS.get(entry.name)
    if pattern is None or not pattern.hatch:
        return []
    style: dict[str, Any] = {"facecolor": "none", "edgecolor": pattern.line, "hatch": pattern.hatch, "linewidth": 0}
    return [Rectangle((0.5, 0.5), SWATCH - 1, HIGH - 1, **style)]
