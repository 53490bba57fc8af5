"""The Plan panel: what to take off, what to add and what to frame, so that the surface passes.

The verdict stands above, and beside the map the ways with what changes them; all else is in tabs. A plan is saved as
files that are new: its tables, its map as a picture, itself to be read again.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w

from flatness.charts.axes import root_of
from flatness.charts.plan_map import action_map
from flatness.errors import ArgumentError
from flatness.export.tables import plan_tables, plan_words, write_tables, write_workbook
from flatness.files import SOFTWARE, write_ours
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.members import kind_named
from flatness.framing.schedule import Schedule
from flatness.job import schema
from flatness.job.schema import BENEATH, DEPTHS, FIXED, KEPT, LAYOUT, MATERIALS, PLAN, RATES, Field
from flatness.job.values import Flag
from flatness.lengths import format_length
from flatness.measures.bars import Place
from flatness.panels import plan_text
from flatness.panels.check_state import AGREED
from flatness.panels.controls import (
    SNAP_MM,
    Control,
    Controls,
    Options,
    button,
    column,
    drop_down,
    finish,
    notes_html,
    offer,
    part,
    row,
    text_field,
    words,
)
from flatness.panels.files import SurveyChooser, new_file
from flatness.panels.instrument import Instrument, Said, busy
from flatness.panels.maps import ShownMap, say
from flatness.panels.plan_map import LiveActions, key_html, member_picture, what_stays
from flatness.panels.plan_state import (
    BENCHMARKS,
    DRAWS,
    LEAST_WORK,
    LEVEL_AT,
    PLAN_VIEW,
    STRAPPING,
    SUREST,
    TARGETS,
    PlanState,
    as_found,
    placed_benchmarks,
)
from flatness.panels.strips import StripFields
from flatness.planning.constraints import FixedSpot
from flatness.planning.draft import Draft
from flatness.planning.plan import Plan, save_plan
from flatness.planning.set_members import PLANES
from flatness.planning.substrate import KINDS, Beneath
from flatness.planning.ways import PROPOSED
from flatness.words.checks import sweeps_in_words
from flatness.words.printed import depth, place, spelled

ENDINGS = (".xlsx", ".csv", ".png", ".json")
DOTS_PER_INCH = 150


def save_workbook(plan: Plan, schedule: Schedule | None, path: Path, unit: str) -> list[Path]:
    """The tables, notes and cautions of a plan as a workbook."""
    return [write_workbook(path, plan_tables(plan, schedule), unit, plan_words(plan, schedule))]


def save_csv(plan: Plan, schedule: Schedule | None, path: Path, unit: str) -> list[Path]:
    """Patches as NAME-patches.csv and, where members are given, their stations as NAME-members.csv; all or none."""
    tables = {"patches": plan_tables(plan)["patches"]}
    if schedule is not None:
        tables["members"] = schedule.table
    return write_tables(path.parent, path.stem, tables, unit)


def save_map(plan: Plan, _: Schedule | None, path: Path, unit: str) -> list[Path]:
    """The map of the plan as a picture."""
    picture = io.BytesIO()
    figure = root_of(action_map(plan, unit=unit).ax)
    figure.savefig(picture, format="png", dpi=DOTS_PER_INCH, facecolor="white", metadata={"Software": SOFTWARE})
    return [write_ours(path, picture.getvalue())]


def save_whole(plan: Plan, _: Schedule | None, path: Path, unit: str) -> list[Path]:
    """The plan itself, which can be presented, and which work can be held against."""
    return [save_plan(plan, path)]


Save = Callable[[Plan, Schedule | None, Path, str], list[Path]]
SAVES: tuple[tuple[str, str, tuple[str, ...], Save], ...] = (
    ("the tables (XLSX)", "Patches, members, quantities and notes as one workbook", (".xlsx",), save_workbook),
    ("the tables (CSV)", "Patches and members as plain tables", ("-patches.csv", "-members.csv"), save_csv),
    ("the map (PNG)", "The map of what to do, as a picture", (".png",), save_map),
    (
        "the plan itself",
        "As a file that the presenting notebook and `flatness compare --plan` take",
        (".json",),
        save_whole,
    ),
)


def _level(state: PlanState) -> str:
    return "plumb" if state.survey is not None and state.survey.surface == "wall" else "level"


def _targets(state: PlanState) -> Options:
    names = (
        "The least work",
        f"{_level(state).capitalize()}, at the slider",
        f"A {_level(state)} plane, least cost",
        "The best-fit plane, shifted",
        "Any plane, least cost",
        "Through the fixed spots",
        "Through the benchmarks",
    )
    return list(zip(names, TARGETS, strict=True))


def _planes(state: PlanState) -> Options:
    names = (f"One {_level(state)} plane", "The best plane", "Through the fixed spots")
    return list(zip((*names, "A string between the end members"), ("", *PLANES[1:]), strict=True))


def _benchmarks(state: PlanState) -> Options:
    known = placed_benchmarks(state.survey).items()
    return [(f"{name}, {place((one.x, one.y), state.unit, state.survey)}", name) for name, one in known]


@lru_cache(maxsize=8)
def _steps(reach: float, unit: str) -> Options:
    """Steps from the proudest spot to the lowest, as fine as makes no more than a hundred."""
    step = next((one for one in STEPS[unit] if reach / one <= MOST_STEPS), STEPS[unit][-1])
    return tuple((format_length(k * step, unit, 32), k * step) for k in range(max(1, int(reach // step) + 1) + 1))


def _spots(state: PlanState) -> Options:
    return [(f"{k + 1}: {_spot_words(spot, state)}", k) for k, spot in enumerate(state.spots)]


def _spot_words(spot: FixedSpot, state: PlanState) -> str:
    found = None if spot.height is None or state.surface is None else as_found(state.surface, spot)
    raised = 0.0 if found is None or spot.height is None else spot.height - found
    how = "as found" if found is None else f"{depth(raised, state.unit)} off what is there"
    within = f", give or take {depth(spot.allowance, state.unit)[1:]}" if spot.allowance > 0 else ""
    name = f"{spot.name}, " if spot.name else ""
    return f"{name}{place((spot.x, spot.y), state.unit, state.survey)}, {how}{within}"


def _grounds(state: PlanState) -> Options:
    return [(f"{k + 1}: {_ground_words(one, state)}", k) for k, one in enumerate(state.grounds)]


def _ground_words(one: Beneath, state: PlanState) -> str:
    assert one.area is not None
    x0, y0, x1, y1 = one.area.bounds
    most = "" if one.most_planed is None else f", {depth(one.most_planed, state.unit)[1:]} at most"
    may = f"may be planed{most}" if one.may_be_planed else "nothing comes off"
    corners = (place(xy, state.unit, state.survey) for xy in ((x0, y0), (x1, y1)))
    return f"{one.kind}, {may}, from {' to '.join(corners)}"


# what applies, by the words of the schema or of this panel
WHEN: Mapping[str, Callable[[PlanState], Any]] = {
    PLAN["level_within"].when: lambda state: state.target == LEAST_WORK and state.way in (PROPOSED, "patches"),
    "least work": lambda state: state.target == LEAST_WORK,
    "patches": lambda state: state.way in (PROPOSED, "patches"),
    "all members or a layer": lambda state: state.target == LEAST_WORK and state.way not in ("patches", "some-members"),
    "slider": lambda state: state.chosen_way == "patches" and state.target == LEVEL_AT,
    "benchmarks": lambda state: state.target == BENCHMARKS,
    "agreed": lambda state: state.finish == AGREED,
    "known": lambda state: state.under.get("kind"),
    "planed": lambda state: state.under.get("kind") and state.under.get("may_be_planed"),
    "framed": lambda state: state.members.get("kind"),
    "strapped": lambda state: state.members.get("kind") == STRAPPING,
    "spots": lambda state: state.spots,
    "areas": lambda state: state.grounds,
}
AIMS = (
    ("Surest: as tight as it takes", SUREST),
    ("To the limit itself", 1.0),
    *((f"To {share} % of the limit", share / 100) for share in (85, 70, 55, 40)),
)
TIMES_OFF = tuple((f"{value:g} times", value) for value in (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0))
STEPS = {"in": (25.4 / 32, 25.4 / 16, 25.4 / 8, 25.4 / 4), "mm": (0.5, 1.0, 2.0, 5.0, 10.0)}
MOST_STEPS = 100
OF_AGREED = schema.limit_keys("straightedge")
CROSSED = [(name, name) for name in MEMBER_KINDS if name != STRAPPING]
# what no job file has so
TARGET = Field(KEPT, "what patches bring the surface to", label="Bring patches to")
BELOW = Field(schema.UPWARD, "0 touches the proudest spot", label="Level plane below the proudest spot")
BEYOND_FILL = Field(
    schema.UPWARD,
    "deeper hollows are sistered or furred; empty: 1/2 in (12.7 mm)",
    when="patches",
    label="Fill at most",
)
PRICE = Field(schema.ABOVE_ZERO, "your price of a volume added; empty: costs are in material", label="Adding costs")
OF_BENCHMARKS = Field(KEPT, "Ctrl for several", label="Benchmarks")
ABOVE_BENCHMARKS = Field(schema.ANY, "how far the surface lies above the benchmarks", True, label="Above them by")
CLICKS = Field(Flag("fixes a spot", "reads it"), "what a click does", label="A click on the map")
RAISED = Field(schema.ANY, "0 leaves the spot as it was found; below zero lowers it", label="Raise it by")
LISTED = Field(KEPT, "as they are numbered on the map")
CORNER, ACROSS = "A corner of the area", "The corner across from it"
AT = "Where the spot is; or click it on the map"
HEAD, KNOBS, SLIDE = "head", "knobs", "slide"
GROUPS: dict[str, tuple[Control, ...]] = {
    HEAD: (finish("(no finish: bring it to the target)", "Whose limits the finished surface has to meet"),),
    KNOBS: (
        Control("under.kind", BENEATH["kind"], none="Not known"),
        Control("under.may_be_planed", BENEATH["may_be_planed"], when="known"),
        Control("members.kind", LAYOUT["kind"], none="(none given)", help="What frames it: it gives the schedule"),
        Control("target", TARGET, _targets, when="patches", size="way"),
    ),
    SLIDE: (Control("below", BELOW, lambda state: _steps(state.reach, state.unit), when="slider", size="steps"),),
    "How it is done": (
        Control("agreed.length", OF_AGREED["length"], when="agreed"),
        Control("agreed.allowed", OF_AGREED["allowed"], when="agreed"),
        Control("way", PLAN["way"], size="way"),
        Control("plane", PLAN["plane"], _planes, when="all members or a layer", size="way"),
        Control("aim", PLAN["aim"], AIMS, when="least work", size="way"),
        Control("on", PLAN["surface"], size="way"),
        Control("level_within", PLAN["level_within"]),
        Control("benchmarks", OF_BENCHMARKS, _benchmarks, when="benchmarks", size="several"),
        Control("off_benchmarks", ABOVE_BENCHMARKS, when="benchmarks"),
    ),
    "How much, and what it costs": (
        Control("cut", DEPTHS["cut"]),
        Control("deepest_fill", BEYOND_FILL),
        Control("off_times", RATES["off"], TIMES_OFF, size="steps"),
        Control("price", PRICE, measure="price"),
        Control("fill", DEPTHS["fill"]),
        Control("under.most_planed", BENEATH["most_planed"], when="planed"),
    ),
    "Members": (
        Control("members.direction", LAYOUT["direction"], when="framed"),
        Control("members.first", LAYOUT["first"], when="framed", needed=True),
        Control("members.spacing", LAYOUT["spacing"], when="framed", needed=True),
        Control("members.depth", LAYOUT["depth"], when="framed"),
        Control("bearings", BENEATH["span"], when="framed", size="way", empty=()),
        Control("crossing.kind", LAYOUT["kind"], CROSSED, label="Strapping crosses", when="strapped"),
        Control("crossing.first", LAYOUT["first"], label="First of these at", when="strapped", needed=True),
        Control("crossing.spacing", LAYOUT["spacing"], label="Their spacing", when="strapped", needed=True),
    ),
    "Fixed spots": (
        Control("clicking", CLICKS),
        Control("spot_name", FIXED["name"], help="As you call it: sill, hearth, nosing", empty=""),
        Control("raised", RAISED, empty=0.0),
        Control("allowance", FIXED["allowance"], empty=0.0),
        Control("meant", FIXED["meant"]),
        Control("spot_x", FIXED["x"], help=AT),
        Control("spot_y", FIXED["y"], help=AT),
        Control("fixed", LISTED, _spots, label="Fixed spots", when="spots", size="finish"),
    ),
    "Ground by area, where it differs": (
        Control("area_kind", BENEATH["kind"], label="What lies there"),
        Control("area_may", BENEATH["may_be_planed"], label="May it be planed there?", size="way"),
        Control("area_most", BENEATH["most_planed"], label="At most"),
        Control("area_x0", FIXED["x"], label="From x", help=CORNER),
        Control("area_y0", FIXED["y"], label="From y", help=CORNER),
        Control("area_x1", FIXED["x"], label="To x", help=ACROSS),
        Control("area_y1", FIXED["y"], label="To y", help=ACROSS),
        Control("area_list", LISTED, _grounds, label="Areas", when="areas", size="finish"),
    ),
    "Materials; what is left empty is the trade's own number, with its source": (
        Control("materials.bag_yield", MATERIALS["bag_yield"]),
        Control("materials.fill_density", MATERIALS["fill_density"]),
        Control("materials.spare", MATERIALS["spare"], measure="share"),
        Control("materials.sister_density", MATERIALS["sister_density"]),
        Control("materials.strapping_density", MATERIALS["strapping_density"], when="strapped"),
        Control("materials.kerf", MATERIALS["kerf"]),
        Control("materials.stock", MATERIALS["stock"], size="way", empty=()),
    ),
}
DRAWER = tuple(GROUPS)[3:]
AREA = ("kind", "may", "most", "x0", "y0", "x1", "y1")
NO_CHART = "(no member)"
NO_PLAN = "What to do is drawn here."
VIEWS = {"What to do": PLAN_VIEW}
TITLES = ("As it stands", "What to do", "As it was set before")


class PlanPanel(Instrument):
    """The Plan panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    controls : what a person asks for
    box : the widgets
    map : the live figure, and ``actions`` what is drawn in it
    """

    state: PlanState

    def __init__(self, state: PlanState, folder: str | os.PathLike[str] = ".") -> None:
        self.state, self._folder = state, folder
        self._seen: tuple[Any, ...] = ()
        self._listed: tuple[Any, ...] = ()
        super().__init__(VIEWS, ("What to do at each place",), begin=self._clicked)
        self.chooser = SurveyChooser(state, state.choice, "Survey")
        self.controls = Controls(state, [one for group in GROUPS.values() for one in group], WHEN)
        self._make_parts()
        group = self._group
        knobs = row(*group(KNOBS))
        knobs.add_class("fk-knobs")
        drawer = (one for name in DRAWER for one in (part(name), row(*group(name))))
        self._arrange(
            [row(self.chooser.controls, *group(HEAD), self.units)],
            [self.chooser],
            {
                "Ways": (column(*group(SLIDE), self.ways, size="scroll"), knobs),
                "What to do": (self.patches, self.schedule, self.chart_of, self.chart, self.quantities),
                "Notes": (self.after, self.notes, self.cautions, self.chooser.about),
                "More, files": (self.name, row(*self.saves), self.saved, *drawer, *self.slid),
            },
            under=[self.key],
            go=[self.start, self.stop, self.bar],
        )
        state.observe(self._show_saved, "saved")

    def _make_parts(self) -> None:
        state, guard = self.state, self.state.guard
        tip = "Patches, proof, chances and schedule of what is set"
        self.start = button("Work out the plan", tip, guard(lambda _: state.start()), main=True)
        tip = "End the search with what it has; press again to drop it"
        self.stop = button("Stop", tip, guard(lambda _: state.stop()))
        self.bar = w.FloatProgress(min=0.0, max=1.0, description="", tooltip="How far the search is")
        self.ways, self.key = words("", "fk-ways"), words("", "fk-key")
        self.quantities, self.after, self.patches = words("", "fk-amounts"), words(), words("", "fk-patches")
        self.schedule, self.notes, self.cautions = words("", "fk-members"), words(), words()
        self.saved = words("", "fk-saved")
        self.buttons = {
            after: button(label, tip, guard(lambda _, act=act: act()))
            for after, label, tip, act in (
                ("spot_y", "Fix this spot", "At the place typed", self._spot_typed),
                ("fixed", "Free it again", "Take the spot chosen off the list", self._spot_freed),
                ("area_y1", "Add this area", "Where areas overlap the later one holds", self._area_typed),
                ("area_list", "Take it off the list", "Take the area chosen off the list", self._area_freed),
            )
        }
        self.strips = StripFields(state, state.use_spot_checks, "Plan with these")
        self.strips_head = words()
        heading = part("What a bar showed between the stations")
        self.slid = (heading, self.strips_head, self.strips.box, self.strips.button)
        self.chart = w.Image(format="png")
        self.chart.add_class("fk-chart")
        self.chart_of = drop_down("Chart of", "A member's top, the line it is set to, what to raise", (), "way")
        self._bind(self.chart_of, lambda _: self._show_chart())
        self.name = text_field(
            "Name of the files", "New files beside this notebook, written when you press a button", "plan", "file"
        )
        self.saves = [
            button(f"Save {what}", tip, guard(lambda _, ends=ends, save=save: self._save(ends, save)))
            for what, tip, ends, save in SAVES
        ]

    def _group(self, name: str) -> list[Any]:
        """The widgets of a group, each with the button that goes with it."""
        found = [(self.controls[one.key], self.buttons.get(one.key)) for one in GROUPS[name]]
        return [widget for pair in found for widget in pair if widget is not None]

    # what a person does

    def _clicked(self, xy: Place) -> None:
        if self.state.clicking:
            step = SNAP_MM[self.state.unit]
            self._spot_at(*(round(at / step) * step for at in xy))

    def _spot_at(self, x: float, y: float) -> None:
        """Fix a spot at a place [mm] as the fields say."""
        read = self.controls.read
        spot = FixedSpot(x, y, allowance=read("allowance"), name=read("spot_name"), meant=read("meant"))
        self.state.add_spot(spot, read("raised"))

    def _spot_typed(self) -> None:
        self._spot_at(self.controls.read("spot_x"), self.controls.read("spot_y"))

    def _spot_freed(self) -> None:
        self.state.drop_spot(self.controls["fixed"].value)

    def _area_typed(self) -> None:
        kind, may, most, x0, y0, x1, y1 = (self.controls.read(f"area_{key}") for key in AREA)
        self.state.add_ground(kind, may, most, (x0, y0), (x1, y1))

    def _area_freed(self) -> None:
        self.state.drop_ground(self.controls["area_list"].value)

    def _save(self, ends: Sequence[str], save: Save) -> None:
        state = self.state
        state.saved = ()
        if state.plan is None or not state.current:
            what, expected = "there is no plan of what is set now", "a plan that is worked out"
            raise ArgumentError(what, expected=expected, remedy=plan_text.PRESS)
        plain = Path(self.name.value.strip()) if self.name.value.strip() else None
        stem = "" if plain is None else str(plain.with_suffix("") if plain.suffix in ENDINGS else plain)
        for end in ends:  # each a new file of this folder
            kind = end[end.rindex(".") :]
            new_file(stem and f"{stem}{end}", self._folder, (kind,), "Name of the files")
        path = Path(self._folder) / f"{stem}{kind}"
        state.saved = tuple(path.name for path in save(state.plan, state.schedule, path, state.unit))

    # what the panel shows

    @property
    def actions(self) -> LiveActions | ShownMap:
        """What is drawn in the map."""
        return self.shown  # type: ignore[no-any-return]

    @property
    def _is_stale(self) -> bool:
        state = self.state
        return state.shown is not None and state.shown is state.plan and not state.current

    def said(self) -> Said:
        """The verdict, or that it is being worked out."""
        state = self.state
        shown = state.shown
        if state.running:
            return busy("Working out the plan", state.progress)
        if shown is not None:
            stale = plan_text.stale_words(shown, state.current, state.sure)
            return plan_text.plan_said(shown, state.money, state.ways, state.sure, stale)
        if state.survey is None:
            return Said("", "NO SURVEY", "Choose a survey in the list above, or upload one")
        return Said("", "NO PLAN", "Say what lies beneath, then press Work out the plan")

    def _key(self) -> tuple[Any, ...]:
        state = self.state
        return (state.survey, state.unit) if state.shown is None else (*what_stays(state.shown), state.unit)

    def _paint(self, figure: Any) -> LiveActions | ShownMap:
        state, self._seen = self.state, ()
        if state.shown is not None:
            return LiveActions(figure, state.shown, state.unit)
        say(figure, "No survey: choose a file above, or upload one." if state.survey is None else NO_PLAN)
        return ShownMap()

    def _touch(self) -> bool:
        state, actions = self.state, self.actions
        seen = (state.shown, state.spots, state.grounds, state.chosen_benchmarks(), self._is_stale)
        if state.shown is None or not isinstance(actions, LiveActions) or seen == self._seen:
            return False
        self._seen = seen
        title = TITLES[2 if self._is_stale else int(state.shown is state.plan)]
        spots = [(str(k), spot) for k, spot in enumerate(state.spots, 1)]
        spots += [(one.name, one) for one in state.chosen_benchmarks()]
        actions.show(state.shown, spots, state.grounds, title, self._is_stale)
        return True

    def _at(self, xy: Place) -> str:
        return plan_text.words_at(self.state.shown, xy, self.state.unit)

    def _fill(self) -> None:
        state, unit = self.state, self.state.unit
        shown, running = state.shown, state.running
        for key, pressed in self.buttons.items():
            pressed.layout.display = self.controls[key].layout.display
        self.bar.value = state.share
        self.bar.layout.display = self.stop.layout.display = "" if running else "none"
        self.start.layout.display = "none" if running else ""
        plan = shown if isinstance(shown, Plan) else None
        schedule = state.schedule if plan is not None else None
        self._fill_strips()
        listed = (shown, schedule, state.ways, unit, bool(state.spots))
        if listed == self._listed:
            return
        drafts = isinstance(shown, Draft) and isinstance(next(iter(self._listed), None), Draft)
        same, self._listed = drafts and listed[1:] == self._listed[1:], listed
        self.quantities.value = "" if shown is None else plan_text.quantity_rows(shown.quantities, unit, shown.survey)
        self.key.value = "" if shown is None else key_html(shown.actions, bool(state.spots))
        if same:  # a slider moves: of a draft no more is known
            return
        self.ways.value = "" if isinstance(shown, Draft) else plan_text.cards(state.ways, plan, unit)
        self.after.value = "" if plan is None else plan_text.after_rows(plan, unit)
        self.patches.value = plan_text.patches_list(plan, unit) if plan is not None and plan.way == "patches" else ""
        self.notes.value = notes_html(() if plan is None else plan.notes, unit)
        self.cautions.value = "" if shown is None else plan_text.cautions_list(shown, schedule)
        self.schedule.value = plan_text.schedule_text(schedule, unit)
        self._fill_chart(schedule)

    def _fill_strips(self) -> None:
        state, limit = self.state, self.state.swept
        self.strips.show(state.strips, limit, state.survey)
        for widget in self.slid[:-1]:
            widget.layout.display = "" if state.strips else "none"
        head = "" if limit is None else sweeps_in_words(state.strips, limit, state.unit, state.survey)[0]
        self.strips_head.value = escape(spelled(head))

    def _fill_chart(self, schedule: Schedule | None) -> None:
        table = None if schedule is None else schedule.members
        known = [] if table is None else list(table.loc[table["raise_most_mm"].notna(), "member"])
        options = [(NO_CHART, ""), *((f"member {name}", str(name)) for name in known)]
        kept = self.chart_of.value if self.chart_of.value in dict(options).values() else ""
        offer(self.chart_of, options, kept)
        self.chart_of.layout.display = "" if known else "none"
        self._show_chart()

    def _show_chart(self) -> None:
        state, name = self.state, self.chart_of.value
        drawn = b"" if not name or state.schedule is None else member_picture(state.schedule, name, state.unit)
        self.chart.value = drawn
        self.chart.layout.display = "" if drawn else "none"

    @property
    def found(self) -> Plan:
        """The plan that the panel shows, to go on by hand; see :meth:`PlanState.found`."""
        return self.state.found()

    def close(self) -> None:
        """Take the panel away with its figure and all its widgets."""
        self.state.search.drop()
        super().close()


def plan_panel(
    survey: str | os.PathLike[str] = "",
    finish: str = "",
    *,
    plan: bool = False,
    way: str = "proposed",
    plane: str = "",
    target: str = "least-work",
    on: str = "likely",
    beneath: str = "",
    may_be_planed: bool = False,
    most_planed: float | None = None,
    folders: Iterable[str | os.PathLike[str]] = (),
    confidence: float = 0.95,
    draws: int = DRAWS,
    spacing: float | None = None,
    unit: str | None = None,
    keep_in: str | os.PathLike[str] = ".",
) -> PlanPanel:
    """A panel that plans the corrections of a surface, for those who do not write Python.

    Parameters
    ----------
    survey : file to begin with; empty for none
    finish : key of the finish to begin with, from the column ``finish`` of :func:`flatness.limits`
    plan : whether to begin working the plan out at once
    way : ``proposed``, ``patches``, ``members``, ``some-members`` or ``overlay``
    plane : that members or a layer come to: ``best-plane``, ``through-benchmarks``, ``end-members``; empty: level
    target : of patches: ``least-work``, ``level-at``, ``level``, ``best-plane``, ``cheapest-plane`` or ``fixed-spots``
    on : ``likely`` or ``as-read``: the surface that is planned on
    beneath : what lies beneath, of :data:`flatness.planning.substrate.KINDS`; empty: nobody knows
    may_be_planed : whether you have seen it and it may be taken down
    most_planed : how deep at most [mm]; None takes the planner's default
    folders : folders whose CSV and XLSX files are offered
    confidence : at which verdicts are given, 0.5 to under 1
    draws : surfaces drawn for the chances; 0 gives none
    spacing : lattice step [mm]; None takes about 6 in
    unit : ``in`` or ``mm``; None follows the survey
    keep_in : folder into which files are saved

    Returns
    -------
    PlanPanel : its ``state`` holds all that is set, the draft and the plan
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    kind = kind_named(beneath, KINDS) or beneath
    state = PlanState(
        survey,
        finish,
        folders,
        spacing,
        draws,
        way=way,
        plane=plane,
        target=target,
        confidence=confidence,
        on=on,
        under={"kind": kind, "may_be_planed": may_be_planed, "most_planed": most_planed},
        **traits,
    )
    panel = PlanPanel(state, keep_in)
    state.guard(state.begin)()
    if plan and state.survey is not None and not state.problems:
        state.guard(state.start)()
    return panel
