"""Seldom-used controls of the Plan panel: benchmarks, what strapping crosses, ground by area, materials, one member."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import ipywidgets as w

from flatness.corrections.beneath import KINDS as BENEATH_KINDS
from flatness.corrections.members import KINDS as MEMBER_KINDS
from flatness.errors import ArgumentError, LengthError
from flatness.job.amounts import parse_amount
from flatness.show.panels.controls import button, drop_down, is_filling, label_of, row, several, text_field
from flatness.show.panels.plan_asked import STRAPPING, Ground, Materials, Under
from flatness.show.panels.plan_look import part
from flatness.show.panels.plan_typed import TypedControls

AREA_ENDS = ("From x", "From y", "To x", "To y")
BARE = {"volume": {"in": "ft3", "mm": "l"}, "density": {"in": "lb/ft3", "mm": "kg/m3"}}


class MoreControls(TypedControls):
    """The seldom-used controls.

    Attributes
    ----------
    bench : which benchmarks, and how far above them
    crossed : what strapping crosses
    areas, materials : ground by area, and what quantities rest on
    fold : opens both of these, and ``folded`` holds them
    """

    def __init__(self, state: Any) -> None:
        super().__init__(state)
        guard = state.guard
        self.benchmarks = several(
            "Benchmarks", "The plane goes through those that are chosen; several with Ctrl or Shift"
        )
        self.off_benchmarks = text_field("Above them by", "How far the finished surface lies above the benchmarks", "0")
        self.benchmarks.observe(guard(self._chosen(lambda value: state.set_trait("benchmarks", tuple(value)))), "value")
        self._reads(self.off_benchmarks, lambda mm: state.set_trait("off_benchmarks", mm))
        self.bench = [self.benchmarks, self.off_benchmarks]
        kinds = [(name, name) for name in MEMBER_KINDS if name != STRAPPING]
        self.crossed_kind = drop_down("Strapping crosses", "What the strapping is shimmed off", kinds, "short")
        self.crossed_first = text_field("First of these at", "Centre line of the first of them, across them")
        self.crossed_spacing = text_field("Their spacing", "Centre to centre")
        self.crossed_kind.observe(guard(self._chosen(lambda kind: self._framing("crossed", kind))), "value")
        self._reads(self.crossed_first, lambda mm: self._framing("crossed_first", mm))
        self._reads(self.crossed_spacing, lambda mm: self._framing("crossed_spacing", mm))
        self.crossed = [self.crossed_kind, self.crossed_first, self.crossed_spacing]
        self._make_areas()
        self._make_materials()
        self.fold = w.ToggleButton(
            value=False, description="More: ground by area, materials, lengths to buy",
            tooltip="What lies beneath parts of the surface, and what quantities rest on",
        )  # fmt: skip
        self.folded = w.VBox([
            part("Ground by area, where it differs"), row(*self.areas),
            part("Materials; what is left empty is the trade's own number, with its source"), row(*self.materials),
        ])  # fmt: skip
        self.folded.add_class("fk-column")
        self.fold.observe(lambda _: self._unfold(), "value")
        self._unfold()

    def _unfold(self) -> None:
        self.folded.layout.display = "" if self.fold.value else "none"

    def _make_areas(self) -> None:
        guard = self.state.guard
        known = [(name.capitalize(), name) for name in BENEATH_KINDS]
        self.area_kind = drop_down("What lies there", "What lies beneath this area", known, "way")
        self.area_may = drop_down(
            "May it be taken down there?", "Say yes only where you have seen what is there",
            {"No, or not seen": "", "Yes: seen, and it may be": "yes"}.items(), "way",
        )  # fmt: skip
        self.area_most = text_field("At most", "How deep at most there; empty: 1/8 in (3.2 mm)")
        self.area_ends = [
            text_field(name, f"{name}: a corner of the area, or the corner across from it") for name in AREA_ENDS
        ]
        self.area_add = button("Add this area", "Where areas overlap the later one holds", guard(self._area_typed))
        self.area_list = drop_down("Areas", "As they are numbered on the map", (), "finish")
        self.area_drop = button("Take it off the list", "Take the area chosen in the list off", guard(self._area_freed))
        self.areas = [
            self.area_kind, self.area_may, self.area_most, *self.area_ends, self.area_add, self.area_list,
            self.area_drop,
        ]  # fmt: skip

    def _make_materials(self) -> None:
        self.bag_yield = text_field("Yield of a bag", "How much fill a bag gives; empty: the trade's number")
        self.fill_density = text_field("Weight of the fill", "Wet, by volume; empty: the trade's number")
        self.sister_density = text_field(
            "Weight of sisters", "Or of strapping, by volume; empty: the trade's number for LVL, or spruce"
        )
        self.spare = text_field("Spare fill [%]", "Added to what is worked out; empty: none")
        self.kerf = text_field("Saw cut", "Lost to the saw at each cut; empty: 1/8 in (3.2 mm)")
        self.stock = text_field(
            "Lengths on sale", "For sisters and furring, with ; between: 12 ft; 16 ft. Empty: no lengths to buy", "",
            "way",
        )  # fmt: skip
        self.materials = [
            self.bag_yield, self.fill_density, self.spare, self.sister_density, self.kerf, self.stock,
        ]  # fmt: skip
        for field, name, read in (
            (self.bag_yield, "bag_yield", self._amount("volume")), (self.kerf, "kerf", self._small),
            (self.fill_density, "fill_density", self._amount("density")), (self.spare, "spare", self._share),
            (self.sister_density, "sister_density", self._amount("density")), (self.stock, "stock", self._on_sale),
        ):  # fmt: skip
            field.observe(self.state.guard(self._material(field, name, read)), "value")

    # what a person does

    def _reads(self, field: Any, act: Callable[[float], Any]) -> None:
        field.observe(self.state.guard(self._chosen(lambda _: act(self._inches(field)))), "value")

    def _framing(self, name: str, value: Any) -> None:
        self.state.framing = replace(self.state.framing, **{name: value})

    def _material(self, field: Any, name: str, read: Callable[[Any], Any]) -> Callable[[Any], None]:
        def typed(_: Any) -> None:
            if not is_filling(field):
                made: Materials = replace(self.state.materials, **{name: read(field)})
                made.settings()  # what is out of range is told before it is kept
                self.state.materials = made

        return typed

    def _amount(self, kind: str) -> Callable[[Any], float | None]:
        def read(field: Any) -> float | None:
            text = field.value.strip()
            if not text:
                return None
            bare = not any(letter.isalpha() for letter in text)  # a number alone is in the unit of the label
            try:
                return parse_amount(f"{text} {BARE[kind][self.state.unit]}" if bare else text, kind)
            except LengthError as error:
                raise error.located(column=label_of(field)) from error

        return read

    def _share(self, field: Any) -> float | None:
        text = field.value.strip().removesuffix("%").strip()
        try:
            return float(text) / 100 if text else None
        except ValueError:
            raise ArgumentError(
                "not a share", column=label_of(field), value=field.value, expected="per cent, such as 10",
                remedy="type a number, or leave it empty",
            ) from None  # fmt: skip

    def _on_sale(self, field: Any) -> tuple[float, ...]:
        lengths = self._listed(field)
        if any(length <= 0 for length in lengths):
            raise ArgumentError(
                "not a length on sale", column=label_of(field), value=field.value, expected="lengths above zero",
                remedy="type lengths with ; between, such as 12 ft; 16 ft",
            )  # fmt: skip
        return lengths

    def _area_typed(self, _: Any) -> None:
        under = Under(self.area_kind.value, self.area_may.value == "yes", self._small(self.area_most))
        x0, y0, x1, y1 = (self._far(field) for field in self.area_ends)
        self.state.add_ground(Ground(x0, y0, x1, y1, under))

    def _area_freed(self, _: Any) -> None:
        if self.area_list.value not in ("", None):
            self.state.drop_ground(int(self.area_list.value))


def chart_chooser(chosen: Callable[[Any], Any]) -> Any:
    """The list of members whose chart is shown; it is filled when a schedule is there."""
    widget = drop_down("Chart of", "The member's top, the line it is set to, and what to raise where", (), "way")
    widget.observe(lambda change: chosen(change) if not is_filling(widget) else None, "value")
    return widget
