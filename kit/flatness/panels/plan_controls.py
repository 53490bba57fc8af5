"""The controls of the Plan panel: one table names each of them, and all else follows from it.

A control stands for a trait of the state, or for an attribute of a record that a trait holds. What is typed is read
into it; what the state holds is shown in it; the label tells the unit. A text that cannot be read stays in its field,
and what is wrong with it stays said, until it is put right.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from operator import attrgetter
from typing import Any

from flatness.errors import ArgumentError, FlatnessError
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.job.values import parse_amount
from flatness.lengths import MM3_PER_FT3, MM3_PER_LITRE, format_length, parse_length
from flatness.panels.check_state import AGREED
from flatness.panels.controls import (
    HINTS,
    button,
    drop_down,
    is_filling,
    label_of,
    labelled,
    offer,
    put,
    read_far,
    set_steps,
    several,
    show_far,
    slider,
    text_field,
)
from flatness.panels.plan_request import (
    BENCHMARKS,
    BEST,
    CHEAPEST,
    LEAST_WORK,
    LEVEL,
    LEVEL_AT,
    SPOTS,
    STRAPPING,
    Ground,
    Materials,
    Spot,
    Under,
    placed_benchmarks,
)
from flatness.panels.plan_state import SUREST, PlanState
from flatness.planning.quantities import POUND_KG
from flatness.planning.substrate import KINDS as BENEATH_KINDS
from flatness.planning.ways import PROPOSED
from flatness.words.done import depth
from flatness.words.printed import place

Options = Sequence[tuple[str, Any]]
MAY = (("No, or not seen", False), ("Yes, seen", True))
KNOWN = tuple((name.capitalize(), name) for name in BENEATH_KINDS)
TIMES = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0)
STEPS = {"in": (25.4 / 32, 25.4 / 16, 25.4 / 8, 25.4 / 4), "mm": (0.5, 1.0, 2.0, 5.0, 10.0)}
MOST_STEPS = 100
TIMES_LABEL = "Taking off costs [times what adding costs]"
MEANT = (("ask me", False), ("it is meant", True))
NO_FINISH = "(no finish: bring it to the target)"


@dataclass(frozen=True)
class Typed:
    """How a text is read and shown: the unit that the label tells, by ``in`` and ``mm``, and both ways."""

    hint: Mapping[str, str]
    read: Callable[[str, str], Any]
    show: Callable[[Any, str], str]
    empty: Any = None
    needed: bool = False


def _small(mm: float, unit: str) -> str:
    return format_length(mm, unit, 64)


def _listed(text: str, unit: str) -> tuple[float, ...]:
    return tuple(read_far(part, unit) for part in text.split(";") if part.strip())


def _show_list(lengths: Sequence[float], unit: str) -> str:
    return "; ".join(show_far(one, unit) for one in lengths)


def _refuse(what: str, text: str, expected: str, remedy: str) -> ArgumentError:
    return ArgumentError(what, value=text, expected=expected, remedy=remedy)


def _depth(text: str, unit: str) -> float:
    mm = parse_length(text, unit)
    if mm < 0:
        raise _refuse("a depth below zero", text, "a length, 0 or more", "type how deep it is, without a sign")
    return mm


def _bearings(text: str, unit: str) -> tuple[float, ...]:
    places = _listed(text, unit)
    if len(places) == 1 or list(places) != sorted(set(places)):
        remedy = "type both ends, or leave it empty"
        raise _refuse("not bearings", text, "two places or more, rising, with ; between", remedy)
    return places


def _on_sale(text: str, unit: str) -> tuple[float, ...]:
    lengths = _listed(text, unit)
    if any(length <= 0 for length in lengths):
        remedy = "type lengths with ; between, such as 12 ft; 16 ft"
        raise _refuse("not a length on sale", text, "lengths above zero", remedy)
    return lengths


def _number(text: str) -> float:
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return math.nan


def _price(text: str, unit: str) -> float:
    price = _number(text)
    if not 0 < price < 1e12:
        remedy = "type the price of a volume, such as 120, or leave it empty"
        raise _refuse("not a price", text, "a number above zero", remedy)
    return price / VOLUME[unit]


def _share(text: str, _: str) -> float:
    share = _number(text.strip().removesuffix("%")) / 100
    if math.isnan(share):
        raise _refuse("not a share", text, "per cent, such as 10", "type a number, or leave it empty")
    return share


def _amount(kind: str, bare: Mapping[str, str]) -> Callable[[str, str], float]:
    """A number alone is in the unit of the label."""
    return lambda text, unit: parse_amount(
        text if any(letter.isalpha() for letter in text) else f"{text} {bare[unit]}", kind
    )


VOLUME = {"in": MM3_PER_FT3, "mm": MM3_PER_LITRE}
DENSITY = {"in": POUND_KG / MM3_PER_FT3, "mm": 1e-9}
INCH = {"in": "in", "mm": "mm"}
BY_VOLUME = {"in": "lb/ft3", "mm": "kg/m3"}
TYPED = {
    "text": Typed({}, lambda text, _: text.strip(), lambda value, _: str(value), ""),
    "length": Typed(INCH, parse_length, _small, needed=True),
    "depth": Typed(INCH, _depth, _small),
    "off": Typed(INCH, parse_length, _small, 0.0),
    "place": Typed(HINTS, read_far, show_far, needed=True),
    "bearings": Typed(HINTS, _bearings, _show_list, ()),
    "stock": Typed(HINTS, _on_sale, _show_list, ()),
    "price": Typed(
        {"in": "money a ft3", "mm": "money a litre"}, _price, lambda value, unit: f"{value * VOLUME[unit]:.6g}"
    ),
    "volume": Typed(
        {"in": "ft3", "mm": "litres"},
        _amount("volume", {"in": "ft3", "mm": "l"}),
        lambda value, unit: f"{value / VOLUME[unit]:.4g}",
    ),
    "density": Typed(BY_VOLUME, _amount("density", BY_VOLUME), lambda value, unit: f"{value / DENSITY[unit]:.4g}"),
    "share": Typed({"in": "%", "mm": "%"}, _share, lambda value, _: f"{100 * value:.4g}"),
}


Takes = str | Options | Callable[[PlanState], Options]


def _always(_: PlanState) -> bool:
    return True


@dataclass(frozen=True)
class Field:
    """A control.

    Attributes
    ----------
    key : its name: the trait, or ``trait.attribute``, that it stands for; any other is read by a button alone
    takes : how a text is read, of ``TYPED``; or what may be chosen, with the value of each
    label, help : what is read beside it, and on it
    when : whether it matters now
    size : its width, as :func:`~flatness.panels.controls.sized` takes it; ``steps`` is a slider, ``several`` a list
        of which several may be chosen
    """

    key: str
    takes: Takes
    label: str
    help: str
    when: Callable[[PlanState], bool] = _always
    size: str = "short"

    @property
    def trait(self) -> str:
        """The trait of the state; empty where there is none."""
        name = self.key.partition(".")[0]
        return name if hasattr(PlanState, name) else ""

    @property
    def typed(self) -> Typed | None:
        return TYPED[self.takes] if isinstance(self.takes, str) else None

    def options(self, state: PlanState) -> Options:
        if isinstance(self.takes, str):
            return ()
        return self.takes(state) if callable(self.takes) else self.takes


def _finishes(state: PlanState) -> Options:
    return state.offered(NO_FINISH)


def _level(state: PlanState) -> str:
    return "plumb" if state.survey is not None and state.survey.surface == "wall" else "level"


def _targets(state: PlanState) -> Options:
    return [
        ("The least work", LEAST_WORK),
        (f"{_level(state).capitalize()}, at the slider", LEVEL_AT),
        (f"A {_level(state)} plane, least cost", LEVEL),
        ("The best-fit plane, shifted", BEST),
        ("Any plane, least cost", CHEAPEST),
        ("Through the fixed spots", SPOTS),
        ("Through the benchmarks", BENCHMARKS),
    ]


def _planes(state: PlanState) -> Options:
    return [
        (f"One {_level(state)} plane", ""),
        ("The best plane", "best-plane"),
        ("Through the fixed spots", "through-benchmarks"),
        ("A string between the end members", "end-members"),
    ]


def _benchmarks(state: PlanState) -> Options:
    known = placed_benchmarks(state.survey).items()
    return [(f"{name}, {place((one.x, one.y), state.unit)}", name) for name, one in known]


@lru_cache(maxsize=8)
def _steps(reach: float, unit: str) -> Options:
    """Steps from the proudest spot to the lowest, as fine as makes no more than a hundred."""
    step = next((one for one in STEPS[unit] if reach / one <= MOST_STEPS), STEPS[unit][-1])
    return tuple((format_length(k * step, unit, 32), k * step) for k in range(max(1, int(reach // step) + 1) + 1))


def _spots(state: PlanState) -> Options:
    told = []
    for k, spot in enumerate(state.spots):
        how = "as found" if spot.raised == 0 else f"{depth(spot.raised, state.unit)} off what is there"
        within = f", give or take {depth(spot.allowance, state.unit)[1:]}" if spot.allowance > 0 else ""
        name = f"{spot.name}, " if spot.name else ""
        told.append((f"{k + 1}: {name}{place((spot.x, spot.y), state.unit)}, {how}{within}", k))
    return told


def ground_words(one: Ground, unit: str) -> str:
    """A part of the surface and what lies beneath it, in a line."""
    under = one.under
    most = "" if under.most_planed is None else f", {depth(under.most_planed, unit)[1:]} at most"
    may = f"may be taken down{most}" if under.may_be_planed else "nothing comes off"
    return f"{under.kind}, {may}, from {place((one.x0, one.y0), unit)} to {place((one.x1, one.y1), unit)}"


def _grounds(state: PlanState) -> Options:
    return [(f"{k + 1}: {ground_words(one, state.unit)}", k) for k, one in enumerate(state.grounds)]


def _is_least(state: PlanState) -> bool:
    return bool(state.target == LEAST_WORK)


def _is_framed(state: PlanState) -> bool:
    return bool(state.framing.kind)


def _is_strapped(state: PlanState) -> bool:
    return bool(state.framing.kind == STRAPPING)


def _has_spots(state: PlanState) -> bool:
    return bool(state.spots)


def _has_grounds(state: PlanState) -> bool:
    return bool(state.grounds)


def _patches(state: PlanState) -> bool:
    return state.way in (PROPOSED, "patches")


def _agreed(state: PlanState) -> bool:
    return bool(state.finish == AGREED)


def _through(state: PlanState) -> bool:
    return bool(state.target == BENCHMARKS)


def _known(state: PlanState) -> bool:
    return bool(state.under.kind)


def _planed(state: PlanState) -> bool:
    return bool(state.under.kind and state.under.may_be_planed)


def _slides(state: PlanState) -> bool:
    return bool(state.way_asked == "patches" and state.target == LEVEL_AT)


def _all_of(state: PlanState) -> bool:
    return _is_least(state) and state.way not in ("patches", "some-members")


def _banded(state: PlanState) -> bool:
    return _is_least(state) and _patches(state)


def _heights(state: PlanState) -> Options:
    return _steps(state.reach, state.unit)


WAY_NAMES = (
    ("Best way", PROPOSED),
    ("Patches", "patches"),
    ("All members", "members"),
    ("Some members", "some-members"),
    ("Over all", "overlay"),
)
AIMS = (
    ("Surest: as tight as it takes", SUREST),
    ("To the limit itself", 1.0),
    *((f"To {share} % of the limit", share / 100) for share in (85, 70, 55, 40)),
)
ON = (("The likely surface", "likely"), ("The readings as they are", "as-read"))
KINDS = tuple((name, name) for name in MEMBER_KINDS)
CROSSED = tuple(one for one in KINDS if one[1] != STRAPPING)
TIMES_OFF = tuple((f"{value:g} times", value) for value in TIMES)
HEAD, KNOBS, SLIDE = "head", "knobs", "slide"
GROUPS: dict[str, tuple[Field, ...]] = {
    HEAD: (
        Field("finish", _finishes, "Finish to come", "Whose limits the finished surface has to meet", size="finish"),
    ),
    KNOBS: (
        Field(
            "under.kind", (("Not known", ""), *KNOWN), "What lies beneath", "What the surface is made of, or lies on"
        ),
        Field("under.may_be_planed", MAY, "May it be planed?", "Yes only where you have seen what is there", _known),
        Field("framing.kind", (("(none given)", ""), *KINDS), "Members", "What frames it: it gives the schedule"),
        Field("target", _targets, "Bring patches to", "What patches bring the surface to", _patches, "way"),
        Field("cut", "depth", "Take off at most", "The deepest that may come off; empty: as what lies beneath"),
        Field(
            "deepest_fill", "depth", "Fill at most", "Deeper hollows are sistered or furred; empty: 1/2 in (12.7 mm)"
        ),
    ),
    SLIDE: (
        Field(
            "below", _heights, "Level plane below the proudest spot", "0 touches the proudest spot", _slides, "steps"
        ),
    ),
    "How it is done": (
        Field("agreed.length", "place", "Agreed straightedge", "Length of the straightedge that was agreed", _agreed),
        Field("agreed.allowed", "length", "Agreed gap", "The gap that was agreed to be allowed under it", _agreed),
        Field("way", WAY_NAMES, "Way", "How the work is done; the cards beside the map choose it too", size="way"),
        Field("plane", _planes, "Plane", "That all members, or a layer over all, are set to", _all_of, "way"),
        Field("aim", AIMS, "How tight", "Planning tighter than the limit makes it surer to pass", _is_least, "way"),
        Field("on", ON, "Plan on", "The likely surface does not plane off the error of the readings", size="way"),
        Field(
            "level_within", "depth", "Level within", "All of it between two level planes; empty: need not be", _banded
        ),
        Field(
            "benchmarks",
            _benchmarks,
            "Benchmarks",
            "That the plane goes through; Ctrl for several",
            _through,
            "several",
        ),
        Field("off_benchmarks", "length", "Above them by", "How far the surface lies above the benchmarks", _through),
    ),
    "What it costs": (
        Field("off_times", TIMES_OFF, TIMES_LABEL, "2: planing a volume is worth adding two of it", size="steps"),
        Field("price", "price", "Adding costs", "Your price of a volume added; empty: costs are told as material"),
        Field("fill", "depth", "Add at most", "The deepest that may be added; empty: any"),
        Field("under.most_planed", "depth", "Plane at most", "Of what lies beneath; empty: 1/8 in (3.2 mm)", _planed),
    ),
    "Members": (
        Field("framing.direction", (("along x", "x"), ("along y", "y")), "They run", "Along which side", _is_framed),
        Field("framing.first", "length", "First member at", "Center line of the first, across the members", _is_framed),
        Field("framing.spacing", "length", "Spacing", "Center to center", _is_framed),
        Field("framing.depth", "depth", "Depth", "Of the members; notch limits of sawn joists need it", _is_framed),
        Field("framing.bearings", "bearings", "Bearings at", "Along the members: 0; 10 ft; 22 ft", _is_framed, "way"),
        Field("framing.crossed", CROSSED, "Strapping crosses", "What the strapping is shimmed off", _is_strapped),
        Field("framing.crossed_first", "length", "First of these at", "Center line of the first of them", _is_strapped),
        Field("framing.crossed_spacing", "length", "Their spacing", "Center to center", _is_strapped),
    ),
    "Fixed spots": (
        Field("clicking", (("reads it", False), ("fixes a spot", True)), "A click on the map", "What a click does"),
        Field("spot_name", "text", "Name of the spot", "As you call it: sill, hearth, nosing"),
        Field("raised", "off", "Raise it by", "0 leaves the spot as it was found; below zero lowers it"),
        Field("allowance", "off", "Give or take", "How far off the finished height may be there"),
        Field(
            "meant", MEANT, "If that is far off the surface", "A spot far off what is there moves much of the surface"
        ),
        Field("spot_x", "place", "Spot at x", "Where the spot is; or click it on the map"),
        Field("spot_y", "place", "Spot at y", "Where the spot is; or click it on the map"),
        Field("fixed", _spots, "Fixed spots", "The spots that are fixed, as numbered on the map", _has_spots, "finish"),
    ),
    "Ground by area, where it differs": (
        Field("area_kind", KNOWN, "What lies there", "What lies beneath this area"),
        Field("area_may", MAY, "May it be planed there?", "Yes only where you have seen what is there", size="way"),
        Field("area_most", "depth", "At most", "How deep at most there; empty: 1/8 in (3.2 mm)"),
        Field("area_x0", "place", "From x", "A corner of the area"),
        Field("area_y0", "place", "From y", "A corner of the area"),
        Field("area_x1", "place", "To x", "The corner across from it"),
        Field("area_y1", "place", "To y", "The corner across from it"),
        Field("area_list", _grounds, "Areas", "As they are numbered on the map", _has_grounds, "finish"),
    ),
    "Materials; what is left empty is the trade's own number, with its source": (
        Field("materials.bag_yield", "volume", "Yield of a bag", "How much fill a bag gives"),
        Field("materials.fill_density", "density", "Weight of the fill", "Wet, by volume"),
        Field("materials.spare", "share", "Spare fill", "Added to what is worked out; empty: none"),
        Field("materials.sister_density", "density", "Weight of sisters", "Or of strapping, by volume"),
        Field("materials.kerf", "depth", "Saw cut", "Lost to the saw at each cut; empty: 1/8 in (3.2 mm)"),
        Field(
            "materials.stock",
            "stock",
            "Lengths on sale",
            "Of lumber: 12 ft; 16 ft. Empty: no lengths to buy",
            size="way",
        ),
    ),
}
BY_KEY = {field.key: field for fields in GROUPS.values() for field in fields}
DRAWER = tuple(GROUPS)[3:]
TRAITS = (
    *{field.trait: 0 for field in BY_KEY.values() if field.trait not in ("", "below")},
    "height",
    "unit",
    "spots",
    "grounds",
)
# what is out of range is said before it is kept
CHECKS: dict[str, Callable[[Any], Any]] = {"materials": Materials.settings}


class PlanControls:
    """All controls of the Plan panel but the survey, the map and the files: ``controls[key]`` is the widget.

    Attributes
    ----------
    wrong : what is wrong in a field, by its key
    """

    def __init__(self, state: PlanState) -> None:
        self.state = state
        self.wrong: dict[str, FlatnessError] = {}
        self._kept: dict[str, Any] = {}
        self._widgets = {key: self._made(field) for key, field in BY_KEY.items()}
        self._buttons = {
            after: button(label, tip, state.guard(lambda _, act=act: act()))
            for after, label, tip, act in (
                ("spot_y", "Fix this spot", "At the place typed", self._spot_typed),
                ("fixed", "Free it again", "Take the spot chosen off the list", self._spot_freed),
                ("area_y1", "Add this area", "Where areas overlap the later one holds", self._area_typed),
                ("area_list", "Take it off the list", "Take the area chosen off the list", self._area_freed),
            )
        }
        state.observe(self.fill, list(TRAITS))
        state.choice.observe(self.fill, "survey")
        self.fill()

    def __getitem__(self, key: str) -> Any:
        return self._widgets[key]

    def button(self, after: str) -> Any:
        """The button that stands behind the control of this key."""
        return self._buttons[after]

    def group(self, name: str) -> list[Any]:
        """The widgets of a group, each with the button that goes with it."""
        keys = [field.key for field in GROUPS[name]]
        return [one for key in keys for one in (self[key], *([self.button(key)] if key in self._buttons else []))]

    def _made(self, field: Field) -> Any:
        if field.typed is not None:
            empty = field.typed.show(field.typed.empty, "in") if field.typed.empty == 0.0 else ""
            widget = text_field(field.label, field.help, empty, field.size)
        elif field.size == "steps":
            widget = slider(field.label, field.help, [("0", 0.0)])
        elif field.size == "several":
            widget = several(field.label, field.help)
        else:
            widget = drop_down(field.label, field.help, () if callable(field.takes) else field.takes, field.size)
        widget.add_class("fk-of-" + field.key.replace(".", "-").replace("_", "-"))
        if field.trait or field.typed is not None:
            widget.observe(self.state.guard(lambda _: self._taken(field)), "value")
        return widget

    # what a person does

    def read(self, key: str) -> Any:
        """What stands in a control, in the kit's own unit; FlatnessError, which names the control."""
        typed, widget = BY_KEY[key].typed, self[key]
        if typed is None:
            return widget.value
        if not widget.value.strip() and not typed.needed:
            return typed.empty
        try:
            return typed.read(widget.value, self.state.unit)
        except FlatnessError as error:
            raise error.located(column=label_of(widget)) from error

    def _taken(self, field: Field) -> None:
        """Read a control into the state; what is wrong stays said until it is put right."""
        widget, (trait, _, attribute) = self[field.key], field.key.partition(".")
        if is_filling(widget):
            return
        made: Any = None
        try:
            if field.trait or widget.value.strip():
                made = self.read(field.key)
            if attribute:
                made = replace(getattr(self.state, trait), **{attribute: made})
            if trait in CHECKS:
                CHECKS[trait](made)
        except FlatnessError as error:
            self.wrong[field.key] = error.located(column=label_of(widget))
        else:
            self.wrong.pop(field.key, None)
            if field.trait:
                setattr(self.state, trait, made)
        self._tell()

    def _tell(self) -> None:
        self.state.mistakes = tuple(problem for error in self.wrong.values() for problem in error.problems)

    def spot_at(self, x: float, y: float) -> None:
        """Fix a spot at a place [mm] as the fields say."""
        asked = {name: self.read(name) for name in ("raised", "allowance", "meant")}
        self.state.add_spot(Spot(x=x, y=y, name=self.read("spot_name"), **asked))

    def _spot_typed(self) -> None:
        self.spot_at(self.read("spot_x"), self.read("spot_y"))

    def _spot_freed(self) -> None:
        self.state.drop_spot(self["fixed"].value)

    def _area_typed(self) -> None:
        under = Under(*(self.read(f"area_{key}") for key in ("kind", "may", "most")))
        x0, y0, x1, y1 = (self.read(f"area_{key}") for key in ("x0", "y0", "x1", "y1"))
        self.state.add_ground(Ground(x0, y0, x1, y1, under))

    def _area_freed(self) -> None:
        self.state.drop_ground(self["area_list"].value)

    # what the state says

    def fill(self, change: Any = None) -> None:
        """Show in each control what the state holds; a slider that moves changes nothing else."""
        moved = change is not None and change["name"] in ("height", "off_times")
        for field in BY_KEY.values():
            if not moved or field.size == "steps":
                self._fill(field)
        for key, pressed in self._buttons.items():
            pressed.layout.display = self[key].layout.display
        self._tell()

    def _fill(self, field: Field) -> None:
        state, widget = self.state, self[field.key]
        widget.layout.display = "" if field.when(state) else "none"
        value: Any = attrgetter(field.key)(state) if field.trait else widget.value
        if field.typed is not None:
            hint = field.typed.hint.get(state.unit, "")
            if hint and f"[{hint}]" not in widget.description:
                labelled(widget, f"{field.label} [{hint}]")
            if self._kept.get(field.key, value) != value:  # set otherwise meanwhile
                self.wrong.pop(field.key, None)
            if field.trait:
                self._kept[field.key] = value
                if field.key not in self.wrong:
                    put(widget, "" if value in (None, ()) else field.typed.show(value, state.unit))
            return
        options = field.options(state)
        known = [one for _, one in options]
        if field.size == "several":
            offer(widget, options, tuple(one for one in value if one in known))
        elif field.size == "steps":
            set_steps(widget, options, value)
        elif options:
            grown = not field.trait and len(options) != len(widget.options)  # one that was just added is chosen
            offer(widget, options, value if value in known and not grown else known[0 if field.trait else -1])
