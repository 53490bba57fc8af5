"""What a panel is, and one on one screen: a strip of controls, the verdict, a large map, and tabs beside it.

Live figures are made and closed without a trace, pointed at, clicked and dragged on.
"""

from __future__ import annotations

import math
import threading
import warnings
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

import ipywidgets as w
import numpy as np
from ipympl.backend_nbagg import Canvas, FigureManager
from matplotlib.axes import Axes
from matplotlib.backend_bases import LocationEvent, MouseEvent
from matplotlib.figure import Figure

from flatness.charts.axes import INK
from flatness.charts.scales import printed
from flatness.limits.kinds import UNITLESS
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Judged
from flatness.measures.bars import Place
from flatness.panels.controls import (
    RULE,
    Controls,
    close_all,
    column,
    is_filling,
    panel_box,
    problem_list,
    row,
    text_field,
    toggles,
    unit_switch,
    words,
)
from flatness.panels.state import State
from flatness.survey.readings import Survey
from flatness.words.printed import length, place, position, spelled
from flatness.words.ways import ASK

DOTS_PER_INCH = 96
SLIP_PX = 6  # a press and a release closer than this are a click
LEFT = 1


def live_figure(size_in: tuple[float, float], name: str) -> Figure:
    """A figure of this size [in] that a notebook shows and that answers the mouse: show ``figure.canvas``.

    It is made without pyplot, which would keep it for ever and refuse its name when a cell is run again.
    """
    figure = Figure(figsize=size_in, dpi=DOTS_PER_INCH)
    with warnings.catch_warnings():
        # ipympl hands its toolbar's canvas on to traitlets, which will refuse it one day and only warns now
        warnings.filterwarnings("ignore", "Passing unrecognized arguments", DeprecationWarning)
        FigureManager(Canvas(figure), 0)
    canvas: Any = figure.canvas
    canvas.header_visible = canvas.footer_visible = canvas.resizable = canvas.capture_scroll = False
    canvas.toolbar_visible = False
    canvas.add_class("fk-canvas")
    canvas.add_class(f"fk-{name}")
    return figure


def draw_now(figure: Figure) -> None:
    """Draw a live figure and send the picture, instead of waiting until a browser asks for it."""
    canvas: Any = figure.canvas
    (canvas.draw_idle if canvas.syncing_data_url else canvas.draw)()  # no browser shows it yet


def close_figure(figure: Figure) -> None:
    """Take a live figure away with all its widgets; a canvas alone leaves its toolbar and layouts behind."""
    canvas: Any = figure.canvas
    toolbar = canvas.toolbar
    for widget in (toolbar.layout, toolbar, canvas.layout, canvas):
        widget.close()
    figure.clear()


class Pointer:
    """What the mouse does over the maps of a live figure, in places of the surface [mm].

    Parameters
    ----------
    figure : a live figure
    axes : gives the axes that are listened to, as they now stand
    hover : called with the place pointed at, or None where the mouse has left the map
    begin : called with the first end of a line; without ``line``, with a place that is clicked
    stretch : called with both ends while a line is dragged
    line : called with both ends of a line that was dragged, or clicked in two points
    """

    def __init__(
        self,
        figure: Figure,
        axes: Callable[[], Sequence[Axes]],
        *,
        hover: Callable[[Place | None], Any],
        begin: Callable[[Place], Any] | None = None,
        stretch: Callable[[Place, Place], Any] | None = None,
        line: Callable[[Place, Place], Any] | None = None,
    ) -> None:
        self._axes, self._hover, self._begin, self._stretch, self._line = axes, hover, begin, stretch, line
        self._pressed: tuple[float, float] | None = None
        self._from: Place | None = None
        self.first: Place | None = None
        connect = figure.canvas.mpl_connect
        self._links = [
            connect("motion_notify_event", self._moved),
            connect("button_press_event", self._press),
            connect("button_release_event", self._release),
            connect("figure_leave_event", lambda _: hover(None)),
        ]

    def forget(self) -> None:
        """Forget the first end of a line, if one was clicked."""
        self.first = self._pressed = self._from = None

    def _place(self, event: LocationEvent, beyond: bool = False) -> Place | None:
        for ax in self._axes():
            if beyond or ax.bbox.contains(event.x, event.y):
                x, y = ax.transData.inverted().transform((event.x, event.y))
                return float(x), float(y)
        return None

    def _is_slip(self, event: LocationEvent) -> bool:
        return self._pressed is not None and math.dist(self._pressed, (event.x, event.y)) < SLIP_PX

    def _moved(self, event: Any) -> None:
        if self._from is None or self._is_slip(event):
            self._hover(self._place(event))
            return
        place = self._place(event, beyond=True)
        if self._stretch is not None and place is not None:
            self._stretch(self._from, place)

    def _press(self, event: Any) -> None:
        if not isinstance(event, MouseEvent) or event.button != LEFT:
            return
        place = self._place(event)
        if self._line is not None:
            self._from, self._pressed = place, None if place is None else (event.x, event.y)
        elif self._begin is not None and place is not None:
            self._begin(place)

    def _release(self, event: Any) -> None:
        if self._from is None or self._line is None:
            return
        start, slip, place = self._from, self._is_slip(event), self._place(event, beyond=True)
        self._from = self._pressed = None
        if not slip and place is not None:
            self.first = None
            self._line(start, place)
        elif self.first is None:
            self.first = start
            if self._begin is not None:
                self._begin(start)
        else:
            first, self.first = self.first, None
            self._line(first, start)


