"""A panel on one screen: a strip of controls, the verdict, a large map, and what belongs to it in tabs beside it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from functools import partial
from html import escape
from typing import Any

import ipywidgets as w
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from flatness.measures.bars import Place
from flatness.panels.canvas import DOTS_PER_INCH, Pointer, draw_now, live_figure
from flatness.panels.controls import Panel, column, panel_box, row, text_field, toggles, unit_switch, words
from flatness.panels.fields import Controls
from flatness.panels.places import POINT_HERE
from flatness.panels.strip import Said, busy, strip_html
from flatness.words.printed import spelled

# the map takes what room the screen leaves it, and says so to the kernel, which draws it again
MEASURE = """<style onload="const box = this.closest('.fk-map-box'); if (box) {
  box.setAttribute('role', 'region'); box.setAttribute('aria-label', 'Map'); let wait;
  const tell = () => { const field = box.parentElement?.querySelector('.fk-room input');
    const size = Math.floor(box.clientWidth) + ' x ' + Math.floor(box.clientHeight - 8);
    if (!field || box.clientWidth < 200 || box.clientHeight < 150 || field.value === size) return;
    field.value = size; field.dispatchEvent(new Event('change', {bubbles: true})); };
  new ResizeObserver(() => { clearTimeout(wait); wait = setTimeout(tell, 120); }).observe(box); }"></style>"""


def fit(figure: Figure, room: str) -> None:
    """Bring a live figure to the room that was measured on the screen, such as ``640 x 480`` pixels, if it was."""
    if room:
        wide, high = (int(text) for text in room.split("x"))
        if not np.allclose(figure.get_size_inches(), (wide / DOTS_PER_INCH, high / DOTS_PER_INCH)):
            canvas: Any = figure.canvas
            canvas.handle_resize({"width": wide, "height": high})


def places_list(items: Iterable[tuple[str, str]], named: bool = False) -> str:
    """Places as HTML, numbered or ``named``: what is there, and where."""
    rows = "".join(f"<li><b>{escape(a)}</b>{escape(b)}</li>" for a, b in items)
    return f'<ul class="fk-places fk-named">{rows}</ul>' if named else f'<ol class="fk-places">{rows}</ol>'


