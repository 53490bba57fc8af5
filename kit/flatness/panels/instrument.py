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

from flatness.charts.axes import INK
from flatness.measures.lines import Place
from flatness.panels.canvas import DOTS_PER_INCH, Pointer, draw_now, live_figure
from flatness.panels.controls import PAPER, RULE, Panel, column, panel_box, text_field, toggles, unit_switch, words
from flatness.panels.places import POINT_HERE, spelled
from flatness.panels.strip import STRIP, Said, busy, strip_html

# the map takes what room the screen leaves it, and says so to the kernel, which draws it again
MEASURE = """<style onload="const box = this.closest('.fk-map-box'); if (box) {
  box.setAttribute('role', 'region'); box.setAttribute('aria-label', 'Map'); let wait;
  const tell = () => { const field = box.parentElement?.querySelector('.fk-room input');
    const size = Math.floor(box.clientWidth) + ' x ' + Math.floor(box.clientHeight - 8);
    if (!field || box.clientWidth < 200 || box.clientHeight < 150 || field.value === size) return;
    field.value = size; field.dispatchEvent(new Event('change', {bubbles: true})); };
  new ResizeObserver(() => { clearTimeout(wait); wait = setTimeout(tell, 120); }).observe(box);
  // once more, for the notebook may move its cells in between
  for (const late of [300, 1500]) setTimeout(() => box.closest('.fk-panel')?.scrollIntoView(), late); }"></style>"""
