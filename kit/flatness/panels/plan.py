"""The Plan panel: what to take off, what to add and what to frame, so that the surface passes.

The verdict stands above, the ways side by side beside the map, and what changes them below; all else is in a drawer.
A plan is saved as files that are new: its tables, its map as a picture, itself to be read again.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w

from flatness.charts.axes import INK, SOFTWARE, root_of
from flatness.charts.plan_map import action_map
from flatness.errors import ArgumentError
from flatness.export.tables import in_words
from flatness.files import write_new, written_together
from flatness.framing.members import kind_named
from flatness.framing.schedule import Schedule
from flatness.measures.lines import Place
from flatness.panels.canvas import Pointer, live_figure
from flatness.panels.chooser import SurveyChooser
from flatness.panels.controls import (
    RULE,
    SNAP_MM,
    Panel,
    button,
    drop_down,
    panel_box,
    part,
    problem_list,
    refill,
    row,
    text_field,
    unit_switch,
    words,
)
from flatness.panels.places import POINT_HERE
from flatness.panels.plan_controls import DRAWER, HEAD, KNOBS, SLIDE, PlanControls
from flatness.panels.plan_map import MAP_IN, LiveActions, key_picture, member_picture
from flatness.panels.plan_request import Draft, Under
from flatness.panels.plan_state import DRAWS, PlanState
from flatness.panels.plan_tables import (
    PRESS,
    after_rows,
    cards,
    cautions_list,
    notes_list,
    patches_rows,
    plan_said,
    quantity_rows,
    schedule_text,
    stale_words,
    told_at,
)
from flatness.panels.strip import STRIP, Said, strip_html
from flatness.planning.plan import ACTIONS, Plan, save_plan
from flatness.planning.substrate import KINDS
from flatness.spreadsheet import write_csv, write_xlsx
from flatness.words.phrases import say
from flatness.words.printed import AUTHORITY

DOTS_PER_INCH = 150
ANOTHER = "type another name for the files"


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
    path = _free(folder, name, ".xlsx")
    told = [say(text, unit) for text in dict.fromkeys(words)]
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
    paths = {key: _free(folder, name, f"-{key}.csv") for key in tables}
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
    path, picture = _free(folder, name, ".png"), io.BytesIO()
    figure = root_of(action_map(plan, unit=unit).ax)
    figure.savefig(picture, format="png", dpi=DOTS_PER_INCH, facecolor="white", metadata={"Software": SOFTWARE})
    write_new(path, picture.getvalue(), False, remedy=ANOTHER)
    return [path]


def save_whole(plan: Plan, _: Schedule | None, folder: str | os.PathLike[str], name: str, unit: str) -> list[Path]:
    """The plan itself as NAME.json, which can be presented, and which work can be held against.

    Raises
    ------
    ArgumentError : as for :func:`save_workbook`
    """
    return [save_plan(plan, _free(folder, name, ".json"))]


Save = Callable[[Plan, Schedule | None, str | os.PathLike[str], str, str], list[Path]]
SAVES: tuple[tuple[str, str, Save], ...] = (
    ("the tables (XLSX)", "Patches, members, quantities and notes as one workbook", lambda *all: [save_workbook(*all)]),
    ("the tables (CSV)", "Patches and members as plain tables", save_csv),
    ("the map (PNG)", "The map of what to do, as a picture", save_map),
    ("the plan itself", "As a file that the presenting notebook and `flatness compare --plan` take", save_whole),
)


def _free(folder: str | os.PathLike[str], name: str, ending: str) -> Path:
    """Where a file goes: into the folder itself, under a name that is typed without its ending."""
    plain = name.strip()
    for known in (".xlsx", ".csv", ".png", ".json"):
        plain = plain.removesuffix(known)
    if not plain or not plain.isprintable() or Path(plain).name != plain or plain.startswith("."):
        raise ArgumentError(
            "not a name for a file",
            column="Name of the files",
            value=name.strip() or "empty",
            expected="a name without folders, such as loft plan",
            remedy=ANOTHER,
        )
    path = Path(folder) / f"{plain}{ending}"
    if path.exists():
        raise ArgumentError(
            "there is a file of this name already", file=path.name, expected="a new name", remedy=ANOTHER
        )
    return path


NO_CHART = "(no member)"
SHOWN = ("draft", "plan", "schedule", "ways", "current", "sure", "unit", "price", "spots", "grounds", "running")
# the page tells how much room the map has, and gives it its name; a slider's handle is named as its label
FIT = (
    "const panel = this.closest('.fk-panel'); if (panel) { const fit = () => { "
    "const map = panel.querySelector('.fk-map'), room = panel.querySelector('.fk-room input'); "
    "if (!map || !room) return; "
    "map.setAttribute('role', 'region'); map.setAttribute('aria-label', 'Map'); "
    "const page = panel.closest('.jp-WindowedPanel-outer') ?? document.documentElement; "
    "panel.style.setProperty('--fk-high', page.clientHeight - 24 + 'px'); "
    "const size = map.clientWidth + ' ' + map.clientHeight; if (map.clientWidth > 99 && room.dataset.size !== size) { "
    "room.dataset.size = room.value = size; room.dispatchEvent(new Event('change', {bubbles: true})); } }; "
    "const seen = new ResizeObserver(fit); seen.observe(panel); addEventListener('resize', fit); "
    "setTimeout(() => { fit(); panel.scrollIntoView(); "
    "panel.querySelectorAll('.fk-map').forEach(e => seen.observe(e)); "
    "seen.observe(panel.closest('.jp-WindowedPanel-outer') ?? panel); }, 300); "
    "panel.addEventListener('focusin', event => { if (event.target.classList.contains('noUi-handle')) "
    "event.target.setAttribute('aria-label', event.target.closest('.widget-inline-hbox').querySelector('label')"
    ".textContent); }); }"
)
LOOK = f"""<style onload="{FIT}">
.fk-plan-panel.fk-panel {{ font-size:13px; padding:6px 10px 10px; gap:6px }}
.fk-view {{ display:flex; flex-direction:column; gap:6px; overflow:hidden; margin:0;
  height:clamp(560px, var(--fk-high, 740px), 900px) }}
