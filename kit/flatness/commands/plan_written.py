"""What people write behind the options of ``flatness plan``: fixed spots, what lies beneath, members."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import shapely
from shapely import Polygon

from flatness.commands.options import with_unit
from flatness.corrections.beneath import KINDS as BENEATH_KINDS
from flatness.corrections.beneath import Beneath
from flatness.corrections.members import KINDS as MEMBER_KINDS
from flatness.corrections.members import Members, kind_named, member_layout
from flatness.corrections.terms import FixedSpot
from flatness.errors import ArgumentError, FlatnessError
from flatness.lengths import format_length
from flatness.survey.cells import nearest
from flatness.survey.readings import Survey

FIXED_FORM = "X,Y[,HEIGHT or 'as found'][,ALLOWANCE][,NAME][,meant]"
FIXED_SUCH_AS = "'0in,8ft,as found,1/16in,door sill' or '3ft,4ft,drop 41-3/8in,hearth'"
BENEATH_FORM = "KIND[; may be planed][; most 1/8in][; depth 9-1/4in][; span 0in,12ft][; along y][; ends 2ft][; area (X,Y) (X,Y) ...]"  # fmt: skip # noqa: E501
MEMBERS_FORM = "KIND first 8in spacing 16in along y [until 12ft] [depth 9-1/4in] [flange 1-1/2in] [thickness 1-1/2in] [from 0in] [to 12ft]"  # fmt: skip # noqa: E501
MEMBER_WORDS = (
    "first", "spacing", "along", "until", "count", "at", "depth", "flange", "thickness", "from", "to",
)  # fmt: skip
NOT_A_HEIGHT_MM = 304.8  # a finished height farther off the surface is a slip: of the sign, or of what it is off
_CORNER = re.compile(r"\(([^()]*)\)")


@contextmanager
def located(option: str) -> Iterator[None]:
    """Errors of what is made of an option are bad input, and name the option in place of an argument."""
    try:
        yield
    except FlatnessError as error:
        raise ArgumentError(tuple(replace(problem, column=option) for problem in error.problems)) from error


# what an argument of the planner is called on the command line
OPTION_OF = {name: f"--{name}" for name in ("fixed", "beneath", "members", "way", "plane")} | {
    "limits": "--limit", "beneath, members": "--beneath, --members",
}  # fmt: skip


@contextmanager
def named_as_options() -> Iterator[None]:
    """Errors of the planner's arguments name the option instead."""
    try:
        yield
    except ArgumentError as error:
        problems = (replace(one, column=OPTION_OF.get(one.column or "", one.column)) for one in error.problems)
        raise ArgumentError(tuple(problems)) from error


def read_height(text: str, survey: Survey, option: str) -> float:
    """A finished height [mm]: off the survey's datum, or ``drop`` and what the rod shall read below the line."""
    word, _, rest = text.strip().partition(" ")
    if word.casefold() != "drop":
        return with_unit(text, option)
    if survey.line_height is None:
        raise ArgumentError(
            "a drop, where the readings are not drops off one line", column=option, value=text,
            expected="a height off the survey's datum, toward the room positive", remedy="such as 12mm or -3/8in",
        )  # fmt: skip
    return survey.line_height - with_unit(rest, option)


def fixed_spot(text: str, survey: Survey) -> FixedSpot:
    """A spot whose finished height is given, from ``X,Y[,HEIGHT or 'as found'][,ALLOWANCE][,NAME][,meant]``."""
    option, parts = "--fixed", [part.strip() for part in text.split(",")]
    if len(parts) < 2 or not all(parts):
        raise ArgumentError(
            "a fixed spot that cannot be read", column=option, value=text, expected=FIXED_FORM,
            remedy=f"such as {FIXED_SUCH_AS}",
        )  # fmt: skip
    x, y = (with_unit(part, option) for part in parts[:2])
    rest, height, allowance = parts[2:], None, 0.0
    meant = bool(rest) and rest[-1].casefold() == "meant"  # asked about a height far off the surface, they say so
    rest = rest[:-1] if meant else rest
    if rest and rest[0].casefold() == "as found":
        rest = rest[1:]
    elif rest and (_is_number(rest[0]) or rest[0].casefold().startswith("drop ")):
        height, rest = read_height(rest[0], survey, option), rest[1:]
    if rest and _is_number(rest[0]):
        allowance, rest = with_unit(rest[0], option), rest[1:]
    if len(rest) > 1:
        raise ArgumentError(
            "more than a fixed spot takes", column=option, value=", ".join(rest), expected=FIXED_FORM,
            remedy=f"such as {FIXED_SUCH_AS}; a name has no comma",
        )  # fmt: skip
    with located(option):
        return FixedSpot(x, y, height, allowance, rest[0] if rest else "", meant)


def check_height(spot: FixedSpot, survey: Survey) -> None:
    """Refuse a finished height so far off all that was read that its sign, or what it is off, is a slip."""
    if spot.height is None:
        return
    heights = survey.points["height"]
    off = max(float(heights.min()) - spot.height, spot.height - float(heights.max()))
    if off > NOT_A_HEIGHT_MM:
        raise ArgumentError(
            "a finished height far off the surface", column="--fixed",
            value=f"{spot.height:.1f} mm, which is {format_length(off, 'ft', 8)} ({off:.0f} mm) "
            f"{'above' if spot.height > float(heights.max()) else 'below'} it",
            expected="within a foot of the surface, off the survey's datum, toward the room positive",
            remedy="check its sign; where drops were read, write what the rod reads: drop 41-3/8in",
        )  # fmt: skip