class Instrument(Panel):
    """A panel on one screen. A subclass gives its controls, what each view draws, and the words.

    Attributes
    ----------
    controls : of what is asked for
    verdict, here : the verdict, and what is at the place pointed at
    views : the switch from one map to another
    tabs : what stands beside the map
    maps : a live figure a view: one that was drawn is only shown again
    """

    state: Any
    controls: Controls
    tabs: Any

    def __init__(
        self,
        names: Mapping[str, str],
        tooltips: Sequence[str],
        *,
        begin: Callable[[Place], Any],
        line: Callable[[Place, Place], Any] | None = None,
        stretch: Callable[[Place, Place], Any] | None = None,
        more: Sequence[Figure] = (),
    ) -> None:
        self.maps = {view: live_figure((6.6, 4.8), "map") for view in names.values()}
        super().__init__(*self.maps.values(), *more)
        self._shown: dict[str, Any] = {}
        self._keys: dict[str, Hashable] = {}
        guard = self.state.guard
        self.pointers = [
            Pointer(
                figure,
                partial(self._listened, view),
                hover=guard(lambda xy: self.state.set_trait("pointer", xy), clears=False),
                begin=guard(begin),
                stretch=None if stretch is None else guard(stretch),
                line=None if line is None else guard(line),
            )
            for view, figure in self.maps.items()
        ]
        self.units = unit_switch(self.state.unit, guard(self.state.choose_unit))
        self.views = toggles("Map", "What the map shows", names, tooltips)
        self.views.layout.display = "" if len(names) > 1 else "none"
        self.views.value = self.state.view
        self._bind(self.views, lambda value: self.state.set_trait("view", value))
        self.room = text_field("Room for the map [px]", "Measured on the screen")
        self.room.add_class("fk-room")
        self.room.observe(guard(lambda _: self._refresh(), clears=False), "value")
        self.verdict, self.here = words("", "fk-verdict"), words(POINT_HERE, "fk-here")
        self.working.add_class("fk-working")
        self.working.layout.display = "none"
        self.problems.add_class("fk-trouble")

    def _arrange(
        self,
        strip: Sequence[Any],
        choosers: Sequence[Any],
        tabs: Mapping[str, Sequence[Any]],
        under: Sequence[Any] = (),
        go: Sequence[Any] = (),
    ) -> None:
        """Put it all together, and from now on show what the state knows.

        Parameters
        ----------
        strip : controls above the verdict
        choosers : of files, whose problems are told over the map
        tabs : what stands beside the map, by its heading
        under : what stands under the map
        go : what stands under the tabs, whichever is open
        """
        for chooser in choosers:
            chooser.problems.add_class("fk-file-trouble")
        canvases = [figure.canvas for figure in self.maps.values()]
        box = w.VBox([w.HTML(MEASURE), *canvases, self.working])
        box.add_class("fk-map-box")
        troubles = [chooser.problems for chooser in choosers]
        left = column(self.views, *troubles, box, *under, self.problems, self.here, self.room, size="left")
        self.tabs = w.Tab([column(*parts) for parts in tabs.values()], titles=list(tabs))
        self.tabs.add_class("fk-right")
        side = column(self.tabs, *([row(*go)] if go else []), size="side")
        self.box = panel_box(column(*strip, size="strip"), self.verdict, left, side, look="one")
        self._tell()
        self.state.observe(self.state.guard(self._changed, clears=False))
        self._refresh()

    # what a subclass gives

    def said(self) -> Said:
        raise NotImplementedError

    def _key(self) -> tuple[Hashable, ...]:
        """What the maps show, but for the view."""
        raise NotImplementedError

    def _paint(self, figure: Figure) -> Any:
        """Draw the view into its figure, which is empty; its axes are ``ax`` of what is given back."""
        raise NotImplementedError

    def _touch(self) -> bool:
        """Move what lies on the map in view; whether anything was."""
        return False

    def _fill(self) -> None:
        """Show in all other parts what the state knows."""
        raise NotImplementedError

    def _at(self, xy: Place) -> str:
        """What is at a place, in words."""
        raise NotImplementedError

    # what the panel shows

    @property
    def map(self) -> Figure:
        """The live figure in view."""
        return self.maps[self.state.view]

    @property
    def shown(self) -> Any:
        """What is drawn in the map in view."""
        return self._shown.get(self.state.view)

    def axes(self, view: str | None = None) -> Any:
        """Axes of the map in view, or of another; None where there is nothing to show."""
        return getattr(self._shown.get(view or self.state.view), "ax", None)

    def _listened(self, view: str) -> list[Axes]:
        ax = self.axes(view)
        return [] if ax is None else [ax]

    def _changed(self, change: Any) -> None:
        if change["name"] == "pointer":
            self._point()
        elif change["name"] not in ("working", "problems", "mistakes", "saved") and not self.state.working:
            self._refresh()

    def _point(self) -> None:
        """What is at the place pointed at, or else what the map shows."""
        xy, rest = self.state.pointer, f"{getattr(self.shown, 'caption', '')} {POINT_HERE}"
        self.here.value = escape(spelled(rest) if xy is None else self._at(xy))

    def _refresh(self) -> None:
        self.units.value, self.views.value = self.state.unit, self.state.view
        self.controls.fill()
        self._fill()
        self._draw()
        self._point()
        self.verdict.value = strip_html(self.said(), self.state.unit)
        self._show_problems()

    def _draw(self) -> None:
        view, figure = self.state.view, self.map
        key = (*self._key(), self.room.value)
        for name, one in self.maps.items():
            canvas: Any = one.canvas
            canvas.layout.display = "" if name == view else "none"
        if self._keys.get(view) != key:
            self._cover("Drawing the map ...")
            fit(figure, self.room.value)
            figure.clear()
            self._shown[view] = self._paint(figure)
            self._keys[view] = key
            self._touch()
            draw_now(figure)  # so that the new map is there before it is uncovered
            self._cover("")
        elif self._touch():
            figure.canvas.draw_idle()

    def _show_working(self, _: Any = None) -> None:
        text = self.state.working
        if text:
            self.verdict.value = strip_html(busy(text), self.state.unit)
        else:
            self.state.guard(self._refresh, clears=False)()
        self._cover(text)

    def _cover(self, text: str) -> None:
        """Cover the map while it, or what it is drawn from, is being worked out."""
        self.working.value = f'<div class="fk-busy" role="status">{escape(text)}</div>' if text else ""
        self.working.layout.display = "" if text else "none"

    def _show_problems(self, _: Any = None) -> None:
        super()._show_problems()
        wrong = bool(self.state.wrong)
        (self.problems.add_class if wrong and self.axes() is None else self.problems.remove_class)("fk-large")
        self.problems.layout.display, self.here.layout.display = ("", "none") if wrong else ("none", "")
