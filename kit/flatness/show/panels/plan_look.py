"""The Plan panel's own look beside that of all panels, and its sliders."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as w

from flatness.show.axes import INK, PALE
from flatness.show.panels.controls import ACCENT, RULE, labelled, offer, sized

# a slider's handle is named for those who cannot see its label
NAMED = (
    "const panel = this.closest('.fk-panel'); if (panel) panel.addEventListener('focusin', event => {"
    "if (event.target.classList.contains('noUi-handle')) event.target.setAttribute('aria-label', "
    "event.target.closest('.widget-inline-hbox').querySelector('label').textContent)})"
)
LOOK = f"""<style onload="{NAMED}">
.fk-panel .fk-steps {{ flex:0 0 auto; width:100%; max-width:480px }}
.fk-panel .widget-hslider .slider-container {{ margin:4px 10px; min-height:20px; flex:0 0 20px; width:auto }}
.fk-panel .widget-hslider .widget-readout {{ min-width:0; max-width:none; width:auto; height:auto; margin:2px 0 0;
  text-align:left; color:{INK}; font-size:14px; font-weight:600; font-variant-numeric:tabular-nums;
  border-color:transparent; overflow:visible; line-height:1.4 }}
.fk-panel .noUi-target {{ background:#e6e8ea; border:1px solid {RULE} }}
.fk-panel .noUi-connect {{ background:{PALE} }}
.fk-panel .noUi-handle {{ background:{ACCENT}; border:2px solid {INK} !important; border-radius:50% }}
.fk-panel .noUi-handle:focus-visible {{ outline:3px solid #1b5fa8; outline-offset:2px }}
.fk-draft {{ color:{INK}; background:#eef0f2 }}
.fk-panel .fk-part {{ font-weight:600; font-size:14px; border-bottom:1px solid {RULE}; padding:6px 0 2px }}
.fk-cautions {{ border:1px solid #5c4300; background:#fff7e0; color:{INK}; padding:6px 12px }}
.fk-cautions ul, .fk-list {{ margin:4px 0; padding-left:20px }}
.fk-panel .fk-schedule {{ font-size:12.5px; overflow-x:auto }}
.fk-panel .fk-chart {{ max-width:960px; width:100% }}
.fk-panel .fk-key img {{ max-width:100%; height:auto }} .fk-key {{ max-width:557px }}
.fk-panel .widget-hprogress, .fk-panel .progress {{ width:100%; max-width:640px }}
.fk-panel .fk-progress {{ flex:1 1 320px; max-width:640px; height:24px }}
.fk-panel .fk-stale {{ font-weight:600; color:#5c4300 }}
</style>"""


def part(words: str) -> Any:
    """The heading of a group of controls."""
    widget = w.HTML(words)
    widget.add_class("fk-part")
    return widget


def slider(label: str, tooltip: str, options: Sequence[tuple[str, float]], size: str = "steps") -> Any:
    """A slider over named steps, whose name is read beneath it."""
    widget = w.SelectionSlider(options=list(options), tooltip=tooltip, continuous_update=True)
    return sized(labelled(widget, label), size)


def set_steps(widget: Any, options: Sequence[tuple[str, float]], value: float) -> None:
    """Give a slider other steps, and stand it at the one nearest to a value; ``is_filling`` is true meanwhile."""
    nearest = min(options, key=lambda one: abs(one[1] - value))[1]
    offer(widget, options, nearest)
