"""The Present panel: what the owner of the room is shown."""

from __future__ import annotations

import base64
import os
from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w

from flatness.corrections.plan import Plan
from flatness.show.panels.chooser import SurveyChooser
from flatness.show.panels.compare_words import HEIGHTS_BY, WAY_NAMES
from flatness.show.panels.controls import (
    button,
    column,
    drop_down,
    is_filling,
    panel_box,
    refill,
    row,
    text_field,
    toggles,
    unit_switch,
    words,
)
from flatness.show.panels.present_days import AFTER, DAY_NAMES, FOUND, PLANNED
from flatness.show.panels.present_files import next_free
from flatness.show.panels.present_look import LOOK, as_wide, line_at, slide_at
from flatness.show.panels.present_state import BESIDE, WIPE, PresentState
from flatness.show.panels.present_words import NOTHING_YET, colours_say, sentences_html, wipe_says
from flatness.show.panels.present_work import JOB_ENDING, WorkChooser
from flatness.show.panels.shell import Panel

NO_FINISH = "(no finish: say how it lies)"
VIEW_NAMES = {**DAY_NAMES, BESIDE: "Side by side", WIPE: "Wipe"}
VIEW_TOOLTIPS = {
    FOUND: "How the surface lay when it was measured first", PLANNED: "How it lies once the plan is carried out",
    AFTER: "How it lay when it was measured again", BESIDE: "All of them beside each other, in the same colours",
    WIPE: "Two of them on each other, and a line to draw across",
}  # fmt: skip
BENEATH_NAMES = {
    "Not known: nothing comes off": "", "A slab that may be ground": "slab", "A screed that may be ground": "screed",
    "Boards that may be planed": "boards", "Sheathing that may be sanded": "sheathing",
}  # fmt: skip
KINDS = {".png": "image/png", ".pdf": "application/pdf", ".html": "text/html"}
MOST_DAYS = 3


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
        self.work = WorkChooser(state, state.work)
        self._make_controls()
        self.title = words()
        self.said, self.colours, self.saved = words(), words("", "fk-colours"), words("", "fk-saved")
        self.pictures = [w.Image(format="png") for _ in range(MOST_DAYS)]
        self._line, self._sizes, self._places = words("", "fk-line"), words("", "fk-none"), words("", "fk-none")
        self.stage = w.Box([*self.pictures, self._line])
        self.stage.add_class("fk-stage")
        self.sides = row(self.left, self.right)
        self._slide = column(self.wipe)
        self._slide.add_class("fk-slide")
        picture, side = column(self.stage, self._slide, self.sides), column(self.said, self.colours)
        shown = w.Box([picture, side])
        for box, name in ((picture, "fk-picture"), (side, "fk-side"), (shown, "fk-show")):
            box.add_class(name)
        head = row(self.title, self.views, self.units)
        head.add_class("fk-head")
        self.files = w.VBox([
            row(*(
                column(one.controls, one.problems, one.about, size="survey") for one in (self.before, self.after)
            ), top=True),
            row(column(self.work.controls, self.work.problems, self.work.about, size="survey"), top=True),
            row(self.finish, self.align, self.beneath, self.work_out),
        ])  # fmt: skip
        self.files.add_class("fk-files")
        save = row(self.picture_name, self.save_picture, self.page_name, self.save_page, self.settings)
        save.add_class("fk-save")
        self.box = panel_box(
            words(LOOK, "fk-none"), self._sizes, self._places, head, self.working, self.problems, shown, save,
            self.saved, self.files,
        )  # fmt: skip
        self._name = f"fk-p{self.box.model_id[:12]}"
        for name in ("fk-present", self._name):
            self.box.add_class(name)
        for shows, names in (
            (self._fill, ["days", "finish", "align", "beneath", "unit"]),
            (self._show, ["days", "view", "left", "right", "unit"]), (self._move, ["wipe"]),
        ):  # fmt: skip
            state.observe(state.guard(shows, clears=False), names)
        self._tell()
        state.observe(self._show_saved, "saved")
        self._fill()
        self._show()

    def _make_controls(self) -> None:
        state, guard = self.state, self.state.guard
        self.views = toggles("What to show", "The surface on one of its days, or several", {"As found": FOUND}, ())
        self.units = unit_switch(state.unit, guard(state.choose_unit))
        self.wipe = w.IntSlider(
            value=round(state.wipe), min=0, max=100, step=1, description="Wipe [% of the width]",
            tooltip="Draw the line across the picture; or use the arrow keys", continuous_update=True,
        )  # fmt: skip
        self.left = drop_down("Left of the line", "The day to the left of the line", (), "short")
        self.right = drop_down("Right of the line", "The day to the right of the line", (), "short")
        self.finish = drop_down("Finish to come", "What the surface has to be good enough for", (), "finish")
        self.align = drop_down(HEIGHTS_BY, "What both surveys have in common", WAY_NAMES.items(), "way")
        self.beneath = drop_down(
            "What lies beneath", "Whether anything may be taken off: only what was looked at, and may be",
            BENEATH_NAMES.items(), "way",
        )  # fmt: skip
        self.work_out = button(
            "Work out the plan", "The least work after which the finish can be laid; it may take a minute",
            guard(lambda _: state.work_out_plan()),
        )  # fmt: skip
        self.picture_name = text_field(
            "Picture (file name)", "A new PNG file in this folder; written when you press the button", "picture.png",
            "short",
        )  # fmt: skip
        self.save_picture = button(
            "Save the picture", "What is in view now, as a picture to keep",
            guard(lambda _: self._save(self.picture_name, state.save_picture)),
        )  # fmt: skip
        self.page_name = text_field(
            "Page (file name)", "A new PDF or HTML file in this folder; written when you press the button",
            "owner.pdf", "short",
        )  # fmt: skip
        self.save_page = button(
            "Save the owner's page", "Pictures and sentences on one page, to print or to send",
            guard(lambda _: self._save(self.page_name, state.save_page)),
        )  # fmt: skip
        self.settings = w.ToggleButton(
            value=False, description="Files and settings",
            tooltip="Which surveys are shown, for which finish, and the plan; hide them before you present",
        )  # fmt: skip
        self.views.observe(guard(self._view_chosen), "value")
        self.wipe.observe(guard(lambda change: state.set_trait("wipe", float(change["new"])), clears=False), "value")
        for widget, side in ((self.left, "left"), (self.right, "right")):
            widget.observe(guard(lambda change, side=side: self._side_chosen(side, change)), "value")
        self.finish.observe(guard(self._finish_chosen), "value")
        self.align.observe(guard(lambda change: state.set_trait("align", change["new"])), "value")
        self.beneath.observe(guard(lambda change: state.set_trait("beneath", change["new"])), "value")
        self.settings.observe(lambda _: self._fill(), "value")

    def _view_chosen(self, change: Any) -> None:
        if not is_filling(self.views) and change["new"]:
            self.state.view = change["new"]

    def _side_chosen(self, side: str, change: Any) -> None:
        if not is_filling(getattr(self, side)) and change["new"]:
            self.state.choose_side(side, change["new"])

    def _finish_chosen(self, change: Any) -> None:
        if not is_filling(self.finish):
            self.state.choose_finish(change["new"] or "")

    def _save(self, field: Any, write: Any) -> None:
        path = write(field.value, self._folder)
        field.value = next_free(path.name, self._folder)

    def _fill(self, _: Any = None) -> None:
        state = self.state
        keys = [day.key for day in state.days] or [FOUND]
        several = len(keys) > 1
        self.views.tooltips = [VIEW_TOOLTIPS[key] for key in (*keys, *((BESIDE, WIPE) if several else ()))]
        refill(self.views, [(VIEW_NAMES[k], k) for k in (*keys, *((BESIDE, WIPE) if several else ()))], state.view)
        for widget, key in ((self.left, state.left), (self.right, state.right)):
            refill(widget, [(DAY_NAMES[one], one) for one in keys], key)
        options = [(NO_FINISH, ""), *((name, key) for key, name in state.finishes.items())]
        refill(self.finish, options, state.finish if state.finish in state.finishes else "")
        self.align.value, self.units.value, self.beneath.value = state.align, state.unit, state.beneath
        self.files.layout.display = "" if self.settings.value or not state.days else "none"

    def _show(self, _: Any = None) -> None:
        state = self.state
        self.title.value = f"<h2>{escape(state.title or 'No survey yet')}</h2>"
        self.views.value, self.left.value, self.right.value = state.view, state.left, state.right
        wiping = state.view == WIPE and bool(state.days)
        self._slide.layout.display = "" if wiping else "none"
        self.sides.layout.display = "" if wiping and len(state.days) > 2 else "none"
        if not state.days:
            self.said.value, self.colours.value = sentences_html([("To begin", NOTHING_YET)]), ""
            self._put([], False)
            return
        self.said.value, self.colours.value = sentences_html(state.said()), escape(colours_say(state.days))
        if state.view == WIPE:
            self._put(list(state.sides()), True)
            both = wipe_says(state.day(state.left), state.day(state.right))
            self.colours.value = f"{escape(both)}<br>{self.colours.value}"
        elif state.view == BESIDE:
            self._put([state.picture_of(day.key) for day in state.days], False)
        else:
            self._put([state.picture_of(state.view)], False)

    def _put(self, pictures: list[Any], wiping: bool) -> None:
        """Hand the pictures to the page: those of a wipe on each other, the right one beneath."""
        ordered = pictures[::-1] if wiping else pictures
        for i, (widget, picture) in enumerate(zip(self.pictures, [*ordered, *[None] * MOST_DAYS], strict=False)):
            widget.layout.display = "none" if picture is None else ""
            (widget.add_class if wiping and i == 1 else widget.remove_class)("fk-over")
            if picture is not None and widget.value != picture.png:
                widget.value = picture.png
        beside = not wiping and len(pictures) > 1
        (self.stage.add_class if beside else self.stage.remove_class)("fk-beside")
        self._sizes.value = as_wide(self._name, pictures[0], len(pictures) if beside else 1) if pictures else ""
        self._places.value = slide_at(self._name, pictures[0]) if wiping else ""
        self._move()

    def _move(self, _: Any = None) -> None:
        state = self.state
        wiping = state.view == WIPE and bool(state.days)
        self._line.layout.display = "" if wiping else "none"
        self.wipe.value = round(state.wipe)
        self._line.value = line_at(self._name, state.sides()[0], state.wipe / 100) if wiping else ""

    def _show_saved(self, _: Any = None) -> None:
        self.saved.value = "".join(_link(path) for path in self.state.saved)


def _link(path: Path) -> str:
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    name = escape(path.name)
    return (
        f'<div role="status">Written: {name}. <a download="{name}" href="data:{KINDS[path.suffix.lower()]};base64,'
        f'{data}">Download {name} to this device</a></div>'
    )


def present_panel(
    before: str | os.PathLike[str] = "", after: str | os.PathLike[str] = "", finish: str = "", *,
    plan: Plan | bool | str | os.PathLike[str] = False, beneath: str = "", align: str = "benchmarks",
    folders: Iterable[str | os.PathLike[str]] = (), unit: str | None = None, keep_in: str | os.PathLike[str] = ".",
) -> PresentPanel:  # fmt: skip
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