.fk-view > * {{ flex:0 0 auto; margin:0 }} .fk-view > .fk-body {{ flex:1 1 0; min-height:0 }}
.fk-view .fk-row {{ gap:4px 10px }} .fk-view .fk-file {{ flex:1 1 180px }}
.fk-view .fk-row > .fk-row {{ flex:0 1 330px; flex-wrap:nowrap }} .fk-view .fk-finish {{ flex:1 1 320px }}
.fk-view .widget-html:has(> .widget-html-content:empty) {{ display:none }}
.fk-view .widget-toggle-buttons .widget-toggle-button {{ height:32px; padding:0 8px; flex:0 0 auto }}
.fk-view .widget-toggle-buttons {{ flex-wrap:nowrap }} .fk-view .widget-toggle-buttons > label {{ display:none }}
.fk-view .widget-label {{ font-size:12px !important; white-space:nowrap !important }}
.fk-view select {{ font-size:12px !important }} .fk-view .widget-upload {{ font-size:12px !important; padding:0 8px }}
.fk-body {{ display:grid; grid-template-columns:minmax(300px, 372px) minmax(0, 1fr); gap:0 20px; overflow:hidden }}
.fk-side {{ overflow-y:auto; overflow-x:hidden; min-height:0; height:100%; gap:6px; margin:0; padding:1px }}
.fk-mapside {{ display:flex; flex-direction:column; min-height:0; min-width:0; height:100%; overflow:hidden; gap:4px;
  margin:0 }}