LOOK = f"""<style>
{STRIP}
.fk-panel.fk-one {{ display:grid; grid-template-columns:minmax(0,1fr) clamp(340px,36%,420px); overflow:hidden;
  grid-template-rows:0 auto auto minmax(0,1fr); height:clamp(560px,calc(100vh - 136px),1000px); padding:0; gap:0 }}
.fk-one .widget-html, .fk-one .widget-html-content {{ font-size:13px; min-height:0 }}
.fk-strip {{ grid-column:1/3; padding:6px 16px; gap:4px }} .fk-strip, .fk-strip .fk-row {{ overflow:hidden }}
.fk-strip .fk-row {{ flex-wrap:nowrap; align-items:center; gap:8px }}
.fk-strip .widget-inline-hbox {{ flex-direction:row; align-items:center; gap:6px; flex:1 1 120px; max-width:none }}
.fk-strip .widget-inline-hbox.fk-finish {{ flex:2 1 200px }}
.fk-strip .widget-inline-hbox.widget-toggle-buttons {{ flex:0 0 auto; flex-wrap:nowrap; min-width:max-content }}
.fk-strip select {{ flex:1 1 60px !important; min-width:0; font-size:13px; text-overflow:ellipsis }}
.fk-strip .widget-label {{ white-space:nowrap; flex:0 0 auto }} .fk-strip .fk-row > * {{ margin:0 }}
/* the button counts its files, which are taken at once: the count stands on a second line that is not seen */
.fk-panel .fk-strip .widget-upload {{ flex:0 0 92px; width:92px; white-space:normal; overflow:hidden; line-height:30px;
  padding:0 6px; font-size:13px }}
.fk-one .widget-toggle-buttons > .widget-label {{ display:none }}
.fk-one .widget-toggle-buttons .widget-toggle-button {{ margin:0 -1px 0 0; border-radius:0; font-size:13px }}
.fk-panel.fk-one .fk-verdict {{ grid-column:1/3; border:solid {INK}; border-width:1px 0; height:104px;
  overflow:hidden }}
.fk-left {{ padding:8px 8px 8px 16px; min-height:0; gap:4px; overflow:hidden }}
.fk-map-box {{ flex:1 1 0; min-height:0; position:relative; overflow:hidden }}
.fk-map-box .fk-canvas {{ position:absolute; left:0; top:0; min-width:0 }}
.fk-map-box > .fk-working {{ position:absolute; inset:0; height:auto; z-index:9; background:{PAPER} }}
.fk-working .fk-busy {{ font-size:16px; font-weight:600; padding:80px 24px; text-align:center }}
.fk-panel .fk-here {{ flex:0 0 54px; overflow:auto; min-height:0; line-height:1.4 }}
.fk-panel .fk-left .fk-trouble {{ flex:0 0 54px; overflow:auto; min-height:0 }} .fk-trouble .fk-problems {{ margin:0 }}
.fk-panel .fk-left .fk-trouble.fk-large {{ flex:1 1 0 }} .fk-map-box:has(+ .fk-large) {{ flex:0 0 0 }}
.fk-panel .fk-left .fk-file-trouble {{ flex:0 1 auto; overflow:auto; min-height:0 }}
.fk-room {{ display:none !important }}
.fk-panel .fk-right {{ border-left:1px solid #d5dade; min-height:0; margin:0; overflow:hidden }}
.fk-right .lm-TabBar-content {{ height:38px; min-height:38px }}
.fk-right > .lm-TabBar {{ flex:0 0 38px; min-height:38px; overflow:visible }}
.fk-right .lm-TabBar-tab {{ display:flex; align-items:center; justify-content:center;
  flex:1 1 auto !important; font-size:13px; line-height:34px !important;
  height:38px !important; max-height:none !important; top:0 !important;
  color:{INK} !important; background:#f3f5f6 !important; text-align:center; padding:0 8px !important;
  min-width:0 !important; border:0 !important; border-bottom:1px solid #d5dade !important;
  transform:none !important; margin:0 !important }}
.fk-right .lm-TabBar-tab.lm-mod-current {{ background:{PAPER} !important; font-weight:700;
  border-bottom:3px solid {INK} !important }}
.fk-right .lm-TabBar-tab::before {{ display:none }}
.fk-right > .widget-tab-contents {{ padding:8px 16px !important; border:0 !important; overflow:hidden auto !important }}
.fk-right .fk-column {{ gap:6px }} .fk-panel .fk-right .fk-column > * {{ flex:0 0 auto; max-width:none }}
.fk-right h3 {{ font-size:15px; margin:2px 0 6px }}
.fk-places {{ list-style:none; margin:0; padding:0; counter-reset:place }}
.fk-places > li {{ padding:4px 0 4px 30px; border-bottom:1px solid #d5dade; position:relative; line-height:1.35;
  counter-increment:place }}
.fk-places > li::before {{ content:counter(place); position:absolute; left:0; top:6px; width:21px; height:21px;
  border-radius:50%; background:{INK}; color:#fff; font-size:12px; font-weight:700; text-align:center;
  line-height:21px }}
.fk-right ul.fk-named {{ padding:0 }} .fk-places.fk-named > li {{ padding-left:0 }}
.fk-places.fk-named > li::before {{ display:none }}
.fk-places b {{ font-size:14px; display:block }}
.fk-right .fk-table td, .fk-right .fk-table th {{ padding:5px 6px 5px 0 }}
.fk-right pre {{ font-size:12px; overflow:auto hidden; max-width:100% }} .fk-right ul {{ margin:0; padding-left:18px }}
.fk-strips-field .fk-row {{ flex-wrap:nowrap; border-bottom:1px solid #d5dade; padding:3px 0; align-items:center }}
.fk-strips-field .fk-row > .widget-html {{ flex:1 1 200px }} .fk-strips-field .fk-row > .fk-short {{ flex:0 0 96px }}
@media (max-height:800px) {{ .fk-panel.fk-one .fk-verdict {{ height:98px }} }}
@media (max-width:1100px) {{ .fk-panel.fk-one {{ grid-template-columns:minmax(0,1fr); height:auto; overflow:visible;
    grid-template-rows:auto }} .fk-strip, .fk-panel.fk-one .fk-verdict {{ grid-column:1 }}
  .fk-map-box {{ flex:0 0 440px }}
  .fk-strip .fk-row {{ flex-wrap:wrap }}
  .fk-panel .fk-right {{ border-left:0; border-top:1px solid {RULE}; min-height:400px }} }}
</style>"""


