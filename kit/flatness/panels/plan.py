"""The Plan panel: what to take off, what to add and what to frame, so that the surface passes.

The verdict stands above, and beside the map the ways with what changes them; all else is in tabs. A plan is saved as
files that are new: its tables, its map as a picture, itself to be read again.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import ipywidgets as w

from flatness.charts.axes import SOFTWARE, root_of
from flatness.charts.plan_map import action_map
from flatness.errors import ArgumentError
from flatness.export.tables import in_words
from flatness.files import write_new, written_together
from flatness.framing.members import kind_named
from flatness.framing.schedule import Schedule
from flatness.measures.lines import Place
from flatness.panels.controls import SNAP_MM, button, column, drop_down, notes_html, offer, part, row, text_field, words
from flatness.panels.files import NEW_NAME, SurveyChooser, new_file
from flatness.panels.instrument import Instrument
from flatness.panels.maps import ShownMap, say
from flatness.panels.plan_controls import DRAWER, HEAD, KNOBS, SLIDE, PlanControls
from flatness.panels.plan_map import LiveActions, key_html, member_picture, what_stays
from flatness.panels.plan_request import Draft, Under
from flatness.panels.plan_state import DRAWS, PLAN_VIEW, PlanState
from flatness.panels.plan_tables import (
    PRESS,
    after_rows,
    cards,
    cautions_list,
    patches_list,
    plan_said,
    quantity_rows,
    schedule_text,
    stale_words,
    told_at,
)
from flatness.panels.strip import Said, busy
from flatness.planning.plan import Plan, save_plan
from flatness.planning.substrate import KINDS
from flatness.spreadsheet import write_csv, write_xlsx
from flatness.words.phrases import say as said_in

DOTS_PER_INCH = 150


def save_workbook(plan: Plan, schedule: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> Path:
    """Patches, members, quantities, notes and cautions as a workbook NAME.xlsx.

    Raises
    ------
    ArgumentError : a name that cannot be one, or is taken; nothing is written then
    """
    patches = plan.patches.drop(columns="outline")
    sheets = {"patches": patches, "limits": plan.after, "quantities": plan.quantities.table}
    words = [*plan.notes, *(f"{one.text} ({one.source})" for one in plan.cautions)]
    if schedule is not None:
        parts = {
            "members": schedule.members,
            "stations": schedule.table,
            "shims": schedule.shims,
            "blocking": schedule.blocking,
        }
        sheets |= {key: part for key, part in parts.items() if len(part)}
        words += [*schedule.notes, *(f"{one.text} ({one.source})" for one in schedule.cautions)]
    path = _new(folder, name, ".xlsx")
    told = [said_in(text, unit) for text in dict.fromkeys(words)]
    write_xlsx(path, {key: in_words(sheet, unit) for key, sheet in sheets.items()}, told, unit)
    return path


def save_csv(plan: Plan, schedule: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> list[Path]:
    """Patches as NAME-patches.csv and, where members are given, stations as NAME-members.csv; all or none.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    tables = {"patches": plan.patches.drop(columns="outline")}
    if schedule is not None:
        tables["members"] = schedule.table
    paths = {key: _new(folder, name, f"-{key}.csv") for key in tables}
    with written_together():
        for key, path in paths.items():
            write_csv(path, in_words(tables[key], unit), unit)
    return list(paths.values())


