"""Places said to be unchanged between two surveys: typed as people write them, clicked on the map, and shown there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from matplotlib.axes import Axes

from flatness.errors import ArgumentError, LengthError
from flatness.lengths import format_length, parse_length
from flatness.measures.measured import Place
from flatness.show.axes import INK, SMALL
from flatness.survey.readings import Survey

NEEDED = {"offset": 1, "tilt": 3}  # places, by what is looked for on them
EXAMPLE = {"in": "4 ft, 2 ft 6 in; 10 ft, 3 ft", "mm": "1.2 m, 0.8 m; 3 m, 900 mm"}
Unchanged = Place | str


def read_places(text: str, unit: str) -> tuple[Unchanged, ...]:
    """Places [mm] and labels of stations from what was typed: ``x, y`` or a label, with ; between.

    Parameters
    ----------
    text : as typed
    unit : ``in`` or ``mm``; bare numbers are feet, or millimetres

    Raises
    ------
    ArgumentError, LengthError : what is no place

    Examples
    --------
    >>> read_places("1 m, 500; A7", "mm")
    ((1000.0, 500.0), 'A7')
    """
    return tuple(_read(part.strip(), unit) for part in text.split(";") if part.strip())


def _read(part: str, unit: str) -> Unchanged:
    if "," not in part:
        return part
    try:
        x, y = (parse_length(one, "ft" if unit == "in" else "mm") for one in part.split(","))
    except (LengthError, ValueError) as error:
        raise ArgumentError(
            "not a place", column="Unchanged", value=part, expected="x, y or the label of a station, with ; between",
            remedy=f"type places such as {EXAMPLE[unit]}",
        ) from error  # fmt: skip
    return x, y


def write_places(places: Sequence[Unchanged], unit: str) -> str:
    """The same as text that :func:`read_places` reads.

    Examples
    --------
    >>> write_places([(1219.2, 0.0), "A7"], "in")
    '4\\' 0", 0"; A7'
    """
    return "; ".join(one if isinstance(one, str) else ", ".join(_far(at, unit) for at in one) for one in places)


def _far(mm: float, unit: str) -> str:
    return format_length(mm, "ft", 16) if unit == "in" else format_length(mm, "m")


def missing_words(places: Sequence[Unchanged], way: str) -> str:
    """What is still missing for an alignment on these places; empty where nothing is, or where none are given.

    Examples
    --------
    >>> missing_words([(0.0, 0.0)], "tilt")
    '1 place so far; a tilt needs 3 not on one line. Until then it goes by the stations that agree.'
    """
    needed = NEEDED.get(way, 0)
    if not 0 < len(places) < needed:
        return ""
    count = f"{len(places)} place{'' if len(places) == 1 else 's'} so far"
    return f"{count}; a {way} needs {needed} not on one line. Until then it goes by the stations that agree."


def draw_places(ax: Axes, places: Sequence[Unchanged], surveys: Sequence[Survey]) -> None:
    """Mark the places on a map of what changed, numbered as they are listed."""
    for number, x, y in _at(places, surveys):
        ax.plot([x], [y], marker="s", markersize=9, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.8,
                linestyle="none", zorder=8, scalex=False, scaley=False)  # fmt: skip
        ax.annotate(
            str(number), (x, y), (7, 6), textcoords="offset points", fontsize=SMALL, fontweight="bold", color=INK,
            zorder=9, bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": INK},
        )  # fmt: skip


def _at(places: Sequence[Unchanged], surveys: Sequence[Survey]) -> Iterator[tuple[int, float, float]]:
    for number, one in enumerate(places, 1):
        if not isinstance(one, str):
            yield number, *one
            continue
        for survey in surveys:
            here = survey.points[survey.points["label"] == one]
            if len(here):
                yield number, float(here["x"].iloc[0]), float(here["y"].iloc[0])
                break
