"""The controls of the Plan panel: one table names each of them, and all else follows from it.

A control stands for a trait of the state, or for an attribute of a record that a trait holds. What may be typed into
it, from where to where, and what it is for come from the schema of a job, so that a panel takes what a job file takes
and says the same of what is wrong. A text that cannot be read stays in its field, and what is wrong with it stays said,
until it is put right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from operator import attrgetter
from typing import Any

from flatness.errors import ArgumentError, FlatnessError
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.job import schema
from flatness.job.report import JobReport, Origin
from flatness.job.schema import BENEATH, DEPTHS, FIXED, LAYOUT, MATERIALS, PLAN, RATES
from flatness.job.values import Amount, Length, Many, Number, Stock, Text, Type
from flatness.lengths import MM3_PER_FT3, MM3_PER_LITRE, format_length
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
MEANT = (("ask me", False), ("it is meant", True))
NO_FINISH = "(no finish: bring it to the target)"
VOLUME = {"in": MM3_PER_FT3, "mm": MM3_PER_LITRE}
# how numbers are typed and shown: by the unit of lengths, what the label says, the unit that is read, and what it is
MEASURES: Mapping[str, Mapping[str, tuple[str, str, float]]] = {
    "volume": {"in": ("ft3", "ft3", VOLUME["in"]), "mm": ("litres", "l", VOLUME["mm"])},
    "density": {"in": ("lb/ft3", "lb/ft3", POUND_KG / MM3_PER_FT3), "mm": ("kg/m3", "kg/m3", 1e-9)},
    "share": {"in": ("%", "", 0.01), "mm": ("%", "", 0.01)},
    "price": {"in": ("money a ft3", "", 1 / VOLUME["in"]), "mm": ("money a litre", "", 1 / VOLUME["mm"])},
}


@dataclass(frozen=True)
class Field:
    """A control.

    Attributes
    ----------
    key : its name: the trait, or ``trait.attribute``, that it stands for; any other is read by a button alone
    label : what is read beside it
    takes : the key of a job that it stands for, which says what may be typed and what it is for; or what may be
        chosen, with the value of each
    help : what it is for, where no key of a job says it
    when : when it matters, of ``WHEN``
    size : its width, as :func:`~flatness.panels.controls.sized` takes it; ``steps`` is a slider, ``several`` a list
        of which several may be chosen
    far : whether bare lengths are feet, where lengths are in inches
    empty : what an empty field stands for
    needed : whether it may not be empty
    measure : of ``MEASURES``, for a number
    """

    key: str
    label: str
    takes: schema.Field | Options | Callable[[PlanState], Options]
    help: str = ""
    when: str = ""
    size: str = "short"
    far: bool = False
    empty: Any = None
    needed: bool = False
    measure: str = ""

    @property
    def trait(self) -> str:
        """The trait of the state; empty where there is none."""
        name = self.key.partition(".")[0]
        return name if hasattr(PlanState, name) else ""

    @property
    def tooltip(self) -> str:
        text = self.help or (self.takes.help if isinstance(self.takes, schema.Field) else "")
        return text[:1].upper() + text[1:]

    @property
    def type(self) -> Type | None:
        """What is typed; None where something is chosen."""
        return self.takes.type if isinstance(self.takes, schema.Field) else None

    @property
    def _is_list(self) -> bool:
        return isinstance(self.type, (Many, Stock))

    def _measure(self, unit: str) -> tuple[str, str, float]:
        kind = self.type.kind if isinstance(self.type, Amount) else self.measure
        return MEASURES[kind][unit]

    def hint(self, unit: str) -> str:
        """The unit that the label says."""
        if isinstance(self.type, Text):
            return ""
        if isinstance(self.type, (Amount, Number)):
            return self._measure(unit)[0]
        return HINTS[unit] if self.far or self._is_list else unit

    def read(self, text: str, unit: str) -> Any:
        """What a text says, in the kit's own unit; FlatnessError, which names the control, where it says nothing."""
        text = text.strip()
        if (not text and not self.needed) or self.type is None:
            return self.empty
        far = self.far or self._is_list
        hint = self.hint(unit)
        origin = Origin(options={self.key: f"{self.label} [{hint}]" if hint else self.label})
        report = JobReport(origin, "ft" if far and unit == "in" else unit)
        raw: Any = text
        if self._is_list:
            raw = [part.strip() for part in text.split(";") if part.strip()]
        elif isinstance(self.type, Number):
            raw = self.type.typed(text.removesuffix("%").strip().replace(",", "."))
        elif isinstance(self.type, Amount) and not any(letter.isalpha() for letter in text):
            raw = f"{text} {self._measure(unit)[1]}"
        found = self.type.read(raw, self.key, report)
        report.stop_if_any()
        return found * self._measure(unit)[2] if isinstance(self.type, Number) else found

    def show(self, value: Any, unit: str) -> str:
        """A value as :meth:`read` reads it."""
        if value is None or isinstance(value, str):
            return value or ""
        if self._is_list:
            return "; ".join(show_far(one, unit) for one in value)
        if isinstance(self.type, Length):
            return show_far(value, unit) if self.far else format_length(value, unit, 64)
        return f"{value / self._measure(unit)[2]:.{6 if self.measure == 'price' else 4}g}"

    def options(self, state: PlanState) -> Options:
        return () if isinstance(self.takes, schema.Field) else self.takes(state) if callable(self.takes) else self.takes


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