POINT_HERE = "Point at the map to read it there."
OFF = "off what was read"
REACH_MM = 100.0  # about a station, within which it is pointed at


def far(mm: float, unit: str) -> str:
    """A distance along the surface in a sentence: ``12 ft 6 in``, or metres."""
    return spelled(position(mm, unit))


def at_place(xy: Place, unit: str, survey: Survey | None = None, *, brief: bool = False) -> str:
    """A place [mm] as a tape finds it, as papers say it: from the walls that the survey knows, else along its sides.

    >>> at_place((1828.8, 2743.2), "in")
    '6 ft along x, 9 ft along y'
    """
    text = spelled(place(xy, unit, survey))
    return text.replace("the left wall", "left").replace(" the ", " ") if brief else text


def station_at(survey: Survey, xy: Place, unit: str) -> str:
    """The reading of the station at a place [mm], in words; empty where none is."""
    x, y, _, _ = survey.stations()
    off = np.hypot(x - xy[0], y - xy[1])
    k = int(off.argmin())
    if off[k] > REACH_MM:
        return ""
    return f"station here, {survey.quantity} {length(float(survey.station_means('reading')[k]), unit)} read"


# a verdict is told apart by its word and the shape of its mark, not by color alone
SIGNS = {
    FAIL: ("#8f1d1d", '<rect x="2" y="2" width="30" height="30"/><path d="M10 10 24 24M24 10 10 24"/>'),
    UNDECIDED: ("#6a3fa0", '<path d="M17 1 33 17 17 33 1 17Z"/><path d="M13 13q0-4 4-4t4 4q0 3-4 5v2M17 24v2"/>'),
    ASK: ("#6a3fa0", '<path d="M17 2 33 31H1Z"/><path d="M17 12v9M17 25v3"/>'),
    PASS: ("#0b6461", '<circle cx="17" cy="17" r="15"/><path d="M9 17 15 23 25 11"/>'),
}


@dataclass(frozen=True)
class Gauge:
    """What was found or is likely, and what is allowed [mm], for the gauge.

    Attributes
    ----------
    value : found, or likely after the work
    allowed : the most allowed
    low, high : where the truth likely lies
    word : what ``value`` is: found, or likely after the work
    """

    value: float
    allowed: float
    low: float
    high: float
    word: str = "found"


def gauge_of(one: Judged | None) -> Gauge | None:
    """The gauge of a limit that a surface was held against; None for what is no length or was not measured."""
    if one is None or one.finding is None or one.limit.kind in UNITLESS or one.limit.kind == "slope":
        return None
    value, low, high = one.likely()
    value = one.finding.measured.value if np.isnan(value) else value
    low, high = (value, value) if np.isnan(low) else (low, high)
    return Gauge(value, one.finding.allowed, low, high)


@dataclass(frozen=True)
class Said:
    """A verdict as the strip shows it.

    Attributes
    ----------
    verdict : ``pass``, ``fail``, ``undecided``, ``ask``, or empty where nothing is judged
    word : the word beside the mark
    first, second : the sentence, and beneath it what to do
    under : the condition under the word of a pass that rests on something nobody looked at; then the mark is hollow
    gauge : what the gauge shows
    """

    verdict: str = ""
    word: str = ""
    first: str = ""
    second: str = ""
    under: str = ""
    gauge: Gauge | None = None


def strip_html(said: Said, unit: str) -> str:
    """The verdict strip as HTML, a landmark: word and mark, the sentence, what to do, and a gauge."""
    under = f"<small>{escape(said.under)}</small>" if said.under else ""
    first = escape(said.first[:1].upper() + said.first[1:])
    tell = f'<div class="fk-tell"><b>{first}</b>{escape(said.second)}</div>'
    if said.verdict not in SIGNS:
        return _landmark(f'<div class="fk-said"><div class="fk-word">{escape(said.word)}{under}</div>{tell}</div>')
    color, shapes = SIGNS[said.verdict]
    gauge = "" if said.gauge is None else _gauge_svg(said.gauge, color, unit)
    return _landmark(
        f'<div class="fk-said fk-signed fk-{said.verdict}{" fk-hollow" if under else ""}" style="--sign:{color}">'
        f'<div class="fk-word"><svg viewBox="0 0 34 34" aria-hidden="true">{shapes}</svg>'
        f"{escape(said.word)}{under}</div>{tell}{gauge}</div>"
    )


def busy(text: str, progress: str = "") -> Said:
    """What the strip says while its verdict is being worked out."""
    return Said(word="WORKING", first=text, second=progress)


