"""Live figures in a notebook: made and closed without a trace, pointed at, clicked and dragged on."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from typing import Any

from ipympl.backend_nbagg import Canvas, FigureManager
from matplotlib.axes import Axes
from matplotlib.backend_bases import LocationEvent, MouseEvent
from matplotlib.figure import Figure

from flatness.measures.bars import Place

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