WHEN: Mapping[str, Callable[[PlanState], Any]] = {
    "": lambda _: True,
    "least work": lambda state: state.target == LEAST_WORK,
    "patches": lambda state: state.way in (PROPOSED, "patches"),
    "level band": lambda state: state.target == LEAST_WORK and state.way in (PROPOSED, "patches"),
    "all members or a layer": lambda state: state.target == LEAST_WORK and state.way not in ("patches", "some-members"),
    "slider": lambda state: state.way_asked == "patches" and state.target == LEVEL_AT,
    "benchmarks": lambda state: state.target == BENCHMARKS,
    "agreed": lambda state: state.finish == AGREED,
    "known": lambda state: state.under.kind,
    "planed": lambda state: state.under.kind and state.under.may_be_planed,
    "framed": lambda state: state.framing.kind,
    "strapped": lambda state: state.framing.kind == STRAPPING,
    "spots": lambda state: state.spots,
    "areas": lambda state: state.grounds,
}


def _finishes(state: PlanState) -> Options:
    return state.offered(NO_FINISH)


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
# what no job file asks for so
OF_AGREED = schema.limit_keys("straightedge")
ABOVE_BENCHMARKS = schema.Field(schema.ANY, "how far the surface lies above the benchmarks")
RAISED = schema.Field(schema.ANY, "0 leaves the spot as it was found; below zero lowers it")
BEYOND_FILL = schema.Field(schema.UPWARD, "deeper hollows are sistered or furred; empty: 1/2 in (12.7 mm)")
PRICE = schema.Field(schema.ABOVE_ZERO, "your price of a volume added; empty: costs are told as material")
ALONG = (("along x", "x"), ("along y", "y"))
CLICKS = (("reads it", False), ("fixes a spot", True))
TIMES_LABEL = "Taking off costs [times what adding costs]"
SEEN, AT = "Yes only where you have seen what is there", "Where the spot is; or click it on the map"
HEAD, KNOBS, SLIDE = "head", "knobs", "slide"
GROUPS: dict[str, tuple[Field, ...]] = {
    HEAD: (
        Field("finish", "Finish to come", _finishes, "Whose limits the finished surface has to meet", size="finish"),
    ),
    KNOBS: (
        Field(
            "under.kind", "What lies beneath", (("Not known", ""), *KNOWN), "What the surface is made of, or lies on"
        ),
        Field("under.may_be_planed", "May it be planed?", MAY, SEEN, "known"),
        Field("framing.kind", "Members", (("(none given)", ""), *KINDS), "What frames it: it gives the schedule"),
        Field("cut", "Take off at most", DEPTHS["cut"]),
        Field("deepest_fill", "Fill at most", BEYOND_FILL),
        Field("target", "Bring patches to", _targets, "What patches bring the surface to", "patches", "way"),
    ),
    SLIDE: (
        Field(
            "below", "Level plane below the proudest spot", _heights, "0 touches the proudest spot", "slider", "steps"
        ),
    ),
    "How it is done": (
        Field("agreed.length", "Agreed straightedge", OF_AGREED["length"], when="agreed", far=True, needed=True),
        Field("agreed.allowed", "Agreed gap", OF_AGREED["allowed"], when="agreed", needed=True),
        Field("way", "Way", WAY_NAMES, PLAN["way"].help, size="way"),
        Field("plane", "Plane", _planes, PLAN["plane"].help, "all members or a layer", "way"),
        Field("aim", "How tight", AIMS, PLAN["aim"].help, "least work", "way"),
        Field("on", "Plan on", ON, PLAN["surface"].help, size="way"),
        Field("level_within", "Level within", PLAN["level_within"], when="level band"),
        Field("benchmarks", "Benchmarks", _benchmarks, "Ctrl for several", "benchmarks", "several"),
        Field("off_benchmarks", "Above them by", ABOVE_BENCHMARKS, when="benchmarks", needed=True),
    ),
    "What it costs": (
        Field("off_times", TIMES_LABEL, TIMES_OFF, RATES["off"].help, size="steps"),
        Field("price", "Adding costs", PRICE, measure="price"),
        Field("fill", "Add at most", DEPTHS["fill"]),
        Field("under.most_planed", "Plane at most", BENEATH["most_planed"], when="planed"),
    ),
    "Members": (
        Field("framing.direction", "They run", ALONG, LAYOUT["direction"].help, "framed"),
        Field("framing.first", "First member at", LAYOUT["first"], when="framed", needed=True),
        Field("framing.spacing", "Spacing", LAYOUT["spacing"], when="framed", needed=True),
        Field("framing.depth", "Depth", LAYOUT["depth"], when="framed"),
        Field("framing.bearings", "Bearings at", BENEATH["span"], when="framed", size="way", empty=()),
        Field("framing.crossed", "Strapping crosses", CROSSED, "What the strapping is shimmed off", "strapped"),
        Field("framing.crossed_first", "First of these at", LAYOUT["first"], when="strapped", needed=True),
        Field("framing.crossed_spacing", "Their spacing", LAYOUT["spacing"], when="strapped", needed=True),
    ),
    "Fixed spots": (
        Field("clicking", "A click on the map", CLICKS, "What a click does"),
        Field("spot_name", "Name of the spot", FIXED["name"], "As you call it: sill, hearth, nosing", empty=""),
        Field("raised", "Raise it by", RAISED, empty=0.0),
        Field("allowance", "Give or take", FIXED["allowance"], empty=0.0),
        Field("meant", "If that is far off the surface", MEANT, FIXED["meant"].help),
        Field("spot_x", "Spot at x", FIXED["x"], AT, far=True, needed=True),
        Field("spot_y", "Spot at y", FIXED["y"], AT, far=True, needed=True),
        Field("fixed", "Fixed spots", _spots, "As they are numbered on the map", "spots", "finish"),
    ),
    "Ground by area, where it differs": (
        Field("area_kind", "What lies there", KNOWN, "What lies beneath this area"),
        Field("area_may", "May it be planed there?", MAY, SEEN, size="way"),
        Field("area_most", "At most", BENEATH["most_planed"]),
        Field("area_x0", "From x", FIXED["x"], "A corner of the area", far=True, needed=True),
        Field("area_y0", "From y", FIXED["y"], "A corner of the area", far=True, needed=True),
        Field("area_x1", "To x", FIXED["x"], "The corner across from it", far=True, needed=True),
        Field("area_y1", "To y", FIXED["y"], "The corner across from it", far=True, needed=True),
        Field("area_list", "Areas", _grounds, "As they are numbered on the map", "areas", "finish"),
    ),
    "Materials; what is left empty is the trade's own number, with its source": (
        Field("materials.bag_yield", "Yield of a bag", MATERIALS["bag_yield"]),
        Field("materials.fill_density", "Weight of the fill", MATERIALS["fill_density"]),
        Field("materials.spare", "Spare fill", MATERIALS["spare"], measure="share"),
        Field("materials.sister_density", "Weight of sisters", MATERIALS["sister_density"]),
        Field("materials.kerf", "Saw cut", MATERIALS["kerf"]),
        Field("materials.stock", "Lengths on sale", MATERIALS["stock"], size="way", empty=()),
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


def _made_of(trait: str, made: Any) -> None:
    """Refuse what goes together badly before it is kept."""
    if trait == "materials":
        made.settings()
    bearings = made.bearings if trait == "framing" else ()
    if len(bearings) == 1 or list(bearings) != sorted(set(bearings)):
        expected, remedy = "two places or more, rising, with ; between", "type both ends, or leave it empty"
        raise ArgumentError("not bearings", value=str(len(bearings)), expected=expected, remedy=remedy)


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
        if field.type is not None:
            widget = text_field(field.label, field.tooltip, "0" if field.empty == 0.0 else "", field.size)
        elif field.size == "steps":
            widget = slider(field.label, field.tooltip, [("0", 0.0)])
        elif field.size == "several":
            widget = several(field.label, field.tooltip)
        else:
            widget = drop_down(field.label, field.tooltip, () if callable(field.takes) else field.takes, field.size)
        widget.add_class("fk-of-" + field.key.replace(".", "-").replace("_", "-"))
        if field.trait or field.type is not None:
            widget.observe(self.state.guard(lambda _: self._taken(field)), "value")
        return widget

    # what a person does

    def read(self, key: str) -> Any:
        """What stands in a control, in the kit's own unit; FlatnessError, which names the control."""
        field, text = BY_KEY[key], self[key].value
        return text if field.type is None else field.read(text, self.state.unit)

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
            _made_of(trait, made)
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
        widget.layout.display = "" if WHEN[field.when](state) else "none"
        value: Any = attrgetter(field.key)(state) if field.trait else widget.value
        if field.type is not None:
            hint = field.hint(state.unit)
            if hint and f"[{hint}]" not in widget.description:
                labelled(widget, f"{field.label} [{hint}]")
            if self._kept.get(field.key, value) != value:  # set otherwise meanwhile
                self.wrong.pop(field.key, None)
            if field.trait:
                self._kept[field.key] = value
                if field.key not in self.wrong:
                    put(widget, field.show(value, state.unit))
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