def save_map(plan: Plan, _: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> list[Path]:
    """The map of the plan as NAME.png.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    path, picture = _new(folder, name, ".png"), io.BytesIO()
    figure = root_of(action_map(plan, unit=unit).ax)
    figure.savefig(picture, format="png", dpi=DOTS_PER_INCH, facecolor="white", metadata={"Software": SOFTWARE})
    write_new(path, picture.getvalue(), False, remedy=NEW_NAME)
    return [path]


def save_whole(plan: Plan, _: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> list[Path]:
    """The plan itself as NAME.json, which can be presented, and which work can be held against.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    return [save_plan(plan, _new(folder, name, ".json"))]


Save = Callable[[Plan, Schedule | None, str | os.PathLike[str], str, str], list[Path]]
SAVES: tuple[tuple[str, str, Save], ...] = (
    ("the tables (XLSX)", "Patches, members, quantities and notes as one workbook", lambda *all: [save_workbook(*all)]),
    ("the tables (CSV)", "Patches and members as plain tables", save_csv),
    ("the map (PNG)", "The map of what to do, as a picture", save_map),
    ("the plan itself", "As a file that the presenting notebook and `flatness compare --plan` take", save_whole),
)


def _new(folder: str | os.PathLike[str], name: str, ending: str) -> Path:
    """Where a file goes: into the folder itself, under a name that is typed without its ending."""
    plain = name.strip()
    for known in (".xlsx", ".csv", ".png", ".json"):
        plain = plain.removesuffix(known)
    return new_file(plain and f"{plain}{ending}", folder, (ending[ending.rindex(".") :],), "Name of the files")


NO_CHART = "(no member)"
NO_PLAN = "What to do is drawn here."
VIEWS = {"What to do": PLAN_VIEW}
TITLES = ("As it stands", "What to do", "What was asked for before")


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
        self.controls = PlanControls(state)
        self._make_parts()
        group = self.controls.group
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
                "More, files": (self.name, row(*self.saves), self.saved, *drawer),
            },
            under=[self.key],
            go=[self.start, self.stop, self.bar],
        )
        state.observe(self._show_saved, "saved")

    def _make_parts(self) -> None:
        state, guard = self.state, self.state.guard
        tip = "Patches, proof, chances and schedule of what is asked for"
        self.start = button("Work out the plan", tip, guard(lambda _: state.start()), main=True)
        tip = "End the search with what it has; press again to drop it"
        self.stop = button("Stop", tip, guard(lambda _: state.stop()))
        self.bar = w.FloatProgress(min=0.0, max=1.0, description="", tooltip="How far the search is")
        self.ways, self.key = words("", "fk-ways"), words("", "fk-key")
        self.quantities, self.after, self.patches = words("", "fk-amounts"), words(), words("", "fk-patches")
        self.schedule, self.notes, self.cautions = words("", "fk-members"), words(), words()
        self.saved = words("", "fk-saved")
        self.chart = w.Image(format="png")
        self.chart.add_class("fk-chart")
        self.chart_of = drop_down("Chart of", "A member's top, the line it is set to, what to raise", (), "way")
        self._bind(self.chart_of, lambda _: self._show_chart())
        self.name = text_field(
            "Name of the files", "New files beside this notebook, written when you press a button", "plan", "file"
        )
        self.saves = [
            button(f"Save {what}", tip, guard(lambda _, save=save: self._save(save))) for what, tip, save in SAVES
        ]

    # what a person does

    def _clicked(self, xy: Place) -> None:
        if self.state.clicking:
            step = SNAP_MM[self.state.unit]
            self.controls.spot_at(*(round(at / step) * step for at in xy))

    def _save(self, save: Save) -> None:
        state = self.state
        state.saved = ()
        if state.plan is None or not state.current:
            raise ArgumentError(
                "there is no plan of what is asked for now", expected="a plan that is worked out", remedy=PRESS
            )
        paths = save(state.plan, state.schedule, self._folder, self.name.value, state.unit)
        state.saved = tuple(path.name for path in paths)

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
            stale = stale_words(shown, state.current, state.sure)
            return plan_said(shown, state.money, state.ways, state.sure, stale)
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
        actions.show(state.shown, (*state.spots, *state.chosen_benchmarks()), state.grounds, title, self._is_stale)
        return True

    def _at(self, xy: Place) -> str:
        return told_at(self.state.shown, xy, self.state.unit)

    def _fill(self) -> None:
        state, unit = self.state, self.state.unit
        shown, running = state.shown, state.running
        self.bar.value = state.share
        self.bar.layout.display = self.stop.layout.display = "" if running else "none"
        self.start.layout.display = "none" if running else ""
        plan = shown if isinstance(shown, Plan) else None
        schedule = state.schedule if plan is not None else None
        listed = (shown, schedule, state.ways, unit, bool(state.spots))
        if listed == self._listed:
            return
        drafts = isinstance(shown, Draft) and isinstance(next(iter(self._listed), None), Draft)
        same, self._listed = drafts and listed[1:] == self._listed[1:], listed
        self.quantities.value = "" if shown is None else quantity_rows(shown.quantities, unit)
        self.key.value = "" if shown is None else key_html(shown.actions, bool(state.spots))
        if same:  # a slider moves: of a draft no more is known
            return
        self.ways.value = "" if isinstance(shown, Draft) else cards(state.ways, plan, unit)
        self.after.value = "" if plan is None else after_rows(plan, unit)
        self.patches.value = patches_list(plan, unit) if plan is not None and plan.way == "patches" else ""
        self.notes.value = notes_html(() if plan is None else plan.notes, unit)
        self.cautions.value = "" if shown is None else cautions_list(shown, schedule)
        self.schedule.value = schedule_text(schedule, unit)
        self._fill_chart(schedule)

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
        self.state.search.forget()
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
    PlanPanel : its ``state`` holds all that is asked for, the draft and the plan
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
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
        under=Under(kind_named(beneath, KINDS) or beneath, may_be_planed, most_planed),
        **traits,
    )
    panel = PlanPanel(state, keep_in)
    state.guard(state.begin)()
    if plan and state.survey is not None and not state.problems:
        state.guard(state.start)()
    return panel
