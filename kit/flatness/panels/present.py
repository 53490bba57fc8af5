"""The Present panel: what the owner of the room is shown.

One sentence, one large picture, and all days beside it on one scale; numbers are on a second page.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w

from flatness.job.schema import BENEATH, COMPARE
from flatness.panels.controls import (
    Panel,
    button,
    column,
    offer,
    panel_box,
    row,
    text_field,
    toggles,
    unit_switch,
    words,
)
from flatness.panels.fields import Control, Controls, finish
from flatness.panels.files import JOB_ENDING, FileChooser, SurveyChooser, next_free
from flatness.panels.present_pictures import AFTER, DAY_NAMES, FOUND, PLANNED
from flatness.panels.present_state import BESIDE, NUMBERS, PresentState, colours_say, sentences_html
from flatness.panels.strip import Said, strip_html
from flatness.planning.plan import Plan
from flatness.words.ways import ASK

NO_WORK = "(neither: by what is chosen here)"
VIEW_NAMES = {**DAY_NAMES, BESIDE: "Side by side", NUMBERS: "Numbers"}
VIEW_TOOLTIPS = {
    FOUND: "How the surface lay when it was measured first",
    PLANNED: "How it lies once the plan is carried out",
    AFTER: "How it lay when it was measured again",
    BESIDE: "All of them beside each other, in the same colors",
    NUMBERS: "All that is said of it, with its numbers",
}
# only what was looked at, and may be taken down
MAY_COME_OFF = (
    ("Not known: nothing comes off", ""),
    ("A slab that may be ground", "slab"),
    ("A screed that may be ground", "screed"),
    ("Boards that may be planed", "boards"),
    ("Sheathing that may be sanded", "sheathing"),
)
CONTROLS = (
    finish("(no finish: say how it lies)", "What the surface has to be good enough for"),
    Control("align", COMPARE["align"], size="way"),
    Control("beneath", BENEATH["kind"], MAY_COME_OFF, help="Only what was looked at, and may be", size="way"),
)
KINDS = {".png": "image/png", ".pdf": "application/pdf", ".html": "text/html"}
WORDS = {"pass": "YES", "fail": "NOT YET", "undecided": "NOT SURE", ASK: "ASK"}


class PresentPanel(Panel):
    """The Present panel, to be shown as the last line of a notebook's cell.

    Attributes
    ----------
    state : what the panel knows; read it to go on by hand
    box : the widgets
    """

    state: PresentState

    def __init__(self, state: PresentState, folder: str | os.PathLike[str] = ".") -> None:
        self.state, self._folder = state, folder
        super().__init__()
        self.before = SurveyChooser(state, state.before, "As found")
        self.after = SurveyChooser(state, state.after, "After the work, if it is done")
        self.work = FileChooser(
            state, state.work, "Job file or saved plan", "TOML or JSON", nothing=NO_WORK, upload="Upload a plan"
        )
        self._make_controls()
        self.title, self.answer, self.stage = words(), words("", "fk-verdict"), words()
        self.said, self.colours, self.saved = words(), words("", "fk-colours"), words("", "fk-saved")
        head = row(self.title, self.views, self.units, self.settings)
        head.add_class("fk-head")
        chosen = (
            column(one.controls, one.problems, one.about, size="survey") for one in (self.before, self.after, self.work)
        )
        self.files = w.VBox(
            [
                row(*chosen, top=True),
                row(*(self.controls[one.key] for one in CONTROLS), self.work_out),
                row(self.picture_name, self.save_picture, self.page_name, self.save_page),
            ]
        )
        self.files.add_class("fk-files")
        parts = (head, self.working, self.answer, self.problems, self.saved, self.files)
        self.box = panel_box(*parts, self.stage, self.said, self.colours)
        self.box.add_class("fk-present")
        for shows, names in (
            (self._fill, ["days", "finish", "align", "beneath", "unit"]),
            (self._show, ["days", "view", "unit"]),
        ):
            state.observe(state.guard(shows, clears=False), names)
        self._tell()
        state.observe(self._show_saved, "saved")
        self._fill()
        self._show()

    def _make_controls(self) -> None:
        state, guard = self.state, self.state.guard
        self.views = toggles("What to show", "The surface on one of its days, or several", {"As found": FOUND}, ())
        self.views.add_class("fk-views")
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.controls = Controls(state, CONTROLS)
        tip = "The least work after which the finish can be laid; it may take a minute"
        self.work_out = button("Work out the plan", tip, guard(lambda _: state.work_out_plan()))
        tip = "A new file in this folder; written when you press the button"
        self.picture_name = text_field("Picture (file name)", tip, "picture.png")
        self.page_name = text_field("Page (file name)", tip, "owner.pdf")
        tip = "What is in view now, as a picture to keep"
        save = guard(lambda _: self._save(self.picture_name, state.save_picture))
        self.save_picture = button("Save the picture", tip, save)
        tip = "Pictures and sentences on one page, to print or to send"
        save = guard(lambda _: self._save(self.page_name, state.save_page))
        self.save_page = button("Save the owner's page", tip, save)
        tip = "Which surveys are shown, for which finish, and the plan; hide them before you present"
        self.settings = w.ToggleButton(value=False, description="Files and settings", tooltip=tip)
        self._bind(self.views, lambda key: state.set_trait("view", key or FOUND))
        self.settings.observe(lambda _: self._fill(), "value")

    def _save(self, field: Any, write: Any) -> None:
        path = write(field.value, self._folder)
        field.value = next_free(path.name, self._folder)

    def _fill(self, _: Any = None) -> None:
        state = self.state
        views = state.views or (FOUND,)
        self.views.tooltips = [VIEW_TOOLTIPS[key] for key in views]
        offer(self.views, [(VIEW_NAMES[key], key) for key in views], state.view)
        self.controls.fill()
        self.units.value = state.unit
        self.files.layout.display = "" if self.settings.value or not state.days else "none"

    def _show(self, _: Any = None) -> None:
        state = self.state
        self.title.value = f"<h2>{escape(state.title or 'No survey yet')}</h2>"
        self.views.value = state.view
        shade, condition, says, more = state.headline()
        self.answer.value = strip_html(Said(shade, WORDS.get(shade, "LOOK"), says, more, condition), state.unit)
        paged = state.view == NUMBERS
        self.said.value = sentences_html(state.said()) if paged else ""
        self.colours.value = escape(colours_say(state.days)) if state.days and not paged else ""
        pictures = "".join(_image(one.png, f'width="{one.size[0]}" height="{one.size[1]}"') for one in state.in_view())
        days = _days(state) if len(state.days) > 1 and state.view not in (BESIDE, NUMBERS) else ""
        figure = f'<figure role="region" aria-label="Map">{pictures}</figure>'
        self.stage.value = f'<div class="fk-stage">{figure}{days}</div>' if pictures else ""

    def _show_saved(self, _: Any = None) -> None:
        self.saved.value = "".join(_link(path) for path in self.state.saved)


def _image(png: bytes, size: str = "") -> str:
    data = base64.b64encode(png).decode("ascii")
    return f'<img alt="" {size} src="data:image/png;base64,{data}" style="width:auto">'


def _days(state: PresentState) -> str:
    """All days on one scale, small: a click shows one of them large."""
    told = []
    for k, day in enumerate(state.days):
        pick = f"this.closest('.fk-panel').querySelectorAll('.fk-views button')[{k}].click()"
        told.append(
            f'<button aria-pressed="{str(day.key == state.view).lower()}" title="Show it large" '
            f'aria-label="{escape(day.name)}, large" onclick="{pick}">{_image(state.picture_of(day.key).map)}'
            f"{escape(day.name)}</button>"
        )
    return f'<div class="fk-days">{"".join(told)}</div>'


def _link(path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    name = escape(path.name)
    return (
        f'<div role="status">Written: {name}. <a download="{name}" href="data:{KINDS[path.suffix.lower()]};base64,'
        f'{data}">Download {name} to this device</a></div>'
    )


def present_panel(
    before: str | os.PathLike[str] = "",
    after: str | os.PathLike[str] = "",
    finish: str = "",
    *,
    plan: Plan | bool | str | os.PathLike[str] = False,
    beneath: str = "",
    align: str = "benchmarks",
    folders: Iterable[str | os.PathLike[str]] = (),
    unit: str | None = None,
    keep_in: str | os.PathLike[str] = ".",
) -> PresentPanel:
    """A panel that shows a surface to whoever owns it: as found, as planned, after the work.

    Parameters
    ----------
    before, after : files to begin with; empty for none. A job file as ``before`` is all that is needed
    finish : key of the finish to come; empty for none
    plan : a plan made from ``before``, or the file it was saved to; True works one out for the finish, which may take
        a minute
    beneath : what lies beneath and may be taken down, such as ``boards``; empty: nothing comes off
    align : how the heights of both surveys are brought together: ``benchmarks``, ``offset``, ``tilt`` or ``none``
    folders : folders whose CSV and XLSX files are offered
    unit : ``in`` or ``mm``; None follows the survey
    keep_in : folder into which pictures and pages are written

    Returns
    -------
    PresentPanel : its ``state`` holds the surveys, the plan and the comparison
    """
    traits: dict[str, Any] = {} if unit is None else {"unit": unit}
    work: str | os.PathLike[str] = "" if isinstance(plan, (Plan, bool)) else plan
    if Path(before).suffix.lower() == JOB_ENDING:
        before, work = "", before
    state = PresentState(before, after, finish, folders, work, align=align, beneath=beneath, **traits)
    panel = PresentPanel(state, keep_in)
    state.guard(state.begin)(plan if isinstance(plan, Plan) else None)
    if plan is True and not state.problems:
        state.guard(state.work_out_plan)()
    return panel