def _is_number(text: str) -> bool:
    """Whether it is meant as a length: a name begins with neither digit nor sign."""
    return text[0] in "+-−." or text[0].isnumeric()


def lying_beneath(text: str) -> Beneath:
    """What lies beneath, from its kind and what is said of it, parted by semicolons."""
    option, parts = "--beneath", [part.strip() for part in text.split(";") if part.strip()]
    kind = _kind(parts[0] if parts else "", BENEATH_KINDS, option)
    said: dict[str, Any] = {}
    for part in parts[1:]:
        key, value = _said_of(part, option)
        if key in said:
            raise ArgumentError("said twice", column=option, value=part, expected="each part once")
        said[key] = value
    with located(option):
        return Beneath(kind, **said)


def _said_of(part: str, option: str) -> tuple[str, Any]:
    word, _, rest = part.partition(" ")
    rest = rest.strip()
    match word.casefold():
        case "may" if part.casefold().split() == ["may", "be", "planed"]:
            return "may_be_planed", True
        case "most":
            return "most_planed", with_unit(rest, option)
        case "depth" | "ends":
            return word.casefold(), with_unit(rest, option)
        case "along":
            return "direction", rest.casefold()
        case "span":
            return "span", tuple(with_unit(one.strip(), option) for one in rest.split(","))
        case "area":
            return "area", _area(rest, option)
    raise ArgumentError(
        "not known of what lies beneath", column=option, value=part, expected=BENEATH_FORM,
        remedy="part what you say by semicolons",
    )  # fmt: skip


def _area(text: str, option: str) -> Polygon:
    corners = [one.split(",") for one in _CORNER.findall(text)]
    if len(corners) >= 3 and not _CORNER.sub("", text).strip(" ,") and all(len(corner) == 2 for corner in corners):
        places = [tuple(with_unit(one.strip(), option) for one in corner) for corner in corners]
        area = Polygon(places)
        if shapely.is_valid(area) and area.area > 0:
            return area
    raise ArgumentError(
        "corners that bound no area", column=option, value=text,
        expected="three corners or more in turn, such as area (0in,0in) (4ft,0in) (4ft,6ft)",
    )  # fmt: skip


def members_of(text: str, survey: Survey, option: str = "--members") -> Members:
    """Members from their kind and words with a length each; without an end they reach as far as the readings."""
    pieces = re.split(rf"\b({'|'.join(MEMBER_WORDS)})\b", text.strip(), flags=re.IGNORECASE)
    kind = _kind(pieces[0].strip(" ,;"), tuple(MEMBER_KINDS), option)
    given: dict[str, str] = {}
    for word, value in zip(pieces[1::2], (piece.strip(" ,;") for piece in pieces[2::2]), strict=True):
        if word.casefold() in given or not value:
            raise ArgumentError(
                f"'{word}' {'without what belongs to it' if not value else 'said twice'}", column=option, value=text,
                expected=MEMBERS_FORM,
            )  # fmt: skip
        given[word.casefold()] = value
    direction = given.pop("along", "").casefold()
    if direction not in ("x", "y"):
        raise ArgumentError(
            "which way the members run is not said", column=option, value=direction or text,
            expected="along x, or along y", remedy=f"such as {MEMBERS_FORM}",
        )  # fmt: skip
    layout = _layout(given, direction, survey, option)
    sizes: dict[str, Any] = {
        name: with_unit(given[name], option) for name in ("depth", "flange", "thickness") if name in given
    }
    for word, ours in (("from", "start"), ("to", "end")):
        sizes |= {ours: with_unit(given[word], option)} if word in given else {}
    with located(option):
        return member_layout(direction=direction, kind=kind, **layout, **sizes)


def _layout(given: dict[str, str], direction: str, survey: Survey, option: str) -> dict[str, Any]:
    if "at" in given:
        found: dict[str, Any] = {"positions": [with_unit(one.strip(), option) for one in given["at"].split(",")]}
        extra = [word for word in ("first", "spacing", "until", "count") if word in given]
        if extra:
            raise ArgumentError(
                "places, and a spacing besides", column=option, value=", ".join(extra),
                expected="'at 8in, 24in, 41in' alone, or first, spacing and until",
            )  # fmt: skip
        return found
    missing = [word for word in ("first", "spacing") if word not in given]
    if missing:
        raise ArgumentError(
            f"the layout lacks {' and '.join(missing)}", column=option, value=" ".join(given) or "nothing",
            expected=MEMBERS_FORM, remedy="or give each place: at 8in, 24in, 41in",
        )  # fmt: skip
    found = {word: with_unit(given[word], option) for word in ("first", "spacing", "until") if word in given}
    if "count" in given:
        if not given["count"].isdecimal() or "until" in given:
            raise ArgumentError(
                "a count that cannot be used", column=option, value=given["count"],
                expected="a whole number, in place of until",
            )  # fmt: skip
        found["count"] = int(given["count"])
    elif "until" not in given:
        across = "x" if direction == "y" else "y"
        found["until"] = float(survey.points[across].max())
    return found


def _kind(text: str, known: tuple[str, ...], option: str) -> str:
    found = kind_named(text, known)
    if found is not None:
        return found
    near = f"did you mean {nearest(text, known)}?" if text else "name what it is first"
    raise ArgumentError(
        "unknown kind" if text else "no kind", column=option, value=text or None, expected=", ".join(known),
        remedy=near,
    )  # fmt: skip
