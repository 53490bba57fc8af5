"""The Plan panel: what to take off, what to add and what to frame, so that the surface passes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import ipywidgets as w

from flatness.corrections.beneath import KINDS
from flatness.corrections.members import kind_named
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.errors import ArgumentError
from flatness.measures.measured import Place
from flatness.show.panels.canvas import Pointer, live_figure
from flatness.show.panels.chooser import SurveyChooser
from flatness.show.panels.controls import (
    SNAP_MM,
    button,
    column,
    panel_box,
    refill,
    row,
    text_field,
    words,
)
from flatness.show.panels.plan_asked import Under
from flatness.show.panels.plan_controls import PlanControls
from flatness.show.panels.plan_draft import Draft
from flatness.show.panels.plan_look import LOOK, part
from flatness.show.panels.plan_map import MAP_IN, LiveActions, key_picture, member_picture
from flatness.show.panels.plan_more import chart_chooser
from flatness.show.panels.plan_saving import save_csv, save_map, save_whole, save_workbook
from flatness.show.panels.plan_state import DRAWS, PlanState
from flatness.show.panels.plan_tables import (
    after_rows,
    cautions_list,
    headline,
    notes_list,
    patches_rows,
    quantity_rows,
    schedule_text,
    ways_rows,
)
from flatness.show.panels.plan_told import PRESS, stale_words, told_at
from flatness.show.panels.shell import Panel
from flatness.show.panels.told import POINT_HERE
from flatness.show.words import AUTHORITY

NO_CHART = "(no member)"
SHOWN = ("draft", "plan", "schedule", "ways", "current", "sure", "unit", "price", "spots", "grounds", "running")


class PlanPanel(Panel):
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
        self.map = live_figure(MAP_IN, "plan")
        super().__init__(self.map)
        self.actions = LiveActions(self.map)
        self.chooser = SurveyChooser(state, state.choice, "Survey")
        self.controls = PlanControls(state)
        self._make_parts()
        self.box = self._box()
        guard = state.guard
        self.pointer = Pointer(
            self.map, lambda: [] if self.actions.ax is None else [self.actions.ax],
            hover=guard(lambda xy: state.set_trait("pointer", xy), clears=False), begin=guard(self._clicked),
            line=lambda *_: None,
        )  # fmt: skip
        self._drawn: tuple[Any, ...] = ()
        self._listed: tuple[Any, ...] = ()
        self._kind = ""
        for shows, names in (
            (self._show, list(SHOWN)), (self._show_search, ["running", "share", "progress"]),
            (self._point, ["pointer", "unit", "draft", "plan"]),
        ):  # fmt: skip
            state.observe(guard(shows, clears=False), names)
        state.choice.observe(guard(self._show, clears=False), "survey")
        self._tell()
        state.observe(self._show_saved, "saved")
        self._show()
        self._show_search()

    def _make_parts(self) -> None:
        state, guard = self.state, self.state.guard
        self.start = button(
            "Work out the plan", "Patches, proof, chances and schedule of what is asked for above",
            guard(lambda _: state.start()), main=True,
        )  # fmt: skip
        self.stop = button(
            "Stop", "End the search with what it has; press again to drop it", guard(lambda _: state.stop())
        )
        self.bar = w.FloatProgress(min=0.0, max=1.0, description="", tooltip="How far the search is")
        self.bar.add_class("fk-progress")
        self.progress, self.stale = words("", "fk-quiet"), words("", "fk-stale")
        self.said, self.quantities, self.after = words("", "fk-headline"), words("", "fk-amounts"), words()
        self.ways = words("", "fk-ways")
        self.patches, self.schedule = words("", "fk-patches"), words("", "fk-members")
        self.chart_of, self.chart = chart_chooser(guard(self._show_chart, clears=False)), w.Image(format="png")
        self.chart.add_class("fk-chart")
        self.notes, self.cautions = words(), words()
        self.here, self.saved = words(POINT_HERE, "fk-here"), words("", "fk-saved")
        self.key = w.Image(format="png")
        self.key.add_class("fk-key")
        self.name = text_field(
            "Name of the files", "New files beside this notebook; they are written only when you press a button",
            "plan", "file",
        )  # fmt: skip
        self.saves = [
            button("Save the tables (XLSX)", "Patches, members, quantities and notes as one workbook",
                   guard(self._saving(self._workbook))),
            button("Save the tables (CSV)", "Patches and members as plain tables", guard(self._saving(self._csv))),
            button("Save the map (PNG)", "The map of what to do, as a picture", guard(self._saving(self._map))),
            button("Save the plan itself", "As a file that the presenting notebook and `flatness compare --plan` take",
                   guard(self._saving(self._whole))),
        ]  # fmt: skip

    def _box(self) -> Any:
        controls = self.controls
        side = column(controls.height, controls.times, self.stale, self.said, self.quantities, size="fill")
        return panel_box(
            words(LOOK), row(self.chooser.controls, controls.units), self.chooser.problems, self.chooser.about,
            part("What it shall be"), row(*controls.asked, *controls.more.bench),
            part("What it may cost"), row(*controls.costs[1:]),
            part("What lies beneath, and the members"), row(*controls.ground, *controls.more.crossed),
            part("Fixed spots"), row(*controls.spots),
            controls.more.fold, controls.more.folded,
            row(self.start, self.stop, self.bar), self.progress, self.working, self.problems,
            row(column(self.map.canvas, self.here, self.key), side, top=True),
            self.ways, self.after, self.patches, self.schedule, self.chart_of, self.chart, self.notes, self.cautions,
            row(self.name, *self.saves), self.saved,
            words(f"<small>{escape(AUTHORITY)}</small>", "fk-quiet"),
        )  # fmt: skip

    # what a person does

    def _clicked(self, xy: Place) -> None:
        self.pointer.forget()
        if self.state.clicking:
            step = SNAP_MM[self.state.unit]
            self.controls.spot_at(*(round(at / step) * step for at in xy))

    def _saving(self, save: Callable[[Plan, str], list[str]]) -> Callable[[Any], None]:
        def pressed(_: Any) -> None:
            state = self.state
            state.saved = ()
            if state.plan is None or not state.current:
                raise ArgumentError(
                    "there is no plan of what is asked for now", expected="a plan that is worked out", remedy=PRESS
                )
            state.saved = tuple(save(state.plan, self.name.value))

        return pressed

    def _workbook(self, plan: Plan, name: str) -> list[str]:
        return [save_workbook(plan, self.state.schedule, self._folder, name, self.state.unit).name]

    def _csv(self, plan: Plan, name: str) -> list[str]:
        return [path.name for path in save_csv(plan, self.state.schedule, self._folder, name, self.state.unit)]

    def _map(self, plan: Plan, name: str) -> list[str]:
        return [save_map(plan, self._folder, name, self.state.unit).name]

    def _whole(self, plan: Plan, name: str) -> list[str]:
        return [save_whole(plan, self._folder, name).name]

    # what the panel shows

    def _show(self, _: Any = None) -> None:
        state = self.state
        shown = state.plan if state.draft is None or state.current else state.draft
        stale = shown is not None and shown is state.plan and not state.current
        self.stale.value = escape(stale_words(state, shown))
        places = (*state.spots, *state.grounds)
        seen = (shown, state.schedule, state.ways, state.unit, places, state.price, state.sure, stale, state.survey)
        if seen == self._drawn:
            return
        self._drawn = seen
        self._draw(shown, stale)
        self.said.value = "" if shown is None else headline(shown, state)
        self.quantities.value = "" if shown is None else quantity_rows(shown.quantities, state.unit)
        plan = shown if isinstance(shown, Plan) else None
        listed = (plan, state.schedule, state.ways, state.unit)
        if listed == self._listed:
            return
        self._listed = listed
        unit, schedule = state.unit, state.schedule if plan is not None else None
        self.ways.value = "" if isinstance(shown, Draft) else ways_rows(state.ways, plan, unit)
        self.after.value = "" if plan is None else after_rows(plan, unit)
        self.patches.value = patches_rows(plan, unit) if plan is not None and plan.way == "patches" else ""
        self.notes.value = "" if plan is None else notes_list(plan, unit)
        self.schedule.value = schedule_text(schedule, unit)
        self._fill_chart(schedule)
        if shown is not None:
            self.cautions.value = cautions_list(shown, schedule)

    def _fill_chart(self, schedule: Schedule | None) -> None:
        table = None if schedule is None else schedule.members
        known = [] if table is None else list(table.loc[table["raise_most_mm"].notna(), "member"])
        options = [(NO_CHART, ""), *((f"member {name}", str(name)) for name in known)]
        kept = self.chart_of.value if self.chart_of.value in dict(options).values() else ""
        refill(self.chart_of, options, kept)
        self.chart_of.layout.display = "" if known else "none"
        self._show_chart()

    def _show_chart(self, _: Any = None) -> None:
        state, name = self.state, self.chart_of.value
        drawn = b"" if not name or state.schedule is None else member_picture(state.schedule, name, state.unit)
        self.chart.value = drawn
        self.chart.layout.display = "" if drawn else "none"

    def _draw(self, shown: Any, stale: bool) -> None:
        state, surface = self.state, self.state.surface
        if shown is None:
            self.actions.blank(
                "No survey: choose a file above, or upload one." if surface is None
                else "Press the button above: then what to do stands here."
            )  # fmt: skip
        else:
            self.actions.show(shown, state.unit, (*state.spots, *state.chosen_benchmarks()), state.grounds)
            kind = shown.survey.surface
            if kind != self._kind:
                self._kind, self.key.value = kind, key_picture(kind)
            title = "What was asked for before" if stale else "What to do" if shown is state.plan else "As it stands"
            self.actions.say(title, faded=stale)
        self.key.layout.display = "none" if shown is None else ""
        self.map.canvas.draw_idle()

    def _show_search(self, _: Any = None) -> None:
        state = self.state
        self.bar.value, self.progress.value = state.share, escape(state.progress)
        self.bar.layout.display = self.stop.layout.display = "" if state.running else "none"
        self.start.disabled = state.running

    def _point(self, _: Any = None) -> None:
        self.here.value = escape(told_at(self.state))

    @property
    def found(self) -> Plan:
        """The plan that the panel shows, to go on by hand; see :meth:`PlanState.found`."""
        return self.state.found()

    def close(self) -> None:
        """Take the panel away with its figure and all its widgets."""
        self.state.search.forget()
        super().close()


def plan_panel(
    survey: str | os.PathLike[str] = "", finish: str = "", *, plan: bool = False, way: str = "proposed",
    plane: str = "", target: str = "least-work",
    on: str = "likely", beneath: str = "", may_be_planed: bool = False,
    most_planed: float | None = None, folders: Iterable[str | os.PathLike[str]] = (), confidence: float = 0.95,
    draws: int = DRAWS, spacing: float | None = None, unit: str | None = None, keep_in: str | os.PathLike[str] = ".",
) -> PlanPanel:  # fmt: skip
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
    beneath : what lies beneath, of :data:`flatness.corrections.beneath.KINDS`; empty: nobody knows
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
    PlanPanel : its ``state`` holds all that is asked for, the draft and the plan
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    state = PlanState(
        survey, finish, folders, spacing, draws, way=way, plane=plane, target=target, confidence=confidence, on=on,
        under=Under(kind_named(beneath, KINDS) or beneath, may_be_planed, most_planed), **traits,
    )  # fmt: skip
    panel = PlanPanel(state, keep_in)
    state.guard(state.begin)()
    if plan and state.survey is not None and not state.problems:
        state.guard(state.start)()
    return panel