.fk-map {{ flex:1 1 0; min-height:200px; min-width:0; overflow:hidden; margin:0 }}
.fk-map * {{ max-width:100% }}
.fk-plan-panel .fk-here {{ flex:0 0 40px; min-height:0; overflow:auto; line-height:1.4 }}
.fk-plan-panel .fk-key {{ flex:0 0 auto }}
@media (max-height:800px) {{ .fk-plan-panel .fk-key {{ display:none }} }}
.fk-answer {{ display:flex; align-items:stretch; border:1px solid {INK}; gap:0 10px; overflow:hidden }}
.fk-answer > .fk-verdict {{ flex:1 1 auto; min-width:0; width:auto; height:88px; overflow:hidden }}
.fk-go {{ display:flex; flex-flow:column; justify-content:center; gap:6px; padding:0 10px;
  flex:0 0 auto; overflow:hidden }}
{STRIP}
.fk-cards {{ display:flex; flex-direction:column; gap:6px }} .fk-cards small {{ color:#4a535c; font-size:12px }}
.fk-card {{ display:grid; grid-template-columns:72px 1fr; gap:2px 10px; width:100%; text-align:left; background:#f3f5f6;
  border:1px solid #7c868e; padding:6px 8px; color:{INK}; font:inherit; font-size:13px; line-height:1.35; margin:0;
  box-sizing:border-box }}
button.fk-card {{ cursor:pointer }} button.fk-card:hover {{ border-color:{INK} }}
.fk-card[aria-pressed=true] {{ background:#fff; border:2px solid {INK}; padding:5px 7px }}
div.fk-card {{ display:block }}
.fk-name > b {{ font-size:15px }}
.fk-name {{ display:flex; flex-direction:column }} .fk-name i {{ font-style:normal; font-weight:700 }}
.fk-card svg {{ width:72px; height:50px; border:2px solid {INK}; background:#fff; box-sizing:border-box }}
.fk-numbers {{ grid-column:1 / -1; display:flex; justify-content:space-between; gap:6px }}
.fk-numbers span {{ display:flex; flex-direction:column; color:#4a535c; font-size:12px }}
.fk-numbers span b {{ color:{INK}; font-size:13px; white-space:nowrap }}
.fk-plan-panel .fk-steps {{ flex:0 0 auto; width:100%; max-width:480px }}
.fk-panel .widget-hslider .slider-container {{ margin:4px 10px; min-height:20px; flex:0 0 20px; width:auto }}
.fk-panel .widget-hslider .widget-readout {{ min-width:0; max-width:none; width:auto; height:auto; margin:2px 0 0;
  text-align:left; color:{INK}; font-size:14px; font-weight:600; font-variant-numeric:tabular-nums;
  border-color:transparent; overflow:visible; line-height:1.4 }}
.fk-panel .noUi-target {{ background:#e6e8ea; border:1px solid {RULE} }}
.fk-panel .noUi-handle {{ background:#fff; border:2px solid {INK} !important; border-radius:50% }}
.fk-panel .noUi-handle:focus-visible {{ outline:3px solid #1b5fa8; outline-offset:2px }}
.fk-panel .fk-part {{ font-weight:600; font-size:14px; border-bottom:1px solid {RULE}; padding:6px 0 2px }}
.fk-view > .fk-knobs {{ border-top:1px solid {RULE}; padding-top:4px; flex-wrap:nowrap; gap:4px 8px }}
.fk-knobs > * {{ flex:1 1 90px; min-width:0 }} .fk-knobs > .fk-way {{ flex:2 1 150px }}
.fk-knobs > button {{ flex:0 0 auto }} .fk-view > .fk-knobs .widget-label {{ white-space:normal !important }}
.fk-drawer {{ background:#f3f5f6; padding:8px; overflow:visible; gap:8px }}
.fk-cautions {{ border:1px solid #5c4300; background:#fff7e0; color:{INK}; padding:6px 12px }}
.fk-cautions ul, .fk-list {{ margin:4px 0; padding-left:20px }}
.fk-panel .fk-schedule {{ font-size:12.5px; overflow-x:auto }}
.fk-panel .fk-chart {{ max-width:960px; width:100% }}
.fk-panel .fk-key img {{ max-width:100%; height:auto }} .fk-key {{ max-width:557px }}
.fk-panel .widget-hprogress, .fk-panel .progress {{ width:150px; height:16px }}
@media (max-width:1100px) {{ .fk-view {{ height:auto; overflow:visible }}
  .fk-answer > .fk-verdict {{ height:auto; min-height:88px }}
  .fk-body {{ grid-template-columns:1fr; overflow:visible; gap:8px }}
  .fk-side, .fk-mapside {{ height:auto; overflow:visible }}
  .fk-view > .fk-body {{ flex:0 0 auto }} .fk-map {{ height:420px; flex:0 0 420px }}
  .fk-view > .fk-knobs {{ flex-wrap:wrap }} .fk-knobs > * {{ flex:1 1 130px }}
  .fk-view > .fk-row, .fk-view .fk-row > .fk-row {{ flex-wrap:wrap }} .fk-view .fk-finish {{ flex:1 1 100% }} }}
</style>"""


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
            self.map,
            lambda: [] if self.actions.ax is None else [self.actions.ax],
            hover=guard(lambda xy: state.set_trait("pointer", xy), clears=False),
            begin=guard(self._clicked),
        )
        self._drawn: tuple[Any, ...] = ()
        self._listed: tuple[Any, ...] = ()
        for shows, names in (
            (self._show, SHOWN),
            (self._show_search, ("running", "share", "progress", "working")),
            (self._point, ("pointer", "unit", "draft", "plan")),
        ):
            state.observe(guard(shows, clears=False), list(names))
        state.choice.observe(guard(self._show, clears=False), "survey")
        self._tell()
        state.observe(state.alone(self._show_problems), "mistakes")
        state.observe(self._show_saved, "saved")
        self._show()
        self._show_search()

    def _make_parts(self) -> None:
        state, guard = self.state, self.state.guard
        tip = "Patches, proof, chances and schedule of what is asked for"
        self.start = button("Work out the plan", tip, guard(lambda _: state.start()), main=True)
        tip = "End the search with what it has; press again to drop it"
        self.stop = button("Stop", tip, guard(lambda _: state.stop()))
        self.bar = w.FloatProgress(min=0.0, max=1.0, description="", tooltip="How far the search is")
        self.said, self.ways = words("", "fk-verdict"), words("", "fk-ways")
        self.quantities, self.after, self.patches = words("", "fk-amounts"), words(), words("", "fk-patches")
        self.schedule, self.notes, self.cautions = words("", "fk-members"), words(), words()
        self.here, self.saved = words(POINT_HERE, "fk-here"), words("", "fk-saved")
        self.key, self.chart = (w.Image(format="png") for _ in range(2))
        self.key.add_class("fk-key")
        self.chart.add_class("fk-chart")
        self.chart_of = drop_down("Chart of", "A member's top, the line it is set to, what to raise", (), "way")
        self.chart_of.observe(guard(self._show_chart, clears=False), "value")
        self.units = unit_switch(state.unit, guard(state.choose_unit), {"ft, in": "in", "mm": "mm"})
        state.observe(lambda change: setattr(self.units, "value", change["new"]), "unit")
        self.more = w.ToggleButton(value=False, description="More", tooltip="All else that can be asked for")
        self.more.observe(lambda _: self._unfold(), "value")
        # how much room the map has, as the page tells it
        self.room = text_field("Room of the map [px]", "Filled in by the page")
        self.room.add_class("fk-room")
        self.room.layout.display = "none"
        self.room.observe(guard(self._fit, clears=False), "value")
        self.name = text_field(
            "Name of the files", "New files beside this notebook, written when you press a button", "plan", "file"
        )
        self.saves = [
            button(f"Save {what}", tip, guard(lambda _, save=save: self._save(save))) for what, tip, save in SAVES
        ]

    def _box(self) -> Any:
        group = self.controls.group
        parts = [one for name in DRAWER for one in (part(name), row(*group(name)))]
        self.drawer = _named(w.VBox(parts), "fk-drawer")
        self._unfold()
        go = _named(w.Box([self.start, self.stop, self.bar]), "fk-go")
        side = _named(w.VBox([*group(SLIDE), self.ways]), "fk-side")
        mapped = _named(w.Box([_named(w.Box([self.map.canvas]), "fk-map"), self.here, self.key]), "fk-mapside")
        view = w.VBox(
            [
                row(self.chooser.controls, *group(HEAD), self.units),
                self.chooser.problems,
                _named(w.Box([self.said, go]), "fk-answer"),
                self.problems,
                _named(w.Box([side, mapped]), "fk-body"),
                _named(row(*group(KNOBS), self.more), "fk-knobs"),
            ]
        )
        box = panel_box(
            words(LOOK),
            _named(view, "fk-view"),
            self.room,
            self.drawer,
            self.working,
            self.chooser.about,
            self.quantities,
            self.after,
            self.patches,
            self.schedule,
            self.chart_of,
            self.chart,
            self.notes,
            self.cautions,
            row(self.name, *self.saves),
            self.saved,
            words(f"<small>{escape(AUTHORITY)}</small>", "fk-quiet"),
        )
        return _named(box, "fk-plan-panel")

    # what a person does

    def _unfold(self) -> None:
        self.drawer.layout.display = "" if self.more.value else "none"

    def _clicked(self, xy: Place) -> None:
        if self.state.clicking:
            step = SNAP_MM[self.state.unit]
            self.controls.spot_at(*(round(at / step) * step for at in xy))

    def _fit(self, change: Any) -> None:
        """Draw the map as large as the page has room for it."""
        wide, high = (max(200, int(size)) for size in change["new"].split())
        canvas: Any = self.map.canvas
        canvas.handle_resize({"width": wide, "height": high})
        self._drawn = ()
        self._show()

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

    def _show_problems(self, _: Any = None) -> None:
        state = self.state
        self.problems.value = problem_list((*state.mistakes, *state.problems), "That did not work.", state.unit)

    def _show(self, _: Any = None) -> None:
        state = self.state
        shown = state.shown
        stale = shown is not None and shown is state.plan and not state.current
        self._show_search()
        places = (*state.spots, *state.grounds)
        seen = (shown, state.schedule, state.ways, state.unit, places, state.price, state.sure, stale, state.survey)
        if seen == self._drawn:
            return
        self._drawn = seen
        self._draw(shown, stale)
        self.quantities.value = "" if shown is None else quantity_rows(shown.quantities, state.unit)
        plan = shown if isinstance(shown, Plan) else None
        listed = (plan, state.schedule, state.ways, state.unit)
        if listed == self._listed:
            return
        self._listed = listed
        unit, schedule = state.unit, state.schedule if plan is not None else None
        self.ways.value = "" if isinstance(shown, Draft) else cards(state.ways, plan, unit)
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
        state = self.state
        if shown is None:
            self.actions.blank("" if state.surface is None else "What to do is drawn here.")
        else:
            self.actions.show(shown, state.unit, (*state.spots, *state.chosen_benchmarks()), state.grounds)
            there = tuple(name for number, name in enumerate(ACTIONS) if (shown.actions == number).any())
            self.key.value = key_picture(there, bool(state.spots))
            title = "What was asked for before" if stale else "What to do" if shown is state.plan else "As it stands"
            self.actions.say(title, faded=stale)
        self.key.layout.display = "none" if shown is None else ""
        self.map.canvas.draw_idle()

    def _show_search(self, _: Any = None) -> None:
        """The verdict, or that it is being worked out."""
        state = self.state
        shown, busy = state.shown, state.running or bool(state.working)
        if busy:
            said = Said("", "WORKING", state.working or "Working out the plan", state.progress)
        elif shown is not None:
            stale = stale_words(shown, state.current, state.sure)
            said = plan_said(shown, state.money, state.ways, state.sure, stale)
        elif state.survey is None:
            said = Said("", "NO SURVEY", "Choose a survey in the list above, or upload one")
        else:
            said = Said("", "NO PLAN", "Say what lies beneath, then press Work out the plan")
        self.said.value = strip_html(said, state.unit)
        self.bar.value = state.share
        self.bar.layout.display = self.stop.layout.display = "" if state.running else "none"
        self.start.layout.display = "none" if state.running else ""
        self.start.disabled = state.running

    def _point(self, _: Any = None) -> None:
        self.here.value = escape(told_at(self.state.shown, self.state.pointer, self.state.unit))

    @property
    def found(self) -> Plan:
        """The plan that the panel shows, to go on by hand; see :meth:`PlanState.found`."""
        return self.state.found()

    def close(self) -> None:
        """Take the panel away with its figure and all its widgets."""
        self.state.search.forget()
        super().close()


def _named(box: Any, name: str) -> Any:
    box.add_class(name)
    return box


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
