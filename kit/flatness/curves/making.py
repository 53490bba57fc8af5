"""Curves from the sizes that people give: radius, chord and rise, length and width, pieces in order."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

from flatness.curves.shapes import TURN, Chain, Curve, Ellipse, Piece
from flatness.errors import ArgumentError, check_above_zero
from flatness.measures.bars import Place
from flatness.survey.cells import nearest

KINDS = ("arc", "ellipse", "oval", "chain")
FORMS = {
    "arc": "arc radius 12 ft; or arc chord 48 in, rise 9 in; and center (0, 0), from 30 to 150 degrees",
    "ellipse": "ellipse length 20 ft, width 14 ft; and center (0, 0), turned 10 degrees",
    "oval": "oval length 20 ft, width 14 ft; and small radius 5 ft, center (0, 0), turned 10 degrees",
    "chain": "chain straight 4 ft, arc radius 3 ft left 90 degrees, straight 2 ft; and start (0, 0), heading 0 degrees",
}


def make_arc(
    *,
    radius: float | None = None,
    chord: float | None = None,
    rise: float | None = None,
    centre: Place = (0.0, 0.0),
    first: float | None = None,
    last: float | None = None,
) -> Chain:
    """An arc or a whole circle.

    Parameters
    ----------
    radius, centre : [mm]; ``first`` to ``last`` are the angles that it spans counterclockwise, degrees from x; the
        whole circle where neither is given
    chord, rise : [mm] instead of a radius: the arc over a chord from (0, 0) to (chord, 0), which rises toward y; a rise
        below zero bulges the other way

    Raises
    ------
    ArgumentError : sizes that make no arc
    """
    if (radius is None) == (chord is None or rise is None):
        raise ArgumentError("an arc from neither or both", expected="a radius, or a chord and a rise, in mm")
    if radius is None:
        assert chord is not None
        assert rise is not None
        return _over_chord(chord, rise)
    check_above_zero(radius=radius)
    if (first is None) != (last is None):
        raise ArgumentError("one end of an arc is missing", expected="both angles, or neither for a whole circle")
    closed = first is None
    start = 0.0 if first is None else math.radians(first)
    sweep = TURN if last is None else math.radians(last) - start
    if not closed:
        sweep = sweep % TURN or TURN
        closed = sweep == TURN
    place = (centre[0] + radius * math.cos(start), centre[1] + radius * math.sin(start))
    piece = Piece(radius * sweep, 1 / radius)
    return Chain(start=place, start_heading=start + math.pi / 2, pieces=(piece,), closed=closed, kind="arc")


def _over_chord(chord: float, rise: float) -> Chain:
    if not (math.isfinite(chord) and chord > 0 and math.isfinite(rise) and rise != 0):
        expected = "a chord above 0 mm and a rise that is not 0"
        raise ArgumentError("no such arc", value=f"chord {chord:g} mm, rise {rise:g} mm", expected=expected)
    high = abs(rise)
    radius = (chord * chord / 4 + high * high) / (2 * high)
    # counterclockwise: over a chord along x an arc that rises runs from its right end to its left
    half = 2 * math.atan2(high, chord / 2)
    piece = Piece(2 * half * radius, 1 / radius)
    start, heading = ((chord, 0.0), math.pi - half) if rise > 0 else ((0.0, 0.0), -half)
    return Chain(start=start, start_heading=heading, pieces=(piece,), kind="arc")


def make_ellipse(*, length: float, width: float, centre: Place = (0.0, 0.0), turned: float = 0.0) -> Ellipse:
    """An ellipse of this length and width [mm]; ``turned``: degrees from x to its length, counterclockwise."""
    a, b = _halves(length, width)
    return Ellipse(centre=centre, axes=(a, b), turned=math.radians(turned))


def make_oval(
    *, length: float, width: float, small_radius: float | None = None, centre: Place = (0.0, 0.0), turned: float = 0.0
) -> Chain:
    """A four-centre oval: four arcs, tangent where they meet.

    Parameters
    ----------
    length, width : [mm]
    small_radius : of the two end arcs [mm], under half the width; None takes the draftsman's construction, which comes
        near the ellipse: strike the difference of the half axes off the diagonal from the end of the short one, and
        erect the bisector of the rest
    centre, turned : (x, y) [mm]; degrees from x to its length, counterclockwise

    Raises
    ------
    ArgumentError : sizes that make no oval

    Notes
    -----
    With half axes a and b and end radius r, arcs are tangent where both centres and the joint lie on one line:
    (a - r)^2 + (R - b)^2 = (R - r)^2, so the radius of the sides is R = ((a - r)^2 + b^2 - r^2) / (2 (b - r)).
    """
    a, b = _halves(length, width)
    if a == b:
        raise ArgumentError("as long as it is wide: a circle", value=f"{length:g} mm", expected="`arc` with a radius")
    diagonal = math.hypot(a, b)
    r = diagonal * (diagonal - (a - b)) / (2 * a) if small_radius is None else small_radius
    if not (math.isfinite(r) and 0 < r < b):
        raise ArgumentError(
            "small radius out of range", value=f"{r:g} mm", expected=f"above 0 and under half the width, {b:g} mm"
        )
    large = ((a - r) ** 2 + b * b - r * r) / (2 * (b - r))
    half_end = math.atan2(large - b, a - r)  # from the long axis to the joint, seen from the end's centre
    end, side = Piece(2 * half_end * r, 1 / r), Piece((math.pi - 2 * half_end) * large, 1 / large)
    half = Piece(half_end * r, 1 / r)
    angle = math.radians(turned)
    start = (centre[0] + a * math.cos(angle), centre[1] + a * math.sin(angle))
    return Chain(
        start=start, start_heading=angle + math.pi / 2, pieces=(half, side, end, side, half), closed=True, kind="oval"
    )


def _halves(length: float, width: float) -> tuple[float, float]:
    if not (math.isfinite(length) and math.isfinite(width) and length >= width > 0):
        remedy = "give the longer as the length, and turn it where it lies the other way"
        what, expected = "length and width out of range", "both above zero, the length no less than the width"
        raise ArgumentError(what, value=f"length {length:g} mm, width {width:g} mm", expected=expected, remedy=remedy)
    return length / 2, width / 2


def make_chain(
    pieces: Sequence[Piece | tuple[float, float]],
    *,
    start: Place = (0.0, 0.0),
    heading: float = 0.0,
    kinks: Sequence[float] = (),
    closed: bool = False,
) -> Chain:
    """A chain of straights and arcs.

    Parameters
    ----------
    pieces : each a :class:`Piece`, or (length [mm], radius [mm]): positive turns left, negative right, 0 is straight
    start, heading : its first end (x, y) [mm] and direction there [degrees]
    kinks : by how many degrees the tangent turns left at each join; tangent joins where not given
    closed : whether it ends where it starts, which is checked

    Raises
    ------
    ArgumentError : a piece without length, kinks that are not one a join, a closed chain that does not close
    """
    made = tuple(p if isinstance(p, Piece) else Piece(p[0], 1 / p[1] if p[1] else 0.0) for p in pieces)
    chain = Chain(start=start, start_heading=math.radians(heading), pieces=made, kinks=tuple(map(math.radians, kinks)))
    if not closed:
        return chain
    x, y = chain.at(chain.length)
    apart = math.dist((float(x), float(y)), start)
    if apart > 0.5:
        raise ArgumentError("the chain does not close", value=f"its ends stand {apart:.1f} mm apart", expected="0 mm")
    return Chain(
        start=start, start_heading=chain.start_heading, pieces=made, kinks=tuple(map(math.radians, kinks)), closed=True
    )


_PLACE = r"\(\s*([^()]+?)\s*\)"


def read_curve(text: str, read: Callable[[str], float]) -> Curve | str:
    """The curve that a line such as ``arc radius 12 ft`` or ``ellipse length 20 ft, width 14 ft`` gives.

    Parameters
    ----------
    text : kind and sizes; ``fitted arc`` (or another kind) asks for a fit to the readings
    read : gives a length [mm] of its text

    Returns
    -------
    Curve, or the name of the kind that is to be fitted

    Raises
    ------
    ArgumentError : what cannot be read, with the form that can
    LengthError : as ``read`` raises it
    """
    words = text.strip().rstrip(".")
    kind = words.split()[0].lower().rstrip(",:") if words else ""
    if kind == "fitted":
        wanted = words.split()[1].lower() if len(words.split()) == 2 else ""
        if wanted not in KINDS:
            raise ArgumentError("unknown curve to fit", value=text, expected=f"fitted {', fitted '.join(KINDS)}")
        return wanted
    if kind not in KINDS:
        remedy = f"did you mean `{nearest(kind, KINDS)}`?" if kind else None
        raise ArgumentError("unknown curve", value=text, expected="; ".join(FORMS.values()), remedy=remedy)
    return _Sizes(kind, words[len(kind) :].strip(" ,:"), text, read).curve()


class _Sizes:
    """Takes one size after another out of the text, so that what is left over is known."""

    def __init__(self, kind: str, rest: str, text: str, read: Callable[[str], float]) -> None:
        self.kind, self.rest, self.text, self.read = kind, rest, text, read

    def error(self, what: str, value: str | None = None) -> ArgumentError:
        remedy = "write each size behind its name, with its unit"
        return ArgumentError(what, value=value or self.text, expected=FORMS[self.kind], remedy=remedy)

    def curve(self) -> Curve:
        if self.kind == "chain":
            return self._chain()
        place = self._place("cent(?:re|er)") or (0.0, 0.0)
        made: Curve
        if self.kind == "arc":
            span = self._take(r"from\s+([-+\d.]+)\s*(?:degrees|deg|°)?\s+to\s+([-+\d.]+)\s*(?:degrees|deg|°)?")
            radius, chord, rise = (self._length(name) for name in ("radius", "chord", "rise"))
            self._done()
            if (radius is None) == (chord is None or rise is None):
                raise self.error("an arc needs a radius, or a chord and a rise")
            first, last = (self._number(part) for part in span) if span else (None, None)
            made = make_arc(radius=radius, chord=chord, rise=rise, centre=place, first=first, last=last)
        else:
            turned = self._take(r"turned\s+([-+\d.]+)\s*(?:degrees|deg|°)?")
            small = self._length("small radius") if self.kind == "oval" else None
            length, width = self._length("length"), self._length("width")
            self._done()
            if length is None or width is None:
                raise self.error(f"an {self.kind} needs its length and its width")
            angle = self._number(turned[0]) if turned else 0.0
            made = (
                make_oval(length=length, width=width, small_radius=small, centre=place, turned=angle)
                if self.kind == "oval"
                else make_ellipse(length=length, width=width, centre=place, turned=angle)
            )
        return made

    def _chain(self) -> Curve:
        start = self._place("start") or (0.0, 0.0)
        heading = self._take(r"heading\s+([-+\d.]+)\s*(?:degrees|deg|°)?")
        closed = self._take(r"(closed)") is not None
        pieces: list[Piece] = []
        for part in (one.strip() for one in re.split(r"[,;]", self.rest)):
            if not part:
                continue
            straight = re.fullmatch(r"straight\s+(.+)", part, re.IGNORECASE)
            arc = re.fullmatch(
                r"arc\s+radius\s+(.+?)\s+(left|right)\s+([\d.]+)\s*(?:degrees|deg|°)?", part, re.IGNORECASE
            )
            if straight:
                pieces.append(Piece(self.read(straight[1])))
            elif arc:
                radius, turn = self.read(arc[1]), math.radians(self._number(arc[3]))
                pieces.append(Piece(radius * turn, (1 if arc[2].lower() == "left" else -1) / radius))
            else:
                raise self.error("a piece of the chain cannot be read", part)
        if not pieces:
            raise self.error("a chain needs its pieces")
        return make_chain(pieces, start=start, heading=self._number(heading[0]) if heading else 0.0, closed=closed)

    def _take(self, pattern: str) -> tuple[str, ...] | None:
        found = re.search(pattern, self.rest, re.IGNORECASE)
        if found is None:
            return None
        self.rest = self.rest[: found.start()] + self.rest[found.end() :]
        return found.groups()

    def _length(self, name: str) -> float | None:
        found = self._take(rf"{name}\s+([^,;a-z]+(?:\s*(?:in|ft|mm|cm|m|inch|inches|feet|foot)\b\.?)?)")
        return None if found is None else self.read(found[0].strip())

    def _place(self, name: str) -> Place | None:
        found = self._take(rf"{name}\s*{_PLACE}")
        if found is None:
            return None
        parts = found[0].split(",")
        if len(parts) != 2:
            raise self.error("a place is not two lengths", found[0])
        return self.read(parts[0].strip()), self.read(parts[1].strip())

    def _number(self, text: str) -> float:
        try:
            return float(text)
        except ValueError:
            raise self.error("an angle cannot be read", text) from None

    def _done(self) -> None:
        if self.rest.strip(" ,;"):
            raise self.error("a size that is not known", self.rest.strip(" ,;"))
