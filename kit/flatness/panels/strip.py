"""The verdict strip of all panels: one word with its mark, the sentence, what to do, and a gauge."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from flatness.charts.axes import INK
from flatness.charts.scales import printed
from flatness.limits.kinds import UNITLESS
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Judged
from flatness.panels.controls import RULE
from flatness.words.printed import length
from flatness.words.ways import ASK

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