def places_list(items: Iterable[tuple[str, str]]) -> str:
    """Numbered places as HTML: what is there, and where."""
    return f'<ol class="fk-places">{"".join(f"<li><b>{escape(a)}</b>{escape(b)}</li>" for a, b in items)}</ol>'


class Instrument(Panel):
    """A panel on one screen. A subclass gives its controls, what each view draws, and the words.

    Attributes
    ----------
    verdict, here : the verdict, and what is at the place pointed at
    views : the switch from one map to another
    tabs : what stands beside the map
    maps : a live figure a view: one that was drawn is only shown again
    """

    state: Any
    tabs: Any

    def __init__(
        self,
        names: Mapping[str, str],
        tooltips: Sequence[str],
        *,
        line: Callable[[Place, Place], Any],
        begin: Callable[[Place], Any],
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
                line=guard(line),
            )
            for view, figure in self.maps.items()
        ]
        self.units = unit_switch(self.state.unit, guard(self.state.choose_unit))
        self.views = toggles("Map", "What the map shows", names, tooltips)
        self.views.value = self.state.view
        self._bind(self.views, lambda value: self.state.set_trait("view", value))
        self.room = text_field("Room for the map [px]", "Measured on the screen")
        self.room.add_class("fk-room")
        self._bind(self.room, lambda _: self._refresh())
        self.verdict, self.here = words("", "fk-verdict"), words(POINT_HERE, "fk-here")
        self.working.add_class("fk-working")
        self.working.layout.display = "none"
        self.problems.add_class("fk-trouble")

    def _arrange(self, strip: Sequence[Any], choosers: Sequence[Any], tabs: Mapping[str, Sequence[Any]]) -> None:
        """Put it all together, and from now on show what the state knows."""
        for chooser in choosers:
            chooser.problems.add_class("fk-file-trouble")
        canvases = [figure.canvas for figure in self.maps.values()]
        box = w.VBox([w.HTML(MEASURE), *canvases, self.working])
        box.add_class("fk-map-box")
        troubles = [chooser.problems for chooser in choosers]
        left = column(self.views, *troubles, box, self.problems, self.here, self.room, size="left")
        self.tabs = w.Tab([column(*parts) for parts in tabs.values()], titles=list(tabs))
        self.tabs.add_class("fk-right")
        self.box = panel_box(w.HTML(LOOK), column(*strip, size="strip"), self.verdict, left, self.tabs, look="one")
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
        elif change["name"] not in ("working", "problems", "saved") and not self.state.working:
            self._refresh()

    def _point(self) -> None:
        """What is at the place pointed at, or else what the map shows."""
        xy, rest = self.state.pointer, f"{getattr(self.shown, 'caption', '')} {POINT_HERE}"
        self.here.value = escape(spelled(rest) if xy is None else self._at(xy))

    def _refresh(self) -> None:
        self.units.value, self.views.value = self.state.unit, self.state.view
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
            self._fit(figure)
            figure.clear()
            self._shown[view] = self._paint(figure)
            self._keys[view] = key
            self._touch()
            draw_now(figure)  # so that the new map is there before it is uncovered
            self._cover("")
        elif self._touch():
            figure.canvas.draw_idle()

    def _fit(self, figure: Figure) -> None:
        if self.room.value:
            wide, high = (int(text) for text in self.room.value.split("x"))
            size = (wide / DOTS_PER_INCH, high / DOTS_PER_INCH)
            if not np.allclose(figure.get_size_inches(), size):
                canvas: Any = figure.canvas
                canvas.handle_resize({"width": wide, "height": high})

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
        wrong = bool(self.state.problems)
        (self.problems.add_class if wrong and self.axes() is None else self.problems.remove_class)("fk-large")
        self.problems.layout.display, self.here.layout.display = ("", "none") if wrong else ("none", "")
