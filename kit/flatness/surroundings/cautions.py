"""What must be said beside any advice that takes off, adds weight or fastens: each caution once, with its source.

The kit measures and plans; it does not design structure. Local codes and licensed practice decide.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flatness.errors import ArgumentError

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Caution:
    """One caution.

    Attributes
    ----------
    key : its short name
    text : what is printed
    source : where it comes from, and how it was seen
    """

    key: str
    text: str
    source: str


_ALL = (
    Caution(
        "plane",
        "Plane only where you have seen what lies beneath (fasteners, pipes, cables, the edge of a sheet) and know "
        "that it may be planed.",
        NO_SOURCE,
    ),
    Caution(
        "notch",
        "Sawn joists: a notch is at most 1/6 of the depth (1/4 at the ends of the member), and none is in the "
        "middle third of the span. How long a notch may be is limited too: see your code.",
        "IRC R502.8.1, as quoted by others; check your copy",
    ),
    Caution(
        "engineered",
        "Engineered members (I-joists, trusses, LVL, LSL) are not cut, notched, bored or planed unless their maker "
        "or a design professional allows it; a damaged or cut chord goes to them as well.",
        "IRC R502.8.2",
    ),
    Caution(
        "load",
        "Fill, sisters and boards add weight for good: have the added load checked against what the framing may "
        "carry before it goes in.",
        NO_SOURCE,
    ),
    Caution(
        "fasten",
        "Fastening patterns, adhesives and what may be fastened to a flange or chord are for the maker, the "
        "engineer and the local code to say. Shore what stops carrying while it is worked on.",
        NO_SOURCE,
    ),
    Caution(
        "stairs",
        "Risers of one flight differ by at most 3/8 in, so a change of floor height at a stair changes its first "
        "or last riser: measure the whole flight before the floor is raised or lowered.",
        "IRC R311.7.5.1, as quoted by others; check your copy",
    ),
    Caution(
        "dust",
        "Sanding, grinding and mixing raise dust that harms the lungs, and old coatings and adhesives may hold lead "
        "or asbestos: have them tested, extract at the tool and wear a fitting mask.",
        NO_SOURCE,
    ),
    Caution(
        "authority",
        "These are measurements and a plan of work, not a structural design: the local code and licensed practice "
        "decide.",
        NO_SOURCE,
    ),
)
CAUTIONS: dict[str, Caution] = {caution.key: caution for caution in _ALL}

# which cautions each kind of advice carries
ADVICE: dict[str, tuple[str, ...]] = {
    "leave": (),
    "plane": ("plane", "notch", "engineered", "dust", "authority"),
    "take down": ("plane", "notch", "engineered", "dust", "authority"),
    "fill": ("load", "dust", "authority"),
    "sister": ("engineered", "load", "fasten", "authority"),
    "fur": ("load", "fasten", "authority"),
    "block": ("engineered", "fasten", "authority"),
    "change of height": ("stairs", "authority"),
}


def in_order(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    """Each caution once, in a fixed order.

    >>> [one.key for one in in_order([CAUTIONS["load"], CAUTIONS["plane"], CAUTIONS["load"]])]
    ['plane', 'load']
    """
    said = {caution.key for caution in cautions}
    return tuple(caution for caution in _ALL if caution.key in said)


def cautions_for(advice: Iterable[str]) -> tuple[Caution, ...]:
    """The cautions that these kinds of advice carry, each once, in a fixed order.

    Parameters
    ----------
    advice : names of :data:`ADVICE`, such as ``plane`` or ``sister``, or keys of :data:`CAUTIONS`

    Raises
    ------
    ArgumentError : a name that is neither

    Examples
    --------
    >>> [caution.key for caution in cautions_for(["fill", "sister", "fill"])]
    ['engineered', 'load', 'fasten', 'dust', 'authority']
    """
    wanted: set[str] = set()
    for name in (advice,) if isinstance(advice, str) else advice:
        if name not in ADVICE and name not in CAUTIONS:
            what, remedy = "no cautions are known for this advice", "name the kind of advice, or add its cautions first"
            raise ArgumentError(what, value=str(name), expected=", ".join([*ADVICE, *CAUTIONS]), remedy=remedy)
        wanted.update(ADVICE.get(name, (name,)))
    return tuple(caution for caution in _ALL if caution.key in wanted)