def _landmark(html: str) -> str:
    return f'<div role="region" aria-label="Verdict" aria-live="polite" style="height:100%">{html}</div>'


def _gauge_svg(one: Gauge, color: str, unit: str) -> str:
    """What was found and what is allowed on one scale, as SVG."""
    step = 25.4 / 4 if unit == "in" else 5.0
    top = max(2, int(np.ceil(1.1 * max(one.high, one.allowed) / step)))
    step *= -(-top // 4)
    top = int(np.ceil(1.1 * max(one.high, one.allowed) / step))

    def at(mm: float) -> float:
        return 20 + 200 * mm / (top * step)

    ticks = "".join(
        f'<path d="M{at(k * step):.0f} 44v6" stroke="{RULE}"/>'
        f'<text x="{at(k * step):.0f}" y="64" text-anchor="middle">{printed(k * step, unit, 64)}</text>'
        for k in range(top + 1)
    )
    found, may = f"{length(one.value, unit, one.allowed)} {one.word}", f"{length(one.allowed, unit)} allowed"
    right = one.value >= one.allowed
    label = '<text x="{:.0f}" y="{}" text-anchor="{}" fill="{}" font-weight="{}">{}</text>'
    return (
        f'<svg class="fk-gauge" viewBox="0 0 244 84" role="img" aria-label="{escape(found)}, {escape(may)}">'
        f'<rect x="20" y="34" width="200" height="10" fill="#fff" stroke="{RULE}"/>{ticks}'
        f'<rect x="20" y="34" width="{at(one.allowed) - 20:.0f}" height="10" fill="#e9f1ec" stroke="{RULE}"/>'
        f'<rect x="{at(one.low):.0f}" y="36" width="{max(1, at(one.high) - at(one.low)):.0f}" height="6" '
        f'fill="{color}"/><path d="M{at(one.value):.0f} 30l7 9-7 9-7-9z" fill="{color}" stroke="#fff"/>'
        f'<path d="M{at(one.allowed):.0f} 28v22" stroke="{INK}" stroke-width="3"/>'
        + label.format(236 if right else 8, 24, "end" if right else "start", color, 700, escape(found))
        + label.format(8 if right else 236, 24, "start" if right else "end", INK, 400, escape(may))
        + "</svg>"
    )


class Panel:
    """A panel, to be shown as the last line of a notebook's cell; each kind of panel is one.

    Attributes
    ----------
    state : what the panel knows
    box : the widgets
    figures : the live figures, closed with the panel
    working, problems : what is being computed, and what went wrong
    saved : what was written last, in panels that write files
    """

    state: State
    box: Any
    saved: Any

    def __init__(self, *figures: Figure) -> None:
        self.figures = figures
        for figure in figures:
            draw_alone(figure, self.state.lock)
        self.working, self.problems = words("", "fk-quiet"), words()

    def _bind(self, widget: Any, act: Callable[[Any], Any]) -> None:
        """Call with the new value of a control where a person chose it, and not where a list got other options."""
        chosen = self.state.guard(lambda change: None if is_filling(widget) else act(change["new"]))
        widget.observe(chosen, "value")

    def _watch(self) -> None:
        """From now on say what the state says of its work and of what went wrong."""
        self.state.observe(self.state.alone(self._show_problems), ["problems", "mistakes"])
        self.state.observe(self.state.alone(self._show_working), "working")

    def _show_problems(self, _: Any = None) -> None:
        self.problems.value = problem_list(self.state.wrong, "That did not work.", self.state.unit)

    def _show_working(self, _: Any = None) -> None:
        self.working.value = escape(self.state.working)

    def _show_saved(self, _: Any = None) -> None:
        names = ", ".join(self.state.saved)
        self.saved.value = f"<div role='status'>Written: {escape(names)}</div>" if names else ""

    def close(self) -> None:
        """Take the panel away with all its figures and widgets."""
        for figure in self.figures:
            close_figure(figure)
        close_all(self.box)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        take_in_turn(self.box, self.state.lock)
        return self.box._repr_mimebundle_(**options)


def take_in_turn(box: Any, lock: threading.RLock) -> None:
    """Take what a person does in a box and all within it one step at a time, under a lock.

    A search shows its plan from a thread of its own: without this a choice made at that moment would be taken for a
    value that the panel itself shows, and be lost.
    """
    for child in getattr(box, "children", ()):
        take_in_turn(child, lock)
    take = box._handle_msg  # the widgets' only way in

    def alone(message: Any) -> None:
        with lock:
            take(message)

    if box.comm is not None:
        box.comm.on_msg(alone)


def draw_alone(figure: Figure, lock: threading.RLock) -> None:
    """Have a figure drawn under a lock, so that no picture shows it half changed."""
    draw: Any = figure.draw

    def alone(renderer: Any) -> Any:
        with lock:
            return draw(renderer)

    figure.draw = alone  # type: ignore[method-assign]


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
        self._watch()
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
