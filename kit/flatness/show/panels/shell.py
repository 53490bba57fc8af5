"""What all panels have around their own parts: what went wrong, what is being computed, being shown and taken away."""

from __future__ import annotations

import threading
from html import escape
from typing import Any

from matplotlib.figure import Figure

from flatness.show.panels.canvas import close_figure
from flatness.show.panels.controls import close_all, problem_list, words
from flatness.show.panels.state import State


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

    def _tell(self) -> None:
        """From now on say what the state says of its work and of what went wrong."""
        self.state.observe(self.state.alone(self._show_problems), "problems")
        self.state.observe(self.state.alone(self._show_working), "working")

    def _show_problems(self, _: Any = None) -> None:
        self.problems.value = problem_list(self.state.problems, "That did not work.", self.state.unit)

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
        return self.box._repr_mimebundle_(**options)


def draw_alone(figure: Figure, lock: threading.RLock) -> None:
    """Have a figure drawn under a lock, so that no picture shows it half changed."""
    draw: Any = figure.draw

    def alone(renderer: Any) -> Any:
        with lock:
            return draw(renderer)

    figure.draw = alone  # type: ignore[method-assign]
